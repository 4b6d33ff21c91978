"""Follows a tester step by step through everything that the machine may do meanwhile: sets of states in the place of one run.

A tester gives a step, or tries one, some time after the row before; or waits until something is to be seen. Told is within what
time a step can be done so that it comes out as it should, and how long a wait can take.
"""

from collections.abc import Callable, Iterable
from typing import TypeAlias

from msgspec import Struct

from seqcheck.analyse.procedures.moving import FAILED, NOT_YET, Moves
from seqcheck.analyse.testing.records import Timing
from seqcheck.model.expression import Expression

States: TypeAlias = frozenset[int]

MOST_LEVELS, MOST_STATES = 4_000, 20_000
"""Ticks, and states, that are looked at for one row."""


class Lasting(Struct, frozen=True, kw_only=True):
    """How long it stays so that a row can be done: *ticks* (None: for ever), and the states in which it then is done.

    *hazards* has the bits of those met on the way.
    """

    timing: Timing
    ticks: int | None
    states: States
    hazards: int = 0


class Waited(Struct, frozen=True, kw_only=True):
    """How long a wait takes, and where it ends."""

    timing: Timing
    least: int
    most: int | None
    states: States
    hazards: int = 0


class Follower:
    """Follows what one machine may do."""

    def __init__(self, moves: Moves) -> None:
        self._moves = moves

    def at_this_moment(self, states: Iterable[int]) -> set[int]:
        """Return the states in which the machine may be at this moment, whatever it does by itself without time passing."""
        found = set(states)
        pending = list(found)
        while pending:
            for _, after in self._moves.plant(pending.pop()):
                if after != FAILED and after not in found:
                    found.add(after)
                    pending.append(after)
        return found

    def _later(self, states: Iterable[int]) -> set[int]:
        ticked = (self._moves.tick(state) for state in states)
        return self.at_this_moment(after for after in ticked if after not in {FAILED, NOT_YET})

    def met(self, states: Iterable[int]) -> int:
        """Return the bits of the hazards that may be met at this moment."""
        return self._hazards(self.at_this_moment(states))

    def _hazards(self, states: Iterable[int]) -> int:
        met = 0
        for state in states:
            met |= self._moves.hazard(state)
        return met

    def lasting(self, states: States, fits: Callable[[int], bool]) -> Lasting:
        """Tell for how long every state that the machine may be in fits."""
        level = self.at_this_moment(states)
        if not level:
            return Lasting(timing=Timing.LUCK, ticks=None, states=frozenset())
        seen: set[int] = set()
        ticks = 0
        while all(fits(state) for state in level):
            if level <= seen:
                return Lasting(timing=Timing.ANY, ticks=None, states=frozenset(seen), hazards=self._hazards(seen))
            seen |= level
            if ticks == MOST_LEVELS or len(seen) > MOST_STATES:
                break
            ticks += 1
            level = self._later(level)
        if not seen:
            lucky = frozenset(filter(fits, level))
            return Lasting(timing=Timing.LUCK, ticks=None, states=lucky, hazards=self._hazards(level))
        timing = Timing.WITHIN if ticks > 1 else Timing.AT_ONCE
        return Lasting(timing=timing, ticks=max(0, ticks - 1), states=frozenset(seen), hazards=self._hazards(seen))

    def until(self, states: States, end: Expression) -> Waited:
        """Let time pass until a condition is seen."""
        done: set[int] = set()
        seen: set[int] = set()
        fresh = set(states)
        least, most, ticks, stuck = None, 0, 0, False
        while fresh:
            here, left = self._split(fresh, end)
            if here:
                least, most = ticks if least is None else least, ticks
                done |= here
            seen |= left
            if ticks > len(seen) or ticks == MOST_LEVELS or len(seen) > MOST_STATES:
                break
            stuck = stuck or any(self._is_stuck(state) for state in left)
            fresh = {self._moves.tick(state) for state in left} - {FAILED, NOT_YET}
            ticks += 1
        hazards = self._hazards(seen | done)
        if stuck or not done:
            return Waited(timing=Timing.LUCK, least=least or 0, most=None, states=frozenset(done), hazards=hazards)
        if fresh:
            return Waited(timing=Timing.OPEN, least=least or 0, most=None, states=frozenset(done), hazards=hazards)
        return Waited(timing=Timing.ANY, least=least or 0, most=most, states=frozenset(done), hazards=hazards)

    def _split(self, states: set[int], end: Expression) -> tuple[set[int], set[int]]:
        """Return the states at this moment in which a wait ends, and those in which it does not."""
        done: set[int] = set()
        left: set[int] = set()
        pending = list(states)
        while pending:
            state = pending.pop()
            if state in done or state in left:
                continue
            if self._moves.truth(end, state) == 1:
                done.add(state)
                continue
            left.add(state)
            pending += [after for _, after in self._moves.plant(state) if after != FAILED]
        return done, left

    def _is_stuck(self, state: int) -> bool:
        return self._moves.tick(state) in {FAILED, NOT_YET} and not self._moves.plant(state)

    def let(self, states: States, ticks: int) -> Waited:
        """Let so much time pass."""
        level = self.at_this_moment(states)
        seen = set(level)
        for _ in range(ticks):
            level = self._later(level)
            seen |= level
            if not level or len(seen) > MOST_STATES:
                break
        timing = Timing.ANY if level and len(seen) <= MOST_STATES else Timing.UNKNOWN
        return Waited(timing=timing, least=ticks, most=ticks, states=frozenset(level), hazards=self._hazards(seen))

    def after(self, states: Iterable[int], step: int) -> States:
        """Return where a step leads that is possible in all of some states."""
        return frozenset(after for state in states if (after := self._moves.step(step, state)) >= 0)
