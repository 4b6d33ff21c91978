"""Answers what needs the whole graph of reachable states: what can be reached from every one of them."""

from collections.abc import Callable, Iterable

from msgspec import Struct

from seqcheck.model.model import Model, Reachable, Recoverable, State
from seqcheck.search.engine import Trace
from seqcheck.search.plain.program import Compiled
from seqcheck.search.plain.tracing import Tracer

CHUNK = 10_000
"""States whose transitions are listed between two looks at the limits."""

STATE_BYTES, TRANSITION_BYTES = 220, 10
"""What the graph takes in memory."""

CHUNK_NOTED = 200_000
"""Noted transitions that are turned round between two looks at the limits."""

LOST = -1
"""The rank of a state from which no way leads to a goal."""


class Noted(Struct, frozen=True, kw_only=True):
    """All transitions that are no fault: the place of the state in the order of visits, and the number of the next state."""

    source: list[int]
    target: list[int]
    number_of: dict[State, int]


class Judged(Struct, frozen=True, kw_only=True):
    """A shortest violation of each `recoverable`, and under faults of each `reachable`.

    *ranks* maps each `recoverable` that holds to each state's number of transitions to its goal.
    """

    found: dict[int, Trace]
    ranks: dict[int, list[int]]


def asked_of_graph(model: Model) -> list[tuple[int, Recoverable | Reachable]]:
    """Return what is asked of the whole graph, with its number."""
    return [
        (number, p.rule)
        for number, p in enumerate(model.properties)
        if isinstance(p.rule, Recoverable) or (isinstance(p.rule, Reachable) and model.faults)
    ]


def judge_graph(
    model: Model,
    compiled: Compiled,
    tracer: Tracer,
    order: list[State],
    may_take: Callable[[float], bool],
    noted: Noted | None = None,
) -> Judged | None:
    """Judge what needs the whole graph; None if it may not take so many megabytes, or may not go on.

    *order* holds all reachable states, cheapest first. The transitions are worked out anew unless they were *noted*.
    """
    asked = asked_of_graph(model)
    judged = Judged(found={}, ranks={})
    if not asked:
        return judged
    if not may_take(len(order) * STATE_BYTES / 1e6):
        return None
    if noted is None:
        index = {state: place for place, state in enumerate(order)}
        predecessors = _predecessors(compiled, order, index, may_take)
    else:
        index = {} if all(isinstance(rule, Recoverable) for _, rule in asked) else {s: place for place, s in enumerate(order)}
        predecessors = _turned_round(noted, order, may_take)
    if predecessors is None:
        return None
    entries = _just_after_all_faults(model, compiled, order) if any(isinstance(r, Reachable) for _, r in asked) else {}
    for number, rule in asked:
        ranks = _ranks(predecessors, compiled.places(rule.goal.test, order))
        if isinstance(rule, Recoverable):
            lost = next((place for place, rank in enumerate(ranks) if rank == LOST), None)
            if lost is None:
                judged.ranks[number] = ranks
            else:
                judged.found[number] = tracer.trace(order[lost])
        else:
            entry = next((pair for after, pair in entries.items() if ranks[index[after]] == LOST), None)
            if entry is not None:
                judged.found[number] = tracer.attempt(*entry)
    return judged


def _predecessors(
    compiled: Compiled, order: list[State], index: dict[State, int], may_take: Callable[[float], bool]
) -> list[list[int]] | None:
    edges = compiled.edges()
    predecessors: list[list[int]] = [[] for _ in order]
    for first in range(0, len(order), CHUNK):
        source: list[int] = []
        target: list[int] = []
        edges(order[first : first + CHUNK], first, index, source, target)
        for one, other in zip(source, target, strict=True):
            predecessors[other].append(one)
        if not may_take(CHUNK * TRANSITION_BYTES / 1e6):
            return None
    return predecessors


def _turned_round(noted: Noted, order: list[State], may_take: Callable[[float], bool]) -> list[list[int]] | None:
    """Return the same of transitions that were noted."""
    place_of = [0] * len(order)
    for place, state in enumerate(order):
        place_of[noted.number_of[state]] = place
    predecessors: list[list[int]] = [[] for _ in order]
    for first in range(0, len(noted.source), CHUNK_NOTED):
        some = slice(first, first + CHUNK_NOTED)
        for one, other in zip(noted.source[some], noted.target[some], strict=True):
            predecessors[place_of[other]].append(one)
        if not may_take(0.0):
            return None
    return predecessors


def _ranks(predecessors: list[list[int]], goals: Iterable[int]) -> list[int]:
    """Return each place's number of transitions to the nearest goal, or LOST."""
    ranks = [LOST] * len(predecessors)
    nearest = list(goals)
    rank = 0
    while nearest:
        for place in nearest:
            ranks[place] = rank
        rank += 1
        nearest = list({before for place in nearest for before in predecessors[place] if ranks[before] == LOST})
    return ranks


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
