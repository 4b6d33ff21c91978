"""A second search: the whole graph of a model through its plain definition, judged with networkx. Shares no engine code.

A way is worth its steps first, then its ticks: each step weighs LONG, each tick 1 (Dijkstra, 1959, with weights that keep
the order of pairs).
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

import networkx as nx

from seqcheck.model import model as m
from seqcheck.model import semantics
from seqcheck.model.expression import Expression
from seqcheck.model.run import Beyond, Endless, Failure, StepKind

LONG = 1_000_000
Cost: TypeAlias = tuple[int, int]
"""Steps, then ticks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What a search must answer. A cost is that of the run that must be shown."""

    holds: bool
    cost: Cost | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Surveyed:
    """All that the graph says. Properties whose condition has no value somewhere are left out of *expected*."""

    states: int
    transitions: int
    expected: Mapping[str, Expected]
    failures: Mapping[str, Cost]


@dataclass(slots=True)
class Graph:
    """Every reachable state, every step between two different ones, every attempt that fails or changes nothing."""

    model: m.Model
    moves: "nx.MultiDiGraph[m.State]" = field(default_factory=nx.MultiDiGraph)
    starts: list[m.State] = field(default_factory=list)
    accepted: dict[m.State, set[int]] = field(default_factory=dict)
    failing: list[tuple[m.State | None, int | None, Failure]] = field(default_factory=list)

    def truth(self, test: Expression, state: m.State) -> bool:
        """Evaluate a condition in a state. Raises `Impossible`."""
        return bool(semantics.evaluate(self.model, test, state))


def grown(model: m.Model, most_states: int) -> Graph | None:
    """Visit every reachable state; None if there are more than *most_states*."""
    graph = Graph(model)
    for raw in semantics.raw_starts(model):
        try:
            graph.starts.append(semantics.settle(model, raw))
        except semantics.Failed as failed:
            graph.failing.append((None, None, failed.failure))
    pending = list(dict.fromkeys(graph.starts))
    graph.moves.add_nodes_from(pending)
    while pending:
        state = pending.pop()
        pending += visited(graph, state)
        if graph.moves.number_of_nodes() > most_states:
            return None
    return graph


def visited(graph: Graph, state: m.State) -> list[m.State]:
    """Add what can happen in a state; return the states that are new."""
    fresh = []
    graph.accepted[state] = {number for number, step in enumerate(graph.model.steps) if accepted(graph.model, step, state)}
    for number, after in semantics.steps(graph.model, state):
        if isinstance(after, Beyond | Endless):
            graph.failing.append((state, number, after))
        elif after != state:
            if after not in graph.moves:
                fresh.append(after)
            graph.moves.add_edge(state, after, step=number, weight=1 if number is None else LONG)
    return fresh


def accepted(model: m.Model, step: m.Step, state: m.State) -> bool:
    """Tell whether a step can be taken, whatever comes of it."""
    try:
        return semantics.possible(model, step, state)
    except semantics.Failed:
        return False


def survey(graph: Graph) -> Surveyed:
    """Answer everything about a grown graph."""
    lengths = nx.multi_source_dijkstra_path_length(graph.moves, set(graph.starts)) if graph.starts else {}
    costs = {state: int(length) for state, length in lengths.items()}
    expected = {}
    for asked in graph.model.properties:
        try:
            expected[asked.id] = judged(graph, costs, asked.rule)
        except semantics.Impossible:
            continue
    return Surveyed(
        states=graph.moves.number_of_nodes(),
        transitions=graph.moves.number_of_edges(),
        expected=expected,
        failures=failures(graph, costs),
    )


def failures(graph: Graph, costs: Mapping[m.State, int]) -> dict[str, Cost]:
    """Return what fails, as the rule and variable or the names that chase each other, with the cheapest way there."""
    found: dict[str, int] = {}
    for state, number, failure in graph.failing:
        cost = 0 if state is None else costs[state] + (1 if number is None else LONG)
        label = described(failure)
        found[label] = min(cost, found.get(label, cost))
    return {label: divmod(cost, LONG) for label, cost in found.items()}


def described(failure: Failure) -> str:
    """Return a label that is the same for the same failure."""
    if isinstance(failure, Endless):
        return "settling: " + ", ".join(failure.names)
    return f"range: {failure.rule}, {failure.variable}"


def judged(graph: Graph, costs: Mapping[m.State, int], rule: m.Rule) -> Expected:
    """Judge one property on the graph. Raises `Impossible`."""
    match rule:
        case m.Hazard():
            return against([costs[s] for s in having(graph, rule.must_not_be.test)])
        case m.Reachable() if graph.model.faults:
            return against(hopeless(graph, costs, rule.goal.test))
        case m.Reachable():
            met = [costs[s] for s in having(graph, rule.goal.test)]
            return Expected(holds=bool(met), cost=divmod(min(met), LONG) if met else None)
        case m.Recoverable():
            leading = that_lead_to(graph, having(graph, rule.goal.test), lambda n: n is None or not is_fault(graph, n))
            return against([cost for state, cost in costs.items() if state not in leading])
        case m.Forbid():
            during = having(graph, rule.during.test)
            return against([costs[s] + LONG for s in during if rule.step in graph.accepted[s]])
        case m.Only():
            made = set(having(graph, rule.makes.test))
            edges = graph.moves.edges(data=True)
            return against([costs[a] + data["weight"] for a, b, data in edges
                            if b in made and a not in made and data["step"] not in rule.steps])  # fmt: skip
        case _:
            raise AssertionError(rule)


def against(costs: Iterable[int]) -> Expected:
    """Return what a list of the costs of violations means."""
    cheapest = min(costs, default=None)
    return Expected(holds=cheapest is None, cost=None if cheapest is None else divmod(cheapest, LONG))


def having(graph: Graph, test: Expression) -> list[m.State]:
    """Return the states in which a condition holds. Raises `Impossible`."""
    return [state for state in graph.moves if graph.truth(test, state)]


def is_fault(graph: Graph, number: int) -> bool:
    """Tell whether a step is a fault's."""
    return graph.model.steps[number].kind is StepKind.FAULT


def that_lead_to(graph: Graph, goals: list[m.State], kept: Callable[[int | None], bool]) -> set[m.State]:
    """Return the states from which some way by kept steps leads to a goal."""
    backwards: nx.DiGraph[m.State | str] = nx.DiGraph()
    backwards.add_edges_from(("the goal", goal) for goal in goals)
    backwards.add_edges_from((b, a) for a, b, data in graph.moves.edges(data=True) if kept(data["step"]))
    return {s for s in nx.descendants(backwards, "the goal") if isinstance(s, tuple)} if goals else set()


def hopeless(graph: Graph, costs: Mapping[m.State, int], goal: Expression) -> list[int]:
    """Return the costs of ways to states just after the last fault from which the goal can't be reached."""
    flags = graph.model.fault_variables
    leading = that_lead_to(graph, having(graph, goal), lambda _: True)
    return [costs[a] + LONG for a, b, data in graph.moves.edges(data=True)
            if data["step"] is not None and is_fault(graph, data["step"]) and all(b[flag] for flag in flags)
            and b not in leading]  # fmt: skip
