"""Searches machines from which parts are taken out: all at once where that can be done, else one after the other."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import combinations
from typing import TypeAlias

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.auditing.parts import Part, loosened, without
from seqcheck.model.expression import Expression
from seqcheck.model.model import Model, Reachable
from seqcheck.search.engine import Engine, Exploration, Limits, Observer, Stop, Trace, Unfit
from seqcheck.search.symbolic.sorting import Apart, Sorted, Values, sort

Missing: TypeAlias = frozenset[Part]

MOST_APART = 150
"""Machines that are worth searching one by one, where a search of all at once cannot answer for them."""

OVER = (Stop.SECONDS, Stop.INTERRUPTED)
"""Where a search ended so, no other is begun."""


class Removals(Struct, frozen=True, kw_only=True):
    """What taking parts out makes possible.

    *violated* maps the number of a property to the least sets of parts without which it is violated, each with a run (None:
    there is none to show). *failed* are the sets without which a step fails, each with a trace that ends in it,
    *unjudged* those without which a property, given by its number, has no value at the end of a trace. Of the machine as it is,
    *never* are the watched conditions that no state has, *acted* the reactions that act. *left* sets were not searched at all.
    """

    violated: Mapping[int, tuple[tuple[Missing, Trace | None], ...]]
    failed: tuple[tuple[Missing, Trace], ...]
    unjudged: tuple[tuple[Missing, int, Trace], ...]
    never: frozenset[int]
    acted: frozenset[int]
    states: int
    stopped: Stop | None
    left: int = 0


class Removing(Struct, frozen=True, kw_only=True):
    """How to search: limits on each search, who is told of progress, and an engine for machines searched one by one."""

    limits: Callable[[], Limits]
    observer: Observer
    engine: Engine


def removals(
    model: Model, parts: Sequence[Part], at_most: int, watches: tuple[Expression, ...], removing: Removing
) -> Removals:
    """Search a machine with each set of up to *at_most* parts taken out.

    Machines in which something fails are searched one by one: a part that is not there is not evaluated either, which one
    search over all machines cannot tell.
    """
    apart = loosened(model, parts)
    asked = Apart(by=apart.flags, at_most=at_most, watches=watches, only_sound=True)
    try:
        found = sort(apart.model, asked, None, removing.limits(), removing.observer)
    except Unfit:
        return OneByOne(model, removing).removals(sets(parts, at_most), watches)
    together = _removals(model, parts, found)
    if not found.left_out:
        return together
    left_out = sorted((_missing(parts, values) for values in found.left_out), key=len)
    apart_from_them = OneByOne(model, removing).removals(left_out, watches)
    return joined(together, apart_from_them, together if left_out[0] else apart_from_them)


def _removals(model: Model, parts: Sequence[Part], found: Sorted) -> Removals:
    size = len(model.variables)
    violated = {
        number: tuple((_missing(parts, values), None if trace is None else bare(trace, size)) for values, trace in shown)
        for number, shown in found.found.items()
    }
    return Removals(
        violated=violated,
        failed=(),
        unjudged=(),
        never=found.never,
        acted=found.acted,
        states=found.states,
        stopped=found.stopped,
    )


def _missing(parts: Sequence[Part], values: Values) -> Missing:
    return frozenset(part for part, value in zip(parts, values, strict=True) if value)


def bare(trace: Trace, size: int) -> Trace:
    """Return a trace in which only the first *size* variables are left, those that the machine itself has."""
    return replace(trace, raw_start=trace.raw_start[:size], states=tuple(state[:size] for state in trace.states))


def sets(parts: Sequence[Part], at_most: int) -> list[Missing]:
    """Return all sets of up to so many parts, the smaller ones first."""
    return [frozenset(chosen) for size in range(at_most + 1) for chosen in combinations(parts, size)]


class OneByOne:
    """Searches one machine without some parts after the other."""

    def __init__(self, model: Model, removing: Removing) -> None:
        self._model = model
        self._removing = removing
        self._violated: dict[int, list[tuple[Missing, Trace | None]]] = {}
        self._failed: list[tuple[Missing, Trace]] = []
        self._unjudged: list[tuple[Missing, int, Trace]] = []
        self._never: frozenset[int] = frozenset()
        self._acted: frozenset[int] = frozenset()
        self._stopped: Stop | None = None
        self._states = 0

    def removals(self, asked: Sequence[Missing], watches: tuple[Expression, ...]) -> Removals:
        """Search the machine without each of some sets, the smaller ones first; of very many only the first ones."""
        searched = 0
        for missing in asked[:MOST_APART]:
            if self._stopped in OVER:
                break
            self._search(missing, () if missing else watches)
            searched += 1
        return Removals(
            violated={number: tuple(shown) for number, shown in self._violated.items()},
            failed=tuple(self._failed),
            unjudged=tuple(self._unjudged),
            never=self._never,
            acted=self._acted,
            states=self._states,
            stopped=self._stopped,
            left=len(asked) - searched,
        )

    def _search(self, missing: Missing, watches: tuple[Expression, ...]) -> None:
        removing, model = self._removing, without(self._model, tuple(missing))
        found = removing.engine.explore(model, watches, removing.limits(), removing.observer)
        self._states += found.states
        self._stopped = self._stopped or found.stopped
        if not missing:
            self._never, self._acted = found.never, found.acted
        for number, trace in violations(model, found):
            known = self._violated.setdefault(number, [])
            if not any(smaller <= missing for smaller, _ in known):
                known.append((missing, trace))
        self._failed += ((missing, trace) for trace in found.failures)
        self._unjudged += ((missing, number, trace) for number, trace in sorted(found.unjudged.items()))


def joined(together: Removals, apart: Removals, machine: Removals) -> Removals:
    """Return as one what a search of many machines and searches of the others found; *machine* looked at it as it is."""
    violated: dict[int, tuple[tuple[Missing, Trace | None], ...]] = {}
    for number in sorted({*together.violated, *apart.violated}):
        shown = (*together.violated.get(number, ()), *apart.violated.get(number, ()))
        smallest = least([missing for missing, _ in shown])
        violated[number] = tuple(one for one in shown if one[0] in smallest)
    return Removals(
        violated=violated,
        failed=apart.failed,
        unjudged=apart.unjudged,
        never=machine.never,
        acted=machine.acted,
        states=together.states,
        stopped=together.stopped or apart.stopped,
        left=apart.left,
    )


def least(found: Sequence[Missing]) -> frozenset[Missing]:
    """Return the sets of which no other one is a part."""
    return frozenset(one for one in found if not any(other < one for other in found))


def violations(model: Model, found: Exploration) -> Iterator[tuple[int, Trace | None]]:
    """Yield the violated properties, each with a trace if there is one."""
    for number, p in enumerate(model.properties):
        if isinstance(p.rule, Reachable):
            if number not in found.found and found.stopped is None:
                yield number, None
        elif number in found.found:
            yield number, found.found[number]
