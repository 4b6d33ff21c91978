"""A second search: the whole graph of a model through its plain definition, judged with networkx. Shares no engine code.

A way is worth its steps first, then its ticks: each step weighs LONG, each tick 1 (Dijkstra, 1959, with weights that keep
the order of pairs).
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
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
    """All that the graph says. Properties whose condition has no value somewhere, or of a kind that
    the tool has no judge for, are left out of *expected*.

    *idle* are the trips and at-once rules that never change anything, *asleep* those whose condition never holds where a
    round of settling ends.
    """

    states: int
    transitions: int
    tick_s: float
    expected: Mapping[str, Expected]
    failures: Mapping[str, Cost]
    dead_ends: int
    nearest_dead_end: Cost | None
    findings: frozenset[tuple[str, str]]
    idle: frozenset[str]
    asleep: frozenset[str]
    reaction_count: int


@dataclass(slots=True)
class Graph:
    """Every reachable state, every step between two different ones, every attempt that fails or changes nothing."""

    model: m.Model
    moves: "nx.MultiDiGraph[m.State]" = field(default_factory=nx.MultiDiGraph)
    starts: list[m.State] = field(default_factory=list)
    accepted: dict[m.State, set[int]] = field(default_factory=dict)
    acted: set[str] = field(default_factory=set)
    woken: set[str] = field(default_factory=set)
    failing: list[tuple[m.State | None, int | None, Failure]] = field(default_factory=list)

    def watch(self, reactions: list[str], values: m.State) -> None:
        """Note which trips and at-once rules change something, and whose condition holds."""
        self.acted.update(reactions)
        for reaction in self.model.reactions:
            with suppress(semantics.Impossible):
                if reaction.name not in self.woken and self.truth(reaction.when.test, values):
                    self.woken.add(reaction.name)

    def truth(self, test: Expression, state: m.State) -> bool:
        """Evaluate a condition in a state. Raises `Impossible`."""
        return bool(semantics.evaluate(self.model, test, state))


def grown(model: m.Model, most_states: int) -> Graph | None:
    """Visit every reachable state; None if there are more than *most_states*."""
    graph = Graph(model)
    for raw in semantics.raw_starts(model):
        try:
            graph.starts.append(semantics.settle(model, raw, graph.watch))
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
    graph.accepted[state] = set()
    for number, after in attempts(graph, state):
        if isinstance(after, Beyond | Endless):
            graph.failing.append((state, number, after))
        elif after is not None and after != state:
            if after not in graph.moves:
                fresh.append(after)
            graph.moves.add_edge(state, after, step=number, weight=1 if number is None else LONG)
    return fresh


def attempts(graph: Graph, state: m.State) -> Iterator[tuple[int | None, m.State | Failure | None]]:
    """Try every step and a tick; yield where each leads, or how it fails."""
    for number, step in enumerate(graph.model.steps):
        try:
            if semantics.possible(graph.model, step, state):
                graph.accepted[state].add(number)
                yield number, semantics.take(graph.model, step, state, graph.watch)
        except semantics.Failed as failed:
            yield number, failed.failure
    try:
        yield None, semantics.tick(graph.model, state, graph.watch)
    except semantics.Failed as failed:
        yield None, failed.failure


def survey(graph: Graph) -> Surveyed:
    """Answer everything about a grown graph."""
    lengths = nx.multi_source_dijkstra_path_length(graph.moves, set(graph.starts)) if graph.starts else {}
    costs = {state: int(length) for state, length in lengths.items()}
    failing = {state for state, _, _ in graph.failing}
    dead = [state for state in graph.moves if not graph.moves.out_degree(state) and state not in failing]
    expected = {}
    for asked in graph.model.properties:
        if isinstance(asked.rule, m.Elsewhere):
            continue
        try:
            expected[asked.id] = judged(graph, costs, asked.rule)
        except semantics.Impossible:
            continue
    return Surveyed(
        states=graph.moves.number_of_nodes(),
        transitions=graph.moves.number_of_edges(),
        tick_s=float(graph.model.tick_s),
        expected=expected,
        failures=failures(graph, costs),
        dead_ends=len(dead),
        nearest_dead_end=divmod(min(costs[s] for s in dead), LONG) if dead else None,
        findings=frozenset(never(graph)),
        idle=frozenset(r.name for r in graph.model.reactions if r.name not in graph.acted),
        asleep=frozenset(r.name for r in graph.model.reactions if r.name not in graph.woken | graph.acted),
        reaction_count=len(graph.model.reactions),
    )


def never(graph: Graph) -> Iterator[tuple[str, str]]:
    """Yield (kind, subject) of what never is: values never entered, steps never possible."""
    ever = set().union(*graph.accepted.values())
    for number, step in enumerate(graph.model.steps):
        if number not in ever and step.kind is not StepKind.PANEL:
            yield "never_accepted" if step.kind is StepKind.COMMAND else "never_happens", step.name
    for place, variable in enumerate(graph.model.variables):
        if variable.labels and {state[place] for state in graph.moves} < set(range(len(variable.labels))):
            yield "never_entered", variable.name


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
        case m.Hazard(must_not_be=guard) | m.Observed(violated=guard):
            return against([costs[s] for s in having(graph, guard.test)])
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
