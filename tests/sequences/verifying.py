"""Puts a sequence to the tool as a user does, in a process of its own, and reads the JSON that it answers with."""

import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

SEQUENCES = Path(__file__).parents[2] / "sequences"


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What was found for one set of faults."""

    faults: tuple[str, ...]
    states: int
    holds: frozenset[str]
    violated: frozenset[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What `seqcheck verify FILE --json -` says. *runs* gives the names of who acts, by result."""

    exit_code: int
    cases: tuple[Case, ...]
    finding_kinds: frozenset[str]
    runs: dict[str, tuple[str, ...]]

    @property
    def without_faults(self) -> Case:
        """The case without faults, which always comes first."""
        return self.cases[0]


def verify(path: Path, *options: str) -> Answer:
    """Verify a file and read the answer."""
    command = [sys.executable, "-m", "seqcheck", "verify", str(path), "--json", "-", *options]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=SEQUENCES.parent)
    assert done.stdout, done.stderr
    told = json.loads(done.stdout)
    assert "diagnostics" not in told, told
    assert told["complete"] or "--max-states" in options, told
    return Answer(
        exit_code=done.returncode,
        cases=tuple(read_case(case) for case in told.get("cases", [told])),
        finding_kinds=frozenset(finding["kind"] for finding in told["findings"]),
        runs={
            result["id"]: tuple(step["by"]["name"] for step in result["run"] if step["step"] is not None)
            for result in told["results"]
            if result.get("run")
        },
    )


def read_case(told: dict[str, object]) -> Case:
    """Read one entry of `cases`."""
    results = told["results"]
    faults = told.get("faults", [])
    states = told["states"]
    assert isinstance(results, list)
    assert isinstance(faults, list)
    assert isinstance(states, int)
    verdicts = {result["id"]: result["verdict"] for result in results}
    return Case(
        faults=tuple(faults),
        states=states,
        holds=frozenset(i for i, verdict in verdicts.items() if verdict == "holds"),
        violated=frozenset(i for i, verdict in verdicts.items() if verdict == "violated"),
    )


def verify_text(text: str, folder: Path, *options: str) -> Answer:
    """Verify a text."""
    path = folder / "sequence.yaml"
    path.write_text(text, encoding="utf-8")
    return verify(path, *options)


def replaced(text: str, old: str, new: str) -> str:
    """Replace the one place where *old* stands."""
    assert text.count(old) == 1, (text.count(old), old)
    return text.replace(old, new)
