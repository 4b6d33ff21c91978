"""Every engine against a plain search through the definition, on stored machines: every construct, every answer.

The machines are files in `cases`: some written by hand, one for each construct, and some drawn once from the strategy of
`tests/outside/machines.py` (`drawn_*.yaml`). Nothing here is random, so that it can judge planted faults.
"""

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeAlias

import networkx as nx
import pytest

from seqcheck.check.machine import Machine
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model import model as m
from seqcheck.model import semantics
from seqcheck.model.expression import FALLIBLE, Apply, Expression, Sense, walk
from seqcheck.model.run import Failure, StepKind
from seqcheck.search.engine import Exploration, Limits, Remarkable, Trace
from seqcheck.search.engines import NAMES
from seqcheck.search.engines import engine as engine_called
from tests.outside import independent
from tests.outside.independent import LONG, Cost, Expected, Graph, against, described, grown
from tests.outside.reading import machine_of
from tests.search.observing import observed_in

CASES = sorted((Path(__file__).parent / "cases").glob("*.yaml"))
MOST_STATES = 5_000
Costs: TypeAlias = Mapping[m.State, int]
"""LONG for each step of the cheapest way to a state, and 1 for each tick."""


def fault_sets(machine: Machine) -> Iterator[tuple[str, ...]]:
    """Yield no fault, each alone, and all together (two that are stuck on one signal never meet in one run)."""
    names = tuple(fault.name for fault in machine.faults)
    yield ()
    yield from ((name,) for name in names)
    if len(names) > 1:
        yield names[:2]
    if len(names) > 2:
        yield names


def asked(path: Path) -> list[tuple[Path, tuple[str, ...], str]]:
    """Return what is searched of a file: each set of faults, without an observer (no id) and with each."""
    machine = machine_of(path.read_text(encoding="utf-8"))
    return [(path, faults, id_) for faults in fault_sets(machine) for id_ in ("", *observed_in(machine))]


def named(value: object) -> str:
    match value:
        case Path():
            return value.stem
        case str():
            return value or "no observer"
        case _:
            return "+".join(value) or "no fault"  # type: ignore[arg-type]


