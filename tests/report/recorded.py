"""Runs to draw and to write out: those of the committed drafts and of stored machines, each beside the simulator's reading."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path

from seqcheck.analyse.verdict import Case, Result
from seqcheck.analyse.verify import verify_case
from seqcheck.check.machine import Machine
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model.model import Model
from seqcheck.model.run import Run, StepKind, Value
from seqcheck.search.engine import Limits
from seqcheck.search.engines import engine
from seqcheck.simulate.simulator import Simulator
from tests.outside.reading import machine_of

ROOT = Path(__file__).parents[2]
DRAFTS = sorted((ROOT / "sequences").glob("*_draft.yaml"))
STORED = sorted((ROOT / "tests" / "search" / "cases").glob("*.yaml"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """A result that has a run, with the machine that it is a run of."""

    machine: Machine
    model: Model
    result: Result
    run: Run

    @property
    def name(self) -> str:
        """What it is, for the name of a test."""
        return f"{self.model.name} {self.result.id}"


@cache
def recorded_of(text: str, *faults: str, engine_name: str = "plain") -> tuple[Recorded, ...]:
    """Verify a text and return what has a run."""
    machine = machine_of(text)
    model = compile_machine(machine, faults)
    observing = partial(compile_observed, machine, faults=faults)
    case = verify_case(model, engine(engine_name), Limits(), lambda _progress: None, observing)
    return tuple(_with_runs(machine, model, case))


def _with_runs(machine: Machine, model: Model, case: Case) -> Iterator[Recorded]:
    for result in case.results:
        if result.run is not None:
            yield Recorded(machine=machine, model=model, result=result, run=result.run)


@cache
def of_drafts() -> tuple[Recorded, ...]:
    """Return all runs of the committed drafts."""
    texts = [path.read_text(encoding="utf-8") for path in DRAFTS]
    return tuple(one for text in texts for one in recorded_of(text, engine_name="symbolic"))


@cache
def of_stored() -> tuple[Recorded, ...]:
    """Return all runs of stored machines, without faults and with the first."""
    found: list[Recorded] = []
    for path in STORED:
        text = path.read_text(encoding="utf-8")
        found += recorded_of(text)
        found += [one for fault in machine_of(text).faults[:1] for one in recorded_of(text, fault.name)]
    return tuple(found)


def as_simulated(one: Recorded) -> list[dict[str, Value]]:
    """Return what the simulator has at the start and after each entry of a run, `TIMER.ET` left out."""
    simulator = Simulator(one.machine, faults=one.run.faults, start=dict(one.run.start))
    along = [dict(simulator.state())]
    for step in one.run.steps:
        if step.by.kind is StepKind.WAIT:
            simulator.wait(step.ticks)
        else:
            simulator.take(step.by)
        along.append(dict(simulator.state()))
    return [{name: value for name, value in values.items() if not name.endswith(".ET")} for values in along]
