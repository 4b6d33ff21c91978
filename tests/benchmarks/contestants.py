"""Those who are measured: the tool with each of its engines, and the rivals. Each turns a case into the rows of a table."""

import json
import shutil
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median

from seqcheck.cli.verify import verify
from seqcheck.compile.compile import compile_machine
from seqcheck.model.model import Hazard, Model
from tests.benchmarks import c_rival
from tests.benchmarks.c_program import asked_of
from tests.benchmarks.c_width import TooGreat
from tests.benchmarks.cases import Case
from tests.benchmarks.measuring import Bounds, Measured, measured
from tests.benchmarks.searched import Searched, searched
from tests.outside.reading import machine_of

RIVALS: Mapping[str, int | None] = {"C": 1, "C-blocks": 8, "networkx": None}
"""The rivals; those in C with how many states they visit before they look up the successors."""

MOST_FOR_PLAIN, MOST_FOR_C, MOST_FOR_NETWORKX = 500_000, 30_000_000, 25_000
WARM_S, LONG_S = 5.0, 20.0
"""A first run shorter than the one only warms up; a run longer than the other is not repeated."""

BUILT_IN = {"range", "settling"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """What came of one contestant on one case. *note* says what else is to know, or why there is nothing.

    *whole*: the counts are those of all reachable states, and must be the same for all contestants.
    """

    case: str
    contestant: str
    verdict: str = ""
    states: int | None = None
    transitions: int | None = None
    seconds: float | None = None
    peak_mb: float | None = None
    bytes_a_state: float | None = None
    note: str = ""
    whole: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """How measurements are made, and where files may be put."""

    repeats: int
    bounds: Bounds
    folder: Path


def engines() -> tuple[str, ...]:
    """Return the engines that the command line offers."""
    (option,) = (one for one in verify.params if one.name == "engine_name")
    return tuple(getattr(option.type, "choices", ()))


def raced(case: Case, contestant: str, setting: Setting) -> Row:
    """Measure one contestant on one case."""
    file = setting.folder / f"{case.name}.yaml"
    file.write_text(case.write(), encoding="utf-8")
    if contestant in engines():
        return tool(case, contestant, file, setting)
    return rival(case, contestant, file, setting)


def repeated(command: Sequence[str], setting: Setting) -> tuple[Measured, float]:
    """Run a program often enough; return the last run, with the greatest peak, and the median time."""
    first = measured(command, setting.bounds)
    runs = [first]
    if not first.ended and first.seconds < LONG_S:
        wanted = setting.repeats if first.seconds < WARM_S else setting.repeats - 1
        more = [measured(command, setting.bounds) for _ in range(wanted if setting.repeats > 1 else 0)]
        runs = more if more and first.seconds < WARM_S else [*runs, *more]
    peaks = [run.peak_mb for run in runs if run.peak_mb is not None]
    return replace(runs[-1], peak_mb=max(peaks, default=None)), median(run.seconds for run in runs)


def tool(case: Case, engine: str, file: Path, setting: Setting) -> Row:
    """Measure the command line with one engine."""
    row = Row(case=case.name, contestant=engine)
    if engine == "plain" and (case.states is None or case.states > MOST_FOR_PLAIN):
        return replace(row, note="not tried: too many states")
    answer = setting.folder / f"{case.name}.{engine}.json"
    command = [sys.executable, "-m", "seqcheck", "verify", str(file), "--engine", engine, "--json", str(answer)]
    run, seconds = repeated(command, setting)
    if run.ended or not answer.exists():
        return replace(row, peak_mb=run.peak_mb, note=run.ended or last_line(run.err) or f"exit code {run.code}")
    return answered(replace(row, seconds=seconds, peak_mb=run.peak_mb), json.loads(answer.read_text(encoding="utf-8")))


def answered(row: Row, data: Mapping[str, object]) -> Row:
    """Put what the tool answered into a row."""
    states, transitions, reported = (data.get(key) for key in ("states", "transitions", "bytes_per_state"))
    who = str(data.get("engine", row.contestant))
    complete, exact = data.get("complete") is True, data.get("exact_counts", True) is True
    notes = [
        f"by {who}" if who != row.contestant else "",
        "" if complete else f"stopped by {data.get('stopped_by')}",
        "" if exact else "counts of a reduced machine",
    ]
    return replace(
        row,
        verdict=in_short(found(data)),
        states=None if states is None else int(str(states)),
        transitions=None if transitions is None else int(str(transitions)),
        bytes_a_state=float(reported) if isinstance(reported, int | float) else None,
        note="; ".join(note for note in notes if note),
        whole=complete and exact,
    )


def in_short(verdicts: Iterator[str]) -> str:
    """Join verdicts; of those that name a run only the first is written out."""
    texts = list(verdicts)
    runs = [text for text in texts if text.endswith((" steps", " violated"))]
    more = [f"{len(runs) - 1} more"] if len(runs) > 1 else []
    return ", ".join([*runs[:1], *more, *(text for text in texts if text not in runs)])


def found(data: Mapping[str, object]) -> Iterator[str]:
    """Yield the verdicts: what is violated in how many steps, how many hold, how many are undecided."""
    results = data["results"]
    assert isinstance(results, list)
    counts = {"holds": 0, "undecided": 0}
    for result in results:
        if result["verdict"] == "violated":
            yield f"{result['id']} in {result['steps']} steps" if result["steps"] is not None else f"{result['id']} violated"
        elif result["id"] not in BUILT_IN:
            counts[result["verdict"]] += 1
    yield from (f"{count} {'hold' if verdict == 'holds' else verdict}" for verdict, count in counts.items() if count)


def rival(case: Case, contestant: str, file: Path, setting: Setting) -> Row:
    """Measure a rival."""
    row = Row(case=case.name, contestant=contestant)
    block = RIVALS[contestant]
    if block is None:
        if case.states is None or case.states > MOST_FOR_NETWORKX:
            return replace(row, note="not tried: too many states")
        run, seconds = repeated([sys.executable, "-m", "tests.benchmarks.graph", str(file)], setting)
        return replace(rated(row, run, seconds, compile_machine(machine_of(case.write()))), whole=True)
    if c_rival.compiler() is None:
        return replace(row, note="not tried: there is no gcc")
    if case.to_list is None or case.to_list > MOST_FOR_C:
        return replace(row, note="not tried: too many states")
    return in_c(case, row, block, setting)


def in_c(case: Case, row: Row, block: int, setting: Setting) -> Row:
    """Compile and measure the rival in C."""
    model = compile_machine(machine_of(case.write()))
    folder = setting.folder / f"{case.name}.c"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    try:
        target = c_rival.built(model, folder, block=block)
    except TooGreat as reason:
        return replace(row, note=f"not tried: {reason}")
    stop = None if case.hazard is None else place_of(model, case.hazard)
    run, seconds = repeated(c_rival.arguments(target, case.to_list or 0, stop), setting)
    return replace(rated(row, run, seconds, model), whole=stop is None)


def place_of(model: Model, hazard: str) -> int:
    """Return the place of a hazard among those that the rival tests."""
    return [model.properties[number].id for number, _ in asked_of(model)].index(hazard)


def rated(row: Row, run: Measured, seconds: float, model: Model) -> Row:
    """Put what a rival printed into a row."""
    if run.ended or run.code:
        return replace(row, peak_mb=run.peak_mb, note=run.ended or last_line(run.err) or f"exit code {run.code}")
    given = searched(run.out)
    return replace(
        row,
        seconds=seconds,
        peak_mb=run.peak_mb,
        verdict=in_short(met(given, model)),
        states=given.states,
        transitions=given.transitions,
        bytes_a_state=None if given.bytes is None else given.bytes / given.states,
    )


def met(given: Searched, model: Model) -> Iterator[str]:
    """Yield which hazards were met, and how many were not."""
    hazards = [number for number, _ in asked_of(model) if isinstance(model.properties[number].rule, Hazard)]
    yield from (f"{model.properties[number].id} in {given.met[number]} steps" for number in hazards if number in given.met)
    unmet = sum(number not in given.met for number in hazards)
    if unmet:
        yield f"{unmet} hazards not met"


def last_line(text: str) -> str:
    """Return the last line of a text that says something."""
    return next((line.strip() for line in reversed(text.splitlines()) if line.strip()), "")
