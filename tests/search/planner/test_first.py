"""A search that is to stop at the first violation ends with the layer in which that is seen, neither sooner nor later."""

import pytest
from msgspec.structs import replace

from seqcheck.model.model import Forbid, Hazard, Model, Only
from seqcheck.search.engine import Exploration, Extras, Limits, Stop, Trace, Unfit
from seqcheck.search.engines import engine
from tests.analyse.asking import model_of, silent
from tests.benchmarks.cells import cells
from tests.cli.calling import counters
from tests.search.packed.comparing import cost
from tests.search.planner import fakes
from tests.search.planner.test_resume import MACHINES, Memory

ENGINES = ("plain", "symbolic", "packed")
DEEP = counters(4, 17).replace("c0 = 1}", "c0 + c1 + c2 + c3 = 40}")
"""Its first violation is beyond what is tried out."""


def explored(name: str, model: Model, *, first: bool) -> Exploration:
    return engine(name).explore(model, (), Limits(), silent, Extras(first=first))


def violations(model: Model, found: Exploration) -> list[Trace]:
    """Return the runs of all that is violated, but for what needs to know every reachable state."""
    rules = (Hazard, Forbid, Only)
    settled = [trace for number, trace in found.found.items() if isinstance(model.properties[number].rule, rules)]
    return [*settled, *found.failures, *found.unjudged.values()]


def layer_of(model: Model, trace: Trace) -> int:
    """Return how many steps lead to where a violation is seen: one that is attempted there does not count."""
    return cost(model, replace(trace, attempts=False, last=None))[0] if trace.states else 0


@pytest.mark.parametrize("name", ENGINES)
@pytest.mark.parametrize("machine", MACHINES)
def test_it_ends_with_the_layer_of_the_first_violation(machine: str, name: str) -> None:
    model = MACHINES[machine]
    try:
        whole, found = explored(name, model, first=False), explored(name, model, first=True)
    except Unfit:
        return
    layers = [layer_of(model, trace) for trace in violations(model, whole)]
    if not layers or not whole.states:
        assert found == whole
        return
    assert (found.stopped, found.complete_steps) == (Stop.FIRST, min(layers))
    shown = violations(model, found)
    costs = {cost(model, trace) for trace in violations(model, whole) if trace.states}
    assert min(layer_of(model, trace) for trace in shown) == min(layers)
    assert {cost(model, trace) for trace in shown if trace.states and layer_of(model, trace) == min(layers)} <= costs


@pytest.mark.parametrize("name", ENGINES)
def test_the_first_violation_of_a_large_machine_is_there_at_once(name: str) -> None:
    """22 steps is a known answer of this machine; all its states are 19,896."""
    model = model_of(cells(1, mistake=True))
    found = explored(name, model, first=True)
    assert (found.stopped, found.complete_steps) == (Stop.FIRST, 22)
    assert [cost(model, trace)[0] for trace in found.found.values()] == [22]


def test_an_engine_that_stopped_there_has_answered() -> None:
    """The other need not go on, and what is tried out may be there first."""
    found = fakes.planner(fakes.answers, fakes.hangs).explore(model_of(DEEP), (), Limits(), silent, Extras(first=True))
    assert (found.stopped, found.complete_steps) == (Stop.FIRST, 40)
    near = fakes.planner(fakes.hangs, fakes.hangs).explore(model_of(counters(4, 17)), (), Limits(), silent, Extras(first=True))
    assert (near.engine, near.stopped, near.complete_steps) == ("plain", Stop.FIRST, 1)


def test_from_there_a_search_can_be_taken_up_again() -> None:
    model, keeper = MACHINES["counters"], Memory()
    plain = engine("plain")
    first = plain.explore(model, (), Limits(), silent, Extras(keeper=keeper, first=True))
    assert (first.stopped, keeper.saved) == (Stop.FIRST, 1)
    again = plain.explore(model, (), Limits(), silent, Extras(keeper=keeper, first=True))
    assert again == first
    assert plain.explore(model, (), Limits(), silent, Extras(keeper=keeper)) == plain.explore(model, (), Limits(), silent)
