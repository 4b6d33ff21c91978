"""The plain engine against a plain search through the definition, on stored machines: every construct, every answer.

The machines are files in `cases`: some written by hand, one for each construct, and some drawn once from the strategy of
`tests/outside/machines.py` (`drawn_*.yaml`). Nothing here is random, so that it can judge planted faults.
"""

from collections.abc import Callable, Iterator
from itertools import combinations
from pathlib import Path

import pytest

from seqcheck.check.machine import Machine
from seqcheck.compile.compile import compile_machine
from seqcheck.model import model as m
from seqcheck.model import semantics
from seqcheck.model.expression import Expression
from seqcheck.model.run import StepKind
from seqcheck.search.engine import Exploration, Limits, Remarkable, Trace
from seqcheck.search.plain.plain import PlainEngine
from tests.outside import independent
from tests.outside.independent import LONG, Cost, Expected, Graph, against, described, grown, survey
from tests.outside.reading import machine_of

CASES = sorted((Path(__file__).parent / "cases").glob("*.yaml"))
MOST_STATES = 5_000


def fault_sets(machine: Machine) -> Iterator[tuple[str, ...]]:
    """Yield no fault, each alone, and all together (two that are stuck on one signal never meet in one run)."""
    names = tuple(fault.name for fault in machine.faults)
    yield ()
    yield from ((name,) for name in names)
    if len(names) > 1:
        yield from list(combinations(names, 2))[:1]
        yield names


def asked(path: Path) -> list[tuple[Path, tuple[str, ...]]]:
    return [(path, faults) for faults in fault_sets(machine_of(path.read_text(encoding="utf-8")))]


def named(value: object) -> str:
    return value.stem if isinstance(value, Path) else "+".join(value) or "no fault"  # type: ignore[arg-type]


