"""Ways back to the start condition: around hazards where that can be, else the shortest, with the warning."""

from itertools import pairwise

import networkx as nx
import pytest
from hypothesis import HealthCheck, event, given, settings
from msgspec.structs import replace

from seqcheck.analyse.procedures.moving import Moves
from seqcheck.analyse.record import SHOWN
from seqcheck.analyse.testing import restoring
from seqcheck.analyse.testing.records import SheetTest
from seqcheck.analyse.testing.restoring import WaysBack
from seqcheck.analyse.testing.trails import MOST_STARTS, searched
from seqcheck.model import semantics
from seqcheck.model.model import Hazard, Model, State
from seqcheck.model.run import Run, StepKind
from seqcheck.search.engine import Limits
from tests.analyse.testing.making import made, model_of, silent, start_of, taken
from tests.effort import examples
from tests.outside.independent import Graph, grown
from tests.outside.machines import machines

DRYER = """
machine: A dryer with a heater that may burn through without its fan
tick: 1 s
parts:
  heater: [off, low, high]
  belt: [whole, torn]
sensors:
  hot: heater = high
outputs:
  fan: [off, on]
  horn: [off, on]
commands:
  start the fan: {then: {fan: on}}
  stop the fan: {then: {fan: off}}
  sound: {permissives: {it is hot: hot}, then: {horn: on}}
  hush: {permissives: {it sounds: horn = on}, then: {horn: off}}
plant:
  it burns through: {when: fan = off AND heater <> off, then: {heater: off}}
people:
  heat: {if: fan = on AND heater = off, then: {heater: high}}
  turn down: {if: heater = high, then: {heater: low}}
  switch off: {if: heater = low, then: {heater: off}}
  look: {then: {belt: belt}}
hazards:
  H1: {text: It is heated and the fan is off, must not be: fan = off AND heater <> off}
"""

NO_CHANGE = "look: {then: {belt: belt}}", "look: {then: {belt: belt}}"
TORN = "look: {then: {belt: belt}}", "tear it: {then: {belt: torn}}"
"""With that there is not always a way back, so that the search gives no ranks."""

NEVER_LOW = "then: {heater: low}", "then: {heater: high}"
"""With that nobody can switch it off."""

MOST_GRAPH = 400


def hot_at_the_end(model: Model) -> list[SheetTest]:
    """Return the tests that end with the heater on and the fan running."""
    standing = {"heater": "high", "fan": "on"}
    tests = made(model).tests
    hot = [
        t
        for t in tests
        if standing.items() <= {v.name: v.shown(x) for v, x in zip(model.variables, t.end, strict=True)}.items()
    ]
    assert hot
    return hot


@pytest.mark.parametrize("change", [NO_CHANGE, TORN], ids=["with ranks", "without ranks"])
def test_a_longer_way_around_a_hazard_is_taken(change: tuple[str, str]) -> None:
    model = model_of(DRYER.replace(*change))
    found = searched(model, Moves(model), Limits(), silent)
    assert found.evidence is not None
    assert bool(found.evidence.ranks) is (change == NO_CHANGE)
    for test in hot_at_the_end(model):
        assert test.restoring.lines == (
            "1. By hand: turn down.",
            "2. By hand: switch off.",
            "3. Give the command “stop the fan”.",
        )
        assert (test.restoring.hazards, test.cautions) == ((), ())


@pytest.mark.parametrize("change", [NO_CHANGE, TORN], ids=["with ranks", "without ranks"])
def test_where_every_way_meets_a_hazard_the_shortest_is_taken_and_the_sheet_says_so(change: tuple[str, str]) -> None:
    for test in hot_at_the_end(model_of(DRYER.replace(*change).replace(*NEVER_LOW))):
        assert test.restoring.lines == (
            "CAUTION: simulated signals only. H1 may be met on the way as the machine is.",
            "1. Give the command “stop the fan”.",
            "2. Wait until heater is off.",
        )
        assert test.restoring.hazards == ("H1",)


