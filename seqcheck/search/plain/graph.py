"""Answers what needs the whole graph of reachable states: what can be reached from every one of them."""

from collections.abc import Callable, Iterable

from seqcheck.model.model import Model, Reachable, Recoverable, State
from seqcheck.search.engine import Trace
from seqcheck.search.plain.program import Compiled
from seqcheck.search.plain.tracing import Tracer

CHUNK = 10_000
"""States whose transitions are listed between two looks at the limits."""


def judge_graph(
    model: Model, compiled: Compiled, tracer: Tracer, order: list[State], go_on: Callable[[], bool]
) -> dict[int, Trace] | None:
    """Return a shortest violation of each `recoverable`, and under faults of each `reachable`; None if told not to go on.

    *order* holds all reachable states, cheapest first. Memory: some 150 bytes a state and 16 a transition.
    """
    asked = [
        (number, p.rule)
        for number, p in enumerate(model.properties)
        if isinstance(p.rule, Recoverable) or (isinstance(p.rule, Reachable) and model.faults)
    ]
    if not asked:
        return {}
    index = {state: place for place, state in enumerate(order)}
    predecessors = _predecessors(compiled, order, index, go_on)
    if predecessors is None:
        return None
    entries = _just_after_all_faults(model, compiled, order) if any(isinstance(r, Reachable) for _, r in asked) else {}
    found: dict[int, Trace] = {}
    for number, rule in asked:
        leads = _leading(predecessors, compiled.places(rule.goal.test, order))
        if isinstance(rule, Recoverable):
            lost = next((place for place in range(len(order)) if not leads[place]), None)
            if lost is not None:
                found[number] = tracer.trace(order[lost])
        else:
            entry = next((pair for after, pair in entries.items() if not leads[index[after]]), None)
            if entry is not None:
                found[number] = tracer.attempt(*entry)
    return found


def _predecessors(
    compiled: Compiled, order: list[State], index: dict[State, int], go_on: Callable[[], bool]
) -> list[list[int]] | None:
    edges = compiled.edges()
    predecessors: list[list[int]] = [[] for _ in order]
    for first in range(0, len(order), CHUNK):
        source: list[int] = []
        target: list[int] = []
        edges(order[first : first + CHUNK], first, index, source, target)
        for one, other in zip(source, target, strict=True):
            predecessors[other].append(one)
        if not go_on():
            return None
    return predecessors


def _leading(predecessors: list[list[int]], goals: Iterable[int]) -> bytearray:
    """Mark the places from which some way leads to a goal."""
    leads = bytearray(len(predecessors))
    pending = list(goals)
    for place in pending:
        leads[place] = 1
    while pending:
        for place in predecessors[pending.pop()]:
            if not leads[place]:
                leads[place] = 1
                pending.append(place)
    return leads


def _just_after_all_faults(model: Model, compiled: Compiled, order: list[State]) -> dict[State, tuple[State, int]]:
    """Map each state in which the last fault has just occurred to a cheapest state and fault step that lead to it."""
    flags = model.fault_variables
    before = [state for state in order if sum(state[flag] for flag in flags) == len(flags) - 1]
    found: list[tuple[State, int, State]] = []
    compiled.fault_edges()(before, found)
    entries: dict[State, tuple[State, int]] = {}
    for state, number, after in found:
        entries.setdefault(after, (state, number))
    return entries
