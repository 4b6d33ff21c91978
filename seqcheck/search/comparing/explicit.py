"""Compares two machines state by state, by the plain definition: slow, for machines that are not made for sets."""

import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import TypeAlias

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.model.model import State
from seqcheck.search.comparing.listing import Listing, Situation, listed, ways
from seqcheck.search.comparing.pair import Compared, Difference, Label, Level, Moved, Pair, Searched, Side, Way
from seqcheck.search.engine import Limits, Observer, Progress, Stop, Trace
from seqcheck.search.limits import Allowance

Truth: TypeAlias = Callable[[State], bool]


class Spot(Struct, frozen=True, kw_only=True):
    """A state that a way is to be shown to, and what is attempted there."""

    side: Side
    state: State
    attempts: bool = False
    last: int | None = None


class Tally(Struct, kw_only=True):
    """How many there are, and the first state seen of them."""

    count: int = 0
    spot: Spot | None = None

    def add(self, spot: Spot | None) -> None:
        """Count one more."""
        self.count += 1
        self.spot = self.spot or spot


Tallies: TypeAlias = dict[int, tuple[Tally, Tally]]
"""Of what is more and what is less in the new machine, by the place of a label or condition."""


def empty(many: int) -> Tallies:
    """Return that nothing was counted yet."""
    return {place: (Tally(), Tally()) for place in range(many)}


class OverError(Exception):
    """A limit is reached."""

    def __init__(self, why: Stop) -> None:
        super().__init__(why)
        self.why = why


def compare_states(pair: Pair, limits: Limits, observer: Observer) -> Compared:
    """Compare two machines, or as far as *limits* allow."""
    began = time.monotonic()

    def left() -> Limits:
        return (
            limits if limits.seconds is None else replace(limits, seconds=max(0.0, limits.seconds - time.monotonic() + began))
        )

    old = listed(pair, Side.OLD, left(), observer)
    new = listed(pair, Side.NEW, left() if old.complete else replace(limits, states=1), observer)
    with Allowance(left()) as allowance:
        return Comparing(pair, old, new, allowance, observer).compared(left)