@pytest.mark.parametrize("engine", NAMES)
@pytest.mark.parametrize(("path", "faults", "observed"), [one for path in CASES for one in asked(path)], ids=named)
def test_the_engine_answers_as_the_definition_does(
    path: Path, faults: tuple[str, ...], observed: str, engine: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    machine = machine_of(path.read_text(encoding="utf-8"))
    model = compile_observed(machine, observed, faults) if observed else compile_machine(machine, faults)
    watches = tuple(conditions(model))
    found = engine_called(engine).explore(model, watches, Limits(), lambda _: None)
    graph, unsettled = recorded(model, monkeypatch)
    lengths = nx.multi_source_dijkstra_path_length(graph.moves, set(graph.starts)) if graph.starts else {}
    costs = {state: int(length) for state, length in lengths.items()}
    counts_agree(found, graph, costs)
    verdicts_agree(found, graph, costs)
    failures_agree(found, graph, costs)
    assert found.never == {n for n, test in enumerate(watches) if not having(graph, test)}
    stopped = {state for state, _, _ in graph.failing}
    remark_agrees(found.dead_ends, graph, costs, lambda s: not graph.moves.out_degree(s) and s not in stopped)
    remark_agrees(found.time_stuck, graph, costs, lambda s: is_stuck(graph, s))
    settling_agrees(found, graph, unsettled)


Unsettled: TypeAlias = tuple[m.State, tuple[str, ...]]
"""A state before it settles, with the timers that count a tick."""


def recorded(model: m.Model, monkeypatch: pytest.MonkeyPatch) -> tuple[Graph, list[Unsettled]]:
    """Grow the graph; return all that settled on the way too. What has no value does not hold."""
    settle, unsettled = semantics.settle, dict[Unsettled, None]()

    def noting(
        model: m.Model, state: m.State, watch: semantics.Watch = semantics.ignore, *, counted: Collection[str] = ()
    ) -> m.State:
        unsettled[state, tuple(counted)] = None
        return settle(model, state, watch, counted=counted)

    monkeypatch.setattr(semantics, "settle", noting)
    monkeypatch.setattr(independent, "having", having)
    graph = grown(model, MOST_STATES)
    assert graph is not None
    return graph, list(unsettled)


def having(graph: Graph, test: Expression) -> list[m.State]:
    return [state for state in graph.moves if valued(graph, test, state) == 1]


def valued(graph: Graph, test: Expression, state: m.State) -> bool | None:
    """Evaluate a condition; None: it has no value."""
    try:
        return graph.truth(test, state)
    except semantics.Impossible:
        return None


def conditions(model: m.Model) -> Iterator[Expression]:
    """Yield every condition of the model, to be watched."""
    yield from (m.condition_of(p.rule).test for p in model.properties)
    yield from (guard.test for step in model.steps for guard in step.guards)
    yield from (reaction.when.test for reaction in model.reactions)
    yield from (timer.q for timer in model.timers)


def counts_agree(found: Exploration, graph: Graph, costs: Costs) -> None:
    assert found.stopped is None
    assert (found.states, found.transitions) == (graph.moves.number_of_nodes(), graph.moves.number_of_edges())
    farthest = max((cost // LONG for cost in costs.values()), default=-1)
    assert found.complete_steps is None or farthest <= found.complete_steps <= farthest + 1
    values = tuple(frozenset(state[place] for state in graph.moves) for place in range(len(graph.model.variables)))
    assert found.entered == values


def verdicts_agree(found: Exploration, graph: Graph, costs: Costs) -> None:
    """Each property: found or not, by a run that is one, and as short as can be."""
    for number, p in judged_here(graph.model):
        expected = of_only(graph, costs, p.rule) if isinstance(p.rule, m.Only) else independent.judged(graph, costs, p.rule)
        trace = found.found.get(number)
        assert (trace is None) == (expected.cost is None), p.id
        if trace is not None:
            assert cost(trace, graph) == expected.cost, p.id
            assert shows(graph, p.rule, trace), p.id
    for number, trace in unjudged(found, graph, costs):
        assert valued(graph, m.condition_of(graph.model.properties[number].rule).test, trace.states[-1]) is None


def judged_here(model: m.Model) -> Iterator[tuple[int, m.Property]]:
    """Yield the properties that take no observer which the model does not have."""
    return ((number, p) for number, p in enumerate(model.properties) if not isinstance(p.rule, m.Elsewhere))


def unjudged(found: Exploration, graph: Graph, costs: Costs) -> Iterator[tuple[int, Trace]]:
    """Yield what has no value somewhere; the nearest place is shown."""
    for number, p in judged_here(graph.model):
        test = m.condition_of(p.rule).test
        expected = min((cost for state, cost in costs.items() if valued(graph, test, state) is None), default=None)
        assert (number in found.unjudged) == (expected is not None), p.id
        if expected is not None:
            assert cost(found.unjudged[number], graph) == divmod(expected, LONG), p.id
            yield number, found.unjudged[number]


def of_only(graph: Graph, costs: Costs, rule: m.Only) -> Expected:
    """Judge `only`: the condition turns from false to true by a step not named."""
    test = rule.makes.test
    truth = {state: valued(graph, test, state) for state in graph.moves}
    edges = graph.moves.edges(data=True)
    made = [(a, data) for a, b, data in edges if truth[a] is False and truth[b] and data["step"] not in rule.steps]
    return against([costs[a] + data["weight"] for a, data in made])


def after(trace: Trace, graph: Graph) -> m.State | Failure | None:
    """Return where the attempt at the end of a trace leads; None if it is not possible."""
    return dict(semantics.steps(graph.model, trace.states[-1])).get(trace.last)


def shows(graph: Graph, rule: m.Rule, trace: Trace) -> bool:
    """Tell whether a trace shows what was found."""
    test = m.condition_of(rule).test
    if isinstance(rule, m.Forbid):
        return trace.attempts and trace.last == rule.step and valued(graph, test, trace.states[-1]) is True
    if isinstance(rule, m.Only):
        end = after(trace, graph)
        makes = valued(graph, test, trace.states[-1]) is False and isinstance(end, tuple) and valued(graph, test, end)
        return bool(makes) and trace.attempts and trace.last not in rule.steps
    if isinstance(rule, m.Hazard | m.Observed) or (isinstance(rule, m.Reachable) and not graph.model.faults):
        return not trace.attempts and valued(graph, test, trace.states[-1]) is True
    return valued(graph, test, trace.states[-1]) is not True or trace.attempts


def cost(trace: Trace, graph: Graph) -> Cost:
    """Return a trace's steps and ticks; every link must be in the graph, and the start one of the file."""
    if not trace.states:
        return (0, 0)
    assert semantics.settle(graph.model, trace.raw_start) == trace.states[0]
    assert trace.raw_start in semantics.raw_starts(graph.model)
    total = 0
    for one, other in zip(trace.states, trace.states[1:], strict=False):
        total += min(data["weight"] for data in graph.moves[one][other].values())
    if trace.attempts:
        assert after(trace, graph) is not None
        total += 1 if trace.last is None else LONG
    return total // LONG, total % LONG


def failures_agree(found: Exploration, graph: Graph, costs: Costs) -> None:
    """Each thing that fails once, nearest first, with the shortest way to it."""
    expected = independent.failures(graph, costs)
    shown = [(described(failure_of(trace, graph)), cost(trace, graph)) for trace in found.failures]
    assert dict(shown) == expected
    assert len(shown) == len(expected)
    assert [cost for _, cost in shown] == sorted(cost for _, cost in shown)


def failure_of(trace: Trace, graph: Graph) -> Failure:
    if trace.states:
        failure = after(trace, graph)
    else:
        with pytest.raises(semantics.Failed) as failed:
            semantics.settle(graph.model, trace.raw_start)
        failure = failed.value.failure
    assert failure is not None
    assert not isinstance(failure, tuple)
    return failure


def remark_agrees(remarkable: Remarkable | None, graph: Graph, costs: Costs, test: Callable[[m.State], bool]) -> None:
    """Compare how many states are of some sort, and the way to the nearest."""
    places = [state for state in graph.moves if test(state)]
    assert (remarkable is None) == (not places)
    if remarkable is not None:
        assert remarkable.count == len(places)
        assert remarkable.trace.states[-1] in places
        assert cost(remarkable.trace, graph) == divmod(min(costs[state] for state in places), LONG)


def is_stuck(graph: Graph, state: m.State) -> bool:
    """Tell whether time must wait for a plant rule, and whatever the plant could do fails or changes nothing."""
    if not any(semantics.blocks_time(graph.model, clock, state) for clock in graph.model.clocks):
        return False
    kinds = {number: step.kind for number, step in enumerate(graph.model.steps)}
    led = [end for n, end in semantics.steps(graph.model, state) if n is not None and kinds[n] is StepKind.PLANT]
    return not any(isinstance(end, tuple) and end != state for end in led)


def settling_agrees(found: Exploration, graph: Graph, unsettled: list[Unsettled]) -> None:
    """Which reactions ever act, and which hazards hold only in passing."""
    settling = Settling(graph.model)
    for state, counted in unsettled:
        settling.go_through(state, counted)
    changing = {n for n, reaction in enumerate(graph.model.reactions) if reaction.name in graph.acted}
    assert changing <= found.acted <= settling.awake
    for number, p in enumerate(graph.model.properties):
        if isinstance(p.rule, m.Hazard) and number not in found.found and number not in found.unjudged:
            test = p.rule.must_not_be.test
            if number in found.passing:
                assert any(valued(graph, test, moment) for moment in settling.moments | settling.doubtful), p.id
            elif not may_lack_value(graph.model, test):  # what may lack a value is not watched
                assert not any(valued(graph, test, moment) for moment in settling.moments), p.id


def may_lack_value(model: m.Model, test: Expression) -> bool:
    """Tell whether an expression divides or the like, in its sensors too."""
    parts = tuple(walk(test))
    sensors = [model.sensors[part.sensor].value for part in parts if isinstance(part, Sense)]
    divides = any(isinstance(part, Apply) and part.op in FALLIBLE for part in parts)
    return divides or any(may_lack_value(model, value) for value in sensors)


@dataclass(slots=True)
class Settling:
    """What is passed through while settling: *moments* before it and after each reaction that changes something,
    *doubtful* ones after a round's timers and where no rest is reached; *awake* are the reactions whose condition ever
    held at their turn.
    """

    model: m.Model
    moments: set[m.State] = field(default_factory=set)
    doubtful: set[m.State] = field(default_factory=set)
    awake: set[int] = field(default_factory=set)

    def go_through(self, state: m.State, counted: tuple[str, ...]) -> None:
        """Settle a state round by round until a round begins as an earlier one did."""
        values, rounds, passed = list(state), list[Unsettled](), {state}
        try:
            while (before := (tuple(values), counted)) not in rounds:
                rounds.append(before)
                self.round(values, counted, passed)
                counted = ()
            semantics.at_rest(self.model, list(values))
        except semantics.Failed:
            rounds.clear()
        rests = rounds and rounds[-1] == (tuple(values), ())
        (self.moments if rests else self.doubtful).update(passed)

    def round(self, values: list[int], counted: tuple[str, ...], passed: set[m.State]) -> None:
        """Do one round on *values*; add to *passed*."""
        for timer in self.model.timers:
            in_ = semantics.judge(self.model, timer.name, timer.input.test, values)
            now = values[timer.variable] + (timer.name in counted)
            values[timer.variable] = semantics.update_timer(timer, now, in_)
        self.doubtful.add(tuple(values))
        for number, reaction in enumerate(self.model.reactions):
            if semantics.judge(self.model, reaction.name, reaction.when.test, values):
                self.awake.add(number)
                if semantics.apply(self.model, reaction.name, reaction.program, values):
                    passed.add(tuple(values))
