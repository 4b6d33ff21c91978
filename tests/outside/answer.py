"""Runs the tool on a text, through its command line, and gives what it answered as plain records."""

import json
from dataclasses import dataclass
from pathlib import Path

from click.testing import CliRunner

from seqcheck.cli.main import group

Value = bool | int | str


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One entry of `results`. *steps* is None where there is no run; *end* is what the run ends in."""

    id: str
    kind: str
    verdict: str
    steps: int | None
    seconds: float | None
    faults: tuple[str, ...]
    text: str
    end: dict[str, Value]
    failure: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What was found with one set of faults under study."""

    faults: tuple[str, ...]
    states: int
    transitions: int
    results: tuple[Judged, ...]

    def of(self, identity: str) -> Judged:
        """Return the only result with this id."""
        (found,) = [result for result in self.results if result.id == identity]
        return found

    def violated(self) -> set[str]:
        """Return the ids of all that was violated."""
        return {result.id for result in self.results if result.verdict == "violated"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One finding, with the end of its run if it has one."""

    kind: str
    about: str
    text: str
    steps: int | None
    seconds: float | None
    end: dict[str, Value]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What one call gave. A refused file has *diagnostics* and no *cases*; the first case is the one without faults."""

    exit_code: int
    engine: str
    complete: bool
    cases: tuple[Case, ...]
    findings: tuple[Found, ...]
    assumptions: tuple[str, ...]
    diagnostics: tuple[str, ...]

    @property
    def plain(self) -> Case:
        """The case without faults."""
        return self.cases[0]


def judged(row: dict) -> Judged:  # type: ignore[type-arg]
    """Read one entry of `results`."""
    return Judged(
        id=row["id"],
        kind=row["kind"],
        verdict=row["verdict"],
        steps=row.get("steps"),
        seconds=row.get("seconds"),
        faults=tuple(row.get("faults") or ()),
        text=row.get("text") or "",
        end=row.get("end") or {},
        failure=failure(row.get("failure")),
    )


def found(row: dict) -> Found:  # type: ignore[type-arg]
    """Read one finding."""
    return Found(
        kind=row["kind"],
        about=row["about"],
        text=row["text"],
        steps=row.get("steps"),
        seconds=row.get("seconds"),
        end=row.get("end") or {},
    )


def failure(row: dict | None) -> str | None:  # type: ignore[type-arg]
    """Return a label for how a run fails: what chases what, or which rule breaks which variable."""
    if row is None:
        return None
    return f"settling: {', '.join(row['names'])}" if row["kind"] == "settling" else f"range: {row['rule']}, {row['variable']}"


def case(row: dict) -> Case:  # type: ignore[type-arg]
    """Read one entry of `cases`, or the top level."""
    return Case(
        faults=tuple(row.get("faults") or ()),
        states=int(row["states"]),
        transitions=int(row["transitions"]),
        results=tuple(judged(result) for result in row["results"]),
    )


def answer(exit_code: int, written: str) -> Answer:
    """Read the JSON that one call wrote."""
    data = json.loads(written)
    if "diagnostics" in data and "states" not in data:
        said = tuple(f"{d['code']} {d['line']}:{d['column']} {d['message']}" for d in data["diagnostics"])
        return Answer(exit_code=exit_code, engine="", complete=False, cases=(), findings=(), assumptions=(), diagnostics=said)
    return Answer(
        exit_code=exit_code,
        engine=data["engine"],
        complete=data["complete"],
        cases=tuple(case(row) for row in data.get("cases") or [data]),
        findings=tuple(found(row) for row in data["findings"]),
        assumptions=tuple(data["assumptions"]),
        diagnostics=(),
    )


def ask(text: str, folder: Path, *arguments: str) -> Answer:
    """Verify a text in this process. The exit code is checked to be one that a verification may give."""
    file = folder / "machine.yaml"
    file.write_text(text, encoding="utf-8")
    written = folder / "answer.json"
    written.unlink(missing_ok=True)
    result = CliRunner().invoke(group, ["verify", str(file), "--json", str(written), *arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), f"{result.output}{result.exc_info}\n{text}"
    assert result.exit_code in {0, 1, 2, 3}
    return answer(result.exit_code, written.read_text(encoding="utf-8"))