@pytest.mark.parametrize("change", [NO_CHANGE, TORN], ids=["with ranks", "without ranks"])
def test_a_bound_on_what_is_looked_at_leaves_the_shortest_way(change: tuple[str, str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(restoring, "MOST", 1)
    for test in hot_at_the_end(model_of(DRYER.replace(*change))):
        assert test.restoring.found is (change == NO_CHANGE)
        assert test.restoring.hazards == (("H1",) if change == NO_CHANGE else ())


def shown(model: Model, state: State) -> State:
    """Return how parts, panel, outputs and memory stand."""
    return tuple(value for variable, value in zip(model.variables, state, strict=True) if variable.kind in SHOWN)


def met(model: Model, state: State) -> bool:
    """Tell whether a hazard holds."""
    tests = [p.rule.must_not_be.test for p in model.properties if isinstance(p.rule, Hazard)]
    return any(semantics.evaluate(model, test, state) for test in tests)


class Plain:
    """How far all states of a whole graph are from the start condition: by any way, and by one that meets no hazard."""

    def __init__(self, graph: Graph) -> None:
        self.graph = graph
        self.starts = {shown(graph.model, start) for start in graph.starts}
        self.any = self.far(set(graph.moves))
        self.clear = self.far({state for state in graph.moves if not met(graph.model, state)})

    def is_back(self, state: State) -> bool:
        """Tell whether a state is as at a start."""
        return shown(self.graph.model, state) in self.starts

    def far(self, kept: set[State]) -> dict[State, int]:
        """Return the numbers of moves from those of some states from which there is a way through them alone."""
        backwards = nx.DiGraph(self.graph.moves.subgraph(kept)).reverse()
        goals = {state for state in kept if self.is_back(state)}
        lengths = nx.multi_source_dijkstra_path_length(backwards, goals, weight=lambda *_: 1) if goals else {}
        return {state: int(length) for state, length in lengths.items()}

    def wanted(self, state: State) -> tuple[bool, int | None]:
        """Return whether there is a way back that meets no hazard after its first state, and how long the way has to be."""
        if self.is_back(state):
            return True, 0
        clear = [1 + self.clear[after] for after in self.graph.moves.successors(state) if after in self.clear]
        return bool(clear), min(clear) if clear else self.any.get(state)


@settings(max_examples=examples(80), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(text=machines(with_faults=False))
def test_ways_of_random_machines_are_those_of_the_plain_definition(text: str) -> None:
    """From every state, with the ranks of the search and without; and from where the tests of the sheets end."""
    model = model_of(text)
    graph = grown(model, MOST_GRAPH)
    if graph is None or graph.failing or len(list(semantics.raw_starts(model))) > MOST_STARTS:
        event("too large, or it fails")
        return
    plain, moves = Plain(graph), Moves(model)
    got = searched(model, moves, Limits(), silent)
    for found in (got, replace(got, evidence=None)):
        ways = WaysBack(model, moves, found)
        for state in graph.moves:
            way = ways.way(moves.number(state))
            checked(plain, state, None if way is None else [moves.states[number] for number in way])
    for test in made(model).tests:
        run = test.restoring.run
        if run is not None:
            checked(plain, test.end, played(model, test, run)[len(played(model, test, test.run)) - 1 :])
        else:
            assert test.restoring.found is (plain.wanted(test.end)[1] == 0)


def checked(plain: Plain, state: State, way: list[State] | None) -> None:
    """Hold a way back against the plain definition."""
    clear, length = plain.wanted(state)
    if way is None or length is None:
        assert (way, length) == (None, None)
        return
    assert way[0] == state
    assert plain.is_back(way[-1])
    assert all(plain.graph.moves.has_edge(one, other) for one, other in pairwise(way))
    assert len(way) - 1 == length
    assert any(met(plain.graph.model, after) for after in way[1:]) is not clear
    if length != plain.any[state]:
        event("longer, around a hazard")
    elif not clear:
        event("every way meets a hazard")


def played(model: Model, test: SheetTest, run: Run) -> list[State]:
    """Return all states of a run, tick by tick."""
    states = [start_of(model, test)]
    for step in run.steps:
        waits = step.by.kind is StepKind.WAIT
        for one in [replace(step, ticks=1)] * step.ticks if waits else [step]:
            states.append(taken(model, states[-1], one))
    return states