class Comparing:
    """One comparison. *tallies* by what is counted."""

    def __init__(self, pair: Pair, old: Listing, new: Listing, allowance: Allowance, observer: Observer) -> None:
        self._pair = pair
        self._sides = (old, new)
        self._allowance = allowance
        self._observer = observer
        self._stopped = old.exploration.stopped or new.exploration.stopped
        hides = bool(pair.old_only or pair.new_only)
        self._common = [s for s in new.situations if s in old.situations] if self._stopped is None or not hides else []
        self._unclear = 0
        self._looked = 0
        self._ways: dict[tuple[Side, State], Trace] = {}

    def compared(self, left: Callable[[], Limits]) -> Compared:
        """Tell the two apart."""
        old, new = self._sides
        accepted, moved, judged = (
            empty(n) for n in (len(self._pair.labels), len(self._pair.labels), len(self._pair.conditions))
        )
        only = [Tally() for _ in range(4)]
        try:
            self._situations(only)
            for situation in self._common:
                self._truths(situation, accepted, judged)
                for place, label in enumerate(self._pair.labels):
                    self._moves(situation, place, label, moved[place])
        except OverError as over:
            self._stopped = over.why
        self._find_ways([*only, *(t for d in (accepted, moved, judged) for pair in d.values() for t in pair)], left)
        gone, come, starts_gone, starts_come = map(self._difference, only)
        return Compared(
            old=self._searched(old),
            new=self._searched(new),
            common=len(self._common),
            stopped=self._stopped,
            gone=gone,
            come=come,
            starts_gone=starts_gone,
            starts_come=starts_come,
            accepted={p: Level(more=more, less=less) for p, more, less in self._both(accepted)},
            moved={p: Moved(gone=less, come=more) for p, more, less in self._both(moved)},
            judged={p: Level(more=more, less=less) for p, more, less in self._both(judged)},
            unclear=self._unclear,
        )

    def _both(self, tallies: Tallies) -> Iterator[tuple[int, Difference | None, Difference | None]]:
        for place, (more, less) in tallies.items():
            if more.count or less.count:
                yield place, self._difference(more), self._difference(less)

    # --- counting ---------------------------------------------------------------------------------------------------
    def _situations(self, only: Sequence[Tally]) -> None:
        """Count the situations that only one machine reaches, or starts in."""
        if self._stopped is not None:
            return
        for n, (mine, other) in enumerate((self._sides, self._sides[::-1])):
            for situation, states in mine.situations.items():
                if situation not in other.situations:
                    only[n].add(Spot(side=mine.side, state=states[0]))
            for situation in sorted(mine.starts() - other.starts()):
                only[2 + n].add(Spot(side=mine.side, state=mine.situations[situation][0]))

    def _truths(self, situation: Situation, accepted: Tallies, judged: Tallies) -> None:
        old, new = self._sides
        for place in self._pair.commands:
            label = self._pair.labels[place]
            levels = self._acceptance(situation, label)
            self._unclear += levels == (1, 1)
            self._note_accepted(situation, label, levels, accepted[place])
        for place, (first, second) in enumerate(self._pair.conditions):
            before, now = self._levels(situation, partial(old.holds, first), partial(new.holds, second))
            if before != now:
                truth = now > before
                state = next(s for s in new.situations[situation] if new.holds(second, s) is truth)
                judged[place][0 if truth else 1].add(Spot(side=Side.NEW, state=state))

    def _acceptance(self, situation: Situation, label: Label) -> tuple[int, int]:
        old, new = self._sides
        return self._levels(situation, partial(old.accepts, label.old), partial(new.accepts, label.new))

    def _levels(self, situation: Situation, old: Truth, new: Truth) -> tuple[int, int]:
        """Return for each machine whether a truth holds in none (0), some (1) or all (2) of the states of a situation."""
        before, now = (
            [truth(s) for s in side.situations[situation]] for side, truth in zip(self._sides, (old, new), strict=True)
        )
        return (2 if all(before) else int(any(before))), (2 if all(now) else int(any(now)))

    def _note_accepted(self, situation: Situation, label: Label, levels: tuple[int, int], tallies: tuple[Tally, Tally]) -> None:
        old, new = self._sides
        before, now = levels
        if now > before:
            state = next(s for s in new.situations[situation] if new.accepts(label.new, s))
            tallies[0].add(Spot(side=Side.NEW, state=state, attempts=True, last=label.new))
        elif before > now and label.new is None:
            state = next(s for s in old.situations[situation] if old.accepts(label.old, s))
            tallies[1].add(Spot(side=Side.OLD, state=state, attempts=True, last=label.old))
        elif before > now:
            state = next(s for s in new.situations[situation] if not new.accepts(label.new, s))
            tallies[1].add(Spot(side=Side.NEW, state=state))

    def _moves(self, situation: Situation, place: int, label: Label, tallies: tuple[Tally, Tally]) -> None:
        """Count the transitions of one name that only one machine has; those that *come* first."""
        self._look()
        if place in self._pair.commands:
            before, now = self._acceptance(situation, label)
            if before != now:
                return
        numbers = (label.old, label.new)
        leads = [
            [(s, side.after(number, s, waits=label.is_wait)) for s in side.situations[situation]]
            for side, number in zip(self._sides, numbers, strict=True)
        ]
        for there in {after for led in leads for _, after in led if after is not None}:
            met = [[s for s, after in led if after == there] for led in leads]
            before, now = (2 if len(m) == len(led) else int(bool(m)) for m, led in zip(met, leads, strict=True))
            self._unclear += before == now == 1
            if before != now:
                n = int(now > before)
                spot = Spot(side=self._sides[n].side, state=met[n][0], attempts=True, last=numbers[n])
                tallies[0 if n else 1].add(spot)

    def _look(self) -> None:
        """Look at the limits. Raises `OverError`."""
        self._looked += 1
        if self._looked % 64 == 0:
            states = len(self._sides[0].order) + len(self._sides[1].order)
            self._observer(Progress(states=states, transitions=self._looked, layer=0, waiting=0))
            why = self._allowance.exceeded(0)
            if why is not None:
                raise OverError(why)

    # --- showing ----------------------------------------------------------------------------------------------------
    def _find_ways(self, tallies: Sequence[Tally], left: Callable[[], Limits]) -> None:
        """Find the ways to all that is to be shown, in one more search of each machine."""
        spots = [tally.spot for tally in tallies if tally.spot is not None]
        for listing in self._sides:
            wanted = [spot.state for spot in spots if spot.side is listing.side]
            if wanted:
                found = ways(listing.model, wanted, left(), self._observer)
                self._ways |= {(listing.side, state): trace for state, trace in found.items()}

    def _difference(self, tally: Tally) -> Difference | None:
        if not tally.count or tally.spot is None:
            return None
        spot = tally.spot
        trace = self._ways.get((spot.side, spot.state))
        if trace is None:
            return Difference(count=tally.count, way=None)
        trace = replace(trace, attempts=spot.attempts, last=spot.last)
        return Difference(count=tally.count, way=Way(side=spot.side, trace=trace))

    def _searched(self, listing: Listing) -> Searched:
        """Return what is told of one machine; all its properties are answered."""
        found, complete = listing.exploration, self._stopped is None
        return Searched(
            states=found.states,
            situations=len(listing.situations),
            asked=frozenset(range(len(listing.model.properties))) if complete else frozenset(),
            found=dict(found.found) if complete else {},
            unjudged=dict(found.unjudged) if complete else {},
            failures=found.failures if complete else (),
        )
