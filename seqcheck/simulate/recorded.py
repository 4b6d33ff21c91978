"""Understands the JSON of a recorded run: the simulator's own form, a result of `verify`, a whole verification."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Final, TypeAlias

from msgspec import Struct

from seqcheck.check.machine import Machine
from seqcheck.check.typed import Value
from seqcheck.model.run import By, RunStep, StepKind, Values
from seqcheck.simulate.errors import RecordingError
from seqcheck.simulate.naming import Naming

Json: TypeAlias = "bool | int | Decimal | str | list[Json] | dict[str, Json] | None"

SCHEMA: Final = "seqcheck-run/1"
LONGEST_NUMBER: Final = 18
ROUNDING: Final = Fraction(1, 10**6)
"""A wait that other software wrote as a decimal may miss a whole number of ticks by so much of a tick."""


class Recording(Struct, frozen=True, kw_only=True):
    """What was done, to be done again. *faults* None: the file does not say which were under study."""

    machine_name: str
    file_sha256: str
    start: Values
    faults: tuple[str, ...] | None
    steps: tuple[RunStep, ...]


class Reader:
    """Reads the JSON of one recording for one machine."""

    def __init__(self, machine: Machine, result_id: str | None) -> None:
        self._machine = machine
        self._naming = Naming(machine)
        self._result_id = result_id

    def recording(self, content: Json) -> Recording:
        """Read any of the three forms."""
        whole = _object(content, "the file")
        if "steps" in whole and isinstance(whole["steps"], list):
            return self._own(whole)
        if "run" in whole:
            if not _has_run(whole):
                raise RecordingError("there is no run with this result")
            return self._result(whole, whole)
        file = _of_machine(whole, self._machine)
        return self._result(self._chosen(file), file)

    def _own(self, whole: dict[str, Json]) -> Recording:
        if whole.get("schema") != SCHEMA:
            raise RecordingError(f"its schema is {whole.get('schema')}, and only {SCHEMA} is understood")
        return self._with_steps(whole, whole, whole["steps"])

    def _result(self, result: dict[str, Json], file: dict[str, Json]) -> Recording:
        chosen = self._result_id
        if chosen is not None and result.get("id") != chosen:
            raise RecordingError(f"it is the result {result.get('id')}, not {chosen}")
        return self._with_steps(result, file, result["run"])

    def _chosen(self, file: dict[str, Json]) -> dict[str, Json]:
        """Find the result to play: the first with a run, or the first with a run of the id asked for."""
        results = _results(file)
        if not results:
            raise RecordingError("it has neither steps nor a result with a run")
        wanted = [result for result in results if self._result_id in {None, result.get("id")}]
        if not wanted:
            listed = ", ".join(dict.fromkeys(str(result.get("id")) for result in results))
            raise RecordingError(f"it has no result {self._result_id}; it has {listed}")
        with_run = [result for result in wanted if _has_run(result)]
        if not with_run:
            which = "any of its results" if self._result_id is None else f"the result {self._result_id}"
            raise RecordingError(f"there is no run with {which}")
        return with_run[0]

    def _with_steps(self, content: dict[str, Json], file: dict[str, Json], steps: Json) -> Recording:
        faults = content.get("faults")
        return Recording(
            machine_name=str(file.get("machine", "")),
            file_sha256=str(file.get("file_sha256", "")),
            start=self._start(_object(content.get("start", {}), "start")),
            faults=None if faults is None else tuple(_text(each, "a fault") for each in _list(faults, "faults")),
            steps=tuple(self._step(number, each) for number, each in enumerate(_list(steps, "steps"), start=1)),
        )

    def _start(self, start: dict[str, Json]) -> Values:
        return tuple(self._naming.value_of(name, _plain(value, name)) for name, value in start.items())

    def _step(self, number: int, content: Json) -> RunStep:
        try:
            step = _object(content, "it")
            by = _object(step.get("by"), "by")
            kind = _kind(_text(by.get("kind"), "kind"))
            if kind is StepKind.WAIT:
                return RunStep(by=By(kind=kind), ticks=self._ticks(step.get("wait_s")))
            name = _text(by.get("name"), "name")
            if kind is not StepKind.PANEL:
                return RunStep(by=By(kind=kind, name=name))
            item, to = self._naming.value_of(name, _panel_target(step, by, name))
            return RunStep(by=By(kind=kind, name=item, to=to))
        except RecordingError as error:
            raise RecordingError(f"step {number}: {error.problem}") from error

    def _ticks(self, wait_s: Json) -> int:
        if isinstance(wait_s, str) and wait_s.isdecimal() and len(wait_s) <= LONGEST_NUMBER:
            wait_s = int(wait_s)
        if isinstance(wait_s, bool) or not isinstance(wait_s, (int, Decimal)):
            raise RecordingError("a wait needs wait_s, a number of seconds")
        if abs(Decimal(wait_s).adjusted()) > LONGEST_NUMBER:
            raise RecordingError(f"a wait of {wait_s} s is out of proportion")
        ticks = Fraction(wait_s) / self._machine.tick_s
        whole = round(ticks)
        if abs(ticks - whole) > ROUNDING or whole < 1:
            raise RecordingError(f"a wait of {wait_s} s is no whole number of ticks of {float(self._machine.tick_s):g} s")
        return whole


def _has_run(result: dict[str, Json]) -> bool:
    """Tell whether a result has a run: a run without steps says at least where it starts."""
    return isinstance(result.get("run"), list) and bool(result["run"] or result.get("start"))


def _of_machine(whole: dict[str, Json], machine: Machine) -> dict[str, Json]:
    """Return the part of a verification of several files that is about this machine; of one file, all of it."""
    if "files" not in whole:
        return whole
    files = [_object(each, "each of its files") for each in _list(whole["files"], "files")]
    for file in files:
        if file.get("machine") == machine.name:
            return file
    raise RecordingError(f"none of its files is about the machine {machine.name}")


def _results(file: dict[str, Json]) -> list[dict[str, Json]]:
    cases = [_object(each, "each of its cases") for each in _list(file.get("cases", []), "cases")]
    lists = [_list(each.get("results", []), "results") for each in (file, *cases)]
    results = [_object(result, "each of its results") for results in lists for result in results]
    runs = [_object(run, "each of its runs") for each in results for run in _list(each.get("runs", []), "runs")]
    noticed = [_object(each, "each entry of noticed").get("run") for each in _list(file.get("noticed", []), "noticed")]
    return [*results, *runs, *(_object(run, "its run") for run in noticed if run is not None)]


def _panel_target(step: dict[str, Json], by: dict[str, Json], name: str) -> Value:
    """Return what a panel item is set to; a step that does not say so says what changed."""
    if "to" in by:
        return _plain(by["to"], name)
    changes = _object(step.get("changes", {}), "changes")
    for changed, value in changes.items():
        if changed.upper() == name.upper():
            return _plain(value, name)
    raise RecordingError(f"it does not say what {name} is set to")


def _kind(text: str) -> StepKind:
    try:
        return StepKind(text)
    except ValueError:
        known = ", ".join(kind.value for kind in StepKind)
        raise RecordingError(f"{text} is no kind of step; the kinds are {known}") from None


def _object(content: Json, what: str) -> dict[str, Json]:
    if not isinstance(content, dict):
        raise RecordingError(f"{what} is no JSON object")
    return content


def _list(content: Json, what: str) -> Sequence[Json]:
    if not isinstance(content, list):
        raise RecordingError(f"{what} is no list")
    return content


def _text(content: Json, what: str) -> str:
    if not isinstance(content, str):
        raise RecordingError(f"{what} is missing or no text")
    return content


def _plain(content: Json, name: str) -> Value:
    if not isinstance(content, (bool, int, str)):
        raise RecordingError(f"the value of {name} is no truth, whole number or text")
    return content
