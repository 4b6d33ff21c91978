"""Runs that are recorded while an engine goes on: the same runs, and verdicts that hang on none of it."""

from dataclasses import dataclass
from pathlib import Path

import pytest
from msgspec.structs import replace

from seqcheck.analyse.verdict import Case
from seqcheck.analyse.verify import verify_case
from seqcheck.compile.compile import compile_machine
from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.model.run import Run
from seqcheck.search.engine import NO_EXTRAS, Engine, Exploration, Extras, Limits, Observer, Trace
from seqcheck.search.engines import engine
from seqcheck.search.planner.planner import Alone
from tests.analyse.asking import silent
from tests.outside.reading import machine_of

FILE = Path(__file__).parents[2] / "sequences" / "burner_draft.yaml"
MODEL = compile_machine(machine_of(FILE.read_text(encoding="utf-8")))


def cased(by: Engine, told: list[Run], limits: Limits | None = None) -> Case:
    case = verify_case(MODEL, by, limits or Limits(), silent, None, told.append)
    return replace(case, seconds=0.0, engine="", complete_steps=None)


@pytest.mark.parametrize("by", [engine("symbolic"), Alone("symbolic")], ids=["here", "in a process"])
def test_runs_told_ahead_are_those_of_the_answer(by: Engine) -> None:
    told: list[Run] = []
    case = cased(by, told)
    shown = [result.run for result in case.results if result.run is not None]
    assert len(told) > 1
    assert all(any(run is one for one in shown) for run in told)
    assert case == cased(by, [], Limits(seconds=600.0))


def test_where_limits_are_set_nothing_is_done_ahead() -> None:
    """What it takes would be taken from the search."""
    told: list[Run] = []
    cased(engine("symbolic"), told, Limits(seconds=60.0))
    assert told == []


@dataclass(frozen=True, slots=True)
class Rash:
    """An engine that tells of other traces than it answers with: of one that is no run, and of one that proves nothing."""

    name: str = "rash"

    def explore(
        self, model: Model, watches: tuple[Expression, ...], limits: Limits, observer: Observer, extras: Extras = NO_EXTRAS
    ) -> Exploration:
        found = engine("plain").explore(model, watches, limits, observer)
        trace = next(iter(found.found.values()))
        assert extras.ahead is not None
        extras.ahead(replace(trace, states=(*trace.states, trace.states[0], trace.states[-1])))
        extras.ahead(replace(trace, states=trace.states[:2], attempts=False, last=None))
        return found


def test_what_is_told_ahead_proves_nothing() -> None:
    told: list[Run] = []
    case = cased(Rash(), told)
    assert len(told) == 1
    assert told[0] not in [result.run for result in case.results]
    assert case == cased(engine("plain"), [])


def test_a_process_tells_only_what_is_asked_for() -> None:
    heard: list[Trace] = []
    asked = Extras(ahead=heard.append)
    with_it = Alone("symbolic").explore(MODEL, (), Limits(), silent, asked)
    without = Alone("symbolic").explore(MODEL, (), Limits(), silent)
    assert heard == list(with_it.found.values())
    assert without == with_it