@pytest.mark.parametrize(("path", "faults"), [pair for path in CASES for pair in asked(path)], ids=named)
def test_the_engine_answers_as_the_definition_does(
    path: Path, faults: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    model = compile_machine(machine_of(path.read_text(encoding="utf-8")), faults)
    watches = tuple(conditions(model))
    found = PlainEngine().explore(model, watches, Limits(), lambda _: None)
    raw: dict[m.State, None] = {}
    graph = recorded(model, raw, monkeypatch)
    counts_agree(found, graph)
    verdicts_agree(found, graph)
    failures_agree(found, graph)
    remarks_agree(found, graph, watches)
    settling_agrees(found, graph, raw)


def recorded(model: m.Model, raw: dict[m.State, None], monkeypatch: pytest.MonkeyPatch) -> Graph:
    """Grow the graph; note each state that is not settled yet. What has no value does not hold."""
    settle = semantics.settle

    def noting(model: m.Model, state: m.State, watch: semantics.Watch = semantics.ignore) -> m.State:
        raw[state] = None
        return settle(model, state, watch)

    monkeypatch.setattr(semantics, "settle", noting)
    monkeypatch.setattr(independent, "having", having)
    graph = grown(model, MOST_STATES)
    assert graph is not None
    return graph


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


def costs_of(graph: Graph) -> dict[m.State, int]:
    lengths = independent.nx.multi_source_dijkstra_path_length(graph.moves, set(graph.starts)) if graph.starts else {}
    return {state: int(length) for state, length in lengths.items()}


def counts_agree(found: Exploration, graph: Graph) -> None:
    costs = costs_of(graph)
    assert found.stopped is None
    assert (found.states, found.transitions) == (graph.moves.number_of_nodes(), graph.moves.number_of_edges())
    farthest = max((cost // LONG for cost in costs.values()), default=-1)
    assert farthest <= found.complete_steps <= farthest + 1
    values = tuple(frozenset(state[place] for state in graph.moves) for place in range(len(graph.model.variables)))
    assert found.entered == values


def verdicts_agree(found: Exploration, graph: Graph) -> None:
    """Each property: found or not, by a run that is one, and as short as can be."""
    costs = costs_of(graph)
    for number, p in enumerate(graph.model.properties):
        expected = of_only(graph, costs, p.rule) if isinstance(p.rule, m.Only) else independent.judged(graph, costs, p.rule)
        trace = found.found.get(number)
        assert (trace is None) == (expected.cost is None), p.id
        if trace is not None:
            assert cost(trace, graph) == expected.cost, p.id
            assert shows(graph, p.rule, trace), p.id
    for number, trace in unjudged(found, graph, costs):
        assert valued(graph, m.condition_of(graph.model.properties[number].rule).test, trace.states[-1]) is None


def unjudged(found: Exploration, graph: Graph, costs: dict[m.State, int]) -> Iterator[tuple[int, Trace]]:
    """Yield what has no value somewhere; the nearest place is shown."""
    for number, p in enumerate(graph.model.properties):
        if isinstance(p.rule, m.Recoverable) or (isinstance(p.rule, m.Reachable) and graph.model.faults):
            assert number not in found.unjudged
            continue
        test = m.condition_of(p.rule).test
        expected = min((cost for state, cost in costs.items() if valued(graph, test, state) is None), default=None)
        assert (number in found.unjudged) == (expected is not None), p.id
        if expected is not None:
            assert cost(found.unjudged[number], graph) == divmod(expected, LONG), p.id
            yield number, found.unjudged[number]


def of_only(graph: Graph, costs: dict[m.State, int], rule: m.Only) -> Expected:
    """Judge `only`: the condition turns from false to true by a step not named."""
    test = rule.makes.test
    truth = {state: valued(graph, test, state) for state in graph.moves}
    edges = graph.moves.edges(data=True)
    made = [(a, data) for a, b, data in edges if truth[a] is False and truth[b] and data["step"] not in rule.steps]
    return against([costs[a] + data["weight"] for a, data in made])


def after(trace: Trace, graph: Graph) -> m.State | semantics.Failure | None:
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
    if isinstance(rule, m.Hazard) or (isinstance(rule, m.Reachable) and not graph.model.faults):
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


def failures_agree(found: Exploration, graph: Graph) -> None:
    """Each thing that fails once, nearest first, with the shortest way to it."""
    expected = independent.failures(graph, costs_of(graph))
    shown = [(described(failure_of(trace, graph)), cost(trace, graph)) for trace in found.failures]
    assert dict(shown) == expected
    assert len(shown) == len(expected)
    assert [cost for _, cost in shown] == sorted(cost for _, cost in shown)


def failure_of(trace: Trace, graph: Graph) -> semantics.Failure:
    if trace.states:
        failure = after(trace, graph)
    else:
        with pytest.raises(semantics.Failed) as failed:
            semantics.settle(graph.model, trace.raw_start)
        failure = failed.value.failure
    assert failure is not None
    assert not isinstance(failure, tuple)
    return failure


def remarks_agree(found: Exploration, graph: Graph, watches: tuple[Expression, ...]) -> None:
    """Conditions that are never true, dead ends, and places where time is stuck."""
    assert found.never == {n for n, test in enumerate(watches) if not having(graph, test)}
    assert survey(graph).states == found.states
    remark_agrees(found.dead_ends, graph, lambda state: not graph.moves.out_degree(state))
    remark_agrees(found.time_stuck, graph, lambda state: is_stuck(graph, state))


def remark_agrees(remarkable: Remarkable | None, graph: Graph, test: Callable[[m.State], bool]) -> None:
    costs = costs_of(graph)
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


def settling_agrees(found: Exploration, graph: Graph, raw: dict[m.State, None]) -> None:
    """Which reactions ever act, and which hazards hold only in passing."""
    changing = {n for n, reaction in enumerate(graph.model.reactions) if reaction.name in graph.acted}
    starts = set(semantics.raw_starts(graph.model))
    moments: dict[m.State, None] = {}
    awake: set[int] = set()
    for state in raw:
        if state not in starts or state in graph.moves:
            moments.update(dict.fromkeys(passed(graph, state, awake)))
    assert changing <= found.acted <= awake | changing
    for number, p in enumerate(graph.model.properties):
        if isinstance(p.rule, m.Hazard) and number not in found.found and number not in found.unjudged:
            held = any(valued(graph, p.rule.must_not_be.test, moment) for moment in moments)
            assert (number in found.passing) == held, p.id


def passed(graph: Graph, state: m.State, awake: set[int]) -> Iterator[m.State]:
    """Yield the moments of settling: before it, and after each reaction that changes something."""
    model, values = graph.model, list(state)
    yield state
    rounds: set[m.State] = set()
    while (before := tuple(values)) not in rounds:
        rounds.add(before)
        try:
            for timer in model.timers:
                in_ = semantics.judge(model, timer.name, timer.input.test, values)
                values[timer.variable] = semantics.update_timer(timer, values[timer.variable], in_)
            for number, reaction in enumerate(model.reactions):
                if semantics.judge(model, reaction.name, reaction.when.test, values):
                    awake.add(number)
                    if semantics.apply(model, reaction.name, reaction.program, values):
                        yield tuple(values)
        except semantics.Failed:
            return
