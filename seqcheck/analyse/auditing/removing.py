"""Searches machines from which parts are taken out: all at once where that can be done, else one after the other."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from itertools import combinations
from typing import TypeAlias

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.auditing.parts import Part, loosened, without
from seqcheck.model.expression import Expression
from seqcheck.model.model import Model, Reachable
from seqcheck.search.engine import Engine, Exploration, Limits, Observer, Stop, Trace, Unfit
from seqcheck.search.symbolic.sorting import Apart, Sorted, sort

Missing: TypeAlias = frozenset[Part]


class Removals(Struct, frozen=True, kw_only=True):
    """What taking parts out makes possible.

    *violated* maps the number of a property to the least sets of parts without which it is violated, each with a run (None:
    there is none to show). Of the machine as it is, *never* are the watched conditions that no state has, *acted* the reactions
    that act.
    """

    violated: Mapping[int, tuple[tuple[Missing, Trace | None], ...]]
    never: frozenset[int]
    acted: frozenset[int]
    states: int
    stopped: Stop | None


class Removing(Struct, frozen=True, kw_only=True):
    """How to search: limits on each search, who is told of progress, and an engine for machines searched one by one."""

    limits: Callable[[], Limits]
    observer: Observer
    engine: Engine


def removals(
    model: Model, parts: Sequence[Part], at_most: int, watches: tuple[Expression, ...], removing: Removing
) -> Removals:
    """Search a machine with each set of up to *at_most* parts taken out."""
    apart = loosened(model, parts)
    try:
        asked = Apart(by=apart.flags, at_most=at_most, watches=watches)
        found = sort(apart.model, asked, least, removing.limits(), removing.observer)
    except Unfit:
        return one_by_one(model, parts, at_most, watches, removing)
    if found.fails or found.unjudged:
        return one_by_one(model, parts, at_most, watches, removing)
    return _removals(model, parts, found)


def _removals(model: Model, parts: Sequence[Part], found: Sorted) -> Removals:
    size = len(model.variables)
    violated = {
        number: tuple((_missing(parts, values), None if trace is None else bare(trace, size)) for values, trace in shown)
        for number, shown in found.found.items()
    }
    return Removals(violated=violated, never=found.never, acted=found.acted, states=found.states, stopped=found.stopped)


def _missing(parts: Sequence[Part], values: Sequence[int]) -> Missing:
    return frozenset(part for part, value in zip(parts, values, strict=True) if value)


def bare(trace: Trace, size: int) -> Trace:
    """Return a trace in which only the first *size* variables are left, those that the machine itself has."""
    return replace(trace, raw_start=trace.raw_start[:size], states=tuple(state[:size] for state in trace.states))


def least(sets: Collection[tuple[int, ...]]) -> list[tuple[int, ...]]:
    """Return the sets of which no other one is a part; a set is a tuple with 1 for what is in it."""
    found: list[tuple[int, ...]] = []
    for one in sorted(sets, key=lambda values: (sum(values), tuple(-value for value in values))):
        if not any(all(a <= b for a, b in zip(smaller, one, strict=True)) for smaller in found):
            found.append(one)
    return found


def one_by_one(
    model: Model, parts: Sequence[Part], at_most: int, watches: tuple[Expression, ...], removing: Removing
) -> Removals:
    """Do the same by a search for each set, the smaller ones first."""
    violated: dict[int, list[tuple[Missing, Trace | None]]] = {}
    states, stopped, never, acted = 0, None, frozenset[int](), frozenset[int]()
    for size in range(at_most + 1):
        for missing in map(frozenset, combinations(parts, size)):
            found = removing.engine.explore(
                without(model, tuple(missing)), watches if not size else (), removing.limits(), removing.observer
            )
            states, stopped = states + found.states, stopped or found.stopped
            if not size:
                never, acted = found.never, found.acted
            for number, trace in violations(model, found):
                known = violated.setdefault(number, [])
                if not any(smaller <= missing for smaller, _ in known):
                    known.append((missing, trace))
    shown = {number: tuple(sets) for number, sets in violated.items()}
    return Removals(violated=shown, never=never, acted=acted, states=states, stopped=stopped)


def violations(model: Model, found: Exploration) -> Iterator[tuple[int, Trace | None]]:
    """Yield the violated properties, each with a trace if there is one."""
    for number, p in enumerate(model.properties):
        if isinstance(p.rule, Reachable):
            if number not in found.found and found.stopped is None:
                yield number, None
        elif number in found.found:
            yield number, found.found[number]
