"""Answers what needs the whole graph of reachable states: what can be reached from every one of them."""

from collections.abc import Iterable

from seqcheck.model import semantics
from seqcheck.model.model import Model, Reachable, Recoverable, State
from seqcheck.model.run import StepKind
from seqcheck.search.engine import Trace
from seqcheck.search.plain.program import Compiled
from seqcheck.search.plain.tracing import Tracer


def judge_graph(model: Model, compiled: Compiled, tracer: Tracer, order: list[State]) -> dict[int, Trace]:
    """Return a shortest violation of each `recoverable`, and under faults of each `reachable`.

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
    predecessors = _predecessors(compiled, order, index)
    entries = _just_after_all_faults(model, order) if any(isinstance(r, Reachable) for _, r in asked) else {}
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


def _predecessors(compiled: Compiled, order: list[State], index: dict[State, int]) -> list[list[int]]:
    source: list[int] = []
    target: list[int] = []
    compiled.edges()(order, index, source, target)
    predecessors: list[list[int]] = [[] for _ in order]
    for one, other in zip(source, target, strict=True):
        predecessors[other].append(one)
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


def _just_after_all_faults(model: Model, order: list[State]) -> dict[State, tuple[State, int]]:
    """Map each state in which the last fault has just occurred to a cheapest state and fault step that lead to it."""
    flags = model.fault_variables
    faults = [number for number, step in enumerate(model.steps) if step.kind is StepKind.FAULT]
    entries: dict[State, tuple[State, int]] = {}
    for state in order:
        if sum(state[flag] for flag in flags) == len(flags) - 1:
            for number in faults:
                after = _after(model, number, state)
                if after is not None:
                    entries.setdefault(after, (state, number))
    return entries


def _after(model: Model, number: int, state: State) -> State | None:
    step = model.steps[number]
    try:
        return semantics.take(model, step, state) if semantics.possible(model, step, state) else None
    except semantics.Failed:
        return None
