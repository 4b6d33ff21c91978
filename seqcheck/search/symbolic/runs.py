"""Rebuilds concrete runs from layers of states: fewest steps, and among those least time."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

from seqcheck.model.model import State
from seqcheck.search.engine import Trace
from seqcheck.search.symbolic.diagrams import Node, Space
from seqcheck.search.symbolic.moves import Move, Moves
from seqcheck.search.symbolic.reaching import Reaching
from seqcheck.search.symbolic.waiting import Waiting, added

Cost: TypeAlias = tuple[int, int]
"""A number of steps and one of ticks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """States to find a shortest way to; with *attempts* followed by the step *last* (None: a tick)."""

    states: Node
    attempts: bool = False
    last: int | None = None

    @property
    def steps(self) -> int:
        """The number of steps after the state."""
        return int(self.attempts and self.last is not None)

    @property
    def ticks(self) -> int:
        """The number of ticks after the state."""
        return int(self.attempts and self.last is None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A shortest trace with its cost."""

    cost: Cost
    trace: Trace


class Runs:
    """Finds traces in the layers of one search."""

    def __init__(  # noqa: PLR0913, PLR0917 - what a search is made of
        self, space: Space, moves: Moves, steps: Sequence[Move], waiting: Waiting, reaching: Reaching, start: Move
    ) -> None:
        self._space = space
        self._moves = moves
        self._steps = steps
        self._waiting = waiting
        self._reaching = reaching
        self._start = start
        self._timed = waiting.tick is not None
        self._digits = min(len(waiting.strides) + 2, len(space.elapsed))
        self._strides: dict[int, list[Move]] = {}

    def shortest(self, aims: Sequence[Aim]) -> Shown | None:
        """Return a cheapest trace to any of some aims; None if no reachable state has one. The layers found stay known."""
        wanted = [aim for aim in aims if aim.states.satisfiable()]
        number = 0
        while wanted:
            layer = self._reaching.layer(number)
            if not layer.satisfiable():
                return None
            near = [aim for aim in wanted if (aim.states & layer).satisfiable()]
            if near:
                return self._best(wanted, number + min(aim.steps for aim in near))
            number += 1
        return None

    def _best(self, wanted: Sequence[Aim], fewest: int) -> Shown:
        """Return the cheapest way to aims that take so many steps; those that cost the same after the state are one."""
        alike: dict[Cost, list[Aim]] = {}
        for aim in wanted:
            alike.setdefault((aim.steps, aim.ticks), []).append(aim)
        ways: list[Shown] = []
        for (steps, _), aims in alike.items():
            number = fewest - steps
            if number >= 0 and any((aim.states & self._reaching.layer(number)).satisfiable() for aim in aims):
                ways.append(self._way(aims, number))
        return min(ways, key=lambda way: way.cost)

    def _way(self, aims: Sequence[Aim], number: int) -> Shown:
        states = self._space.any(aim.states for aim in aims)
        way, ticks = self._timed_way(states, number) if self._timed else (self._untimed_way(states, number), 0)
        last = self._space.point(way[-1])
        aim = next(aim for aim in aims if (aim.states & last).satisfiable())
        raw = self._space.pick(self._start.preimage(self._space.point(way[0])))
        trace = Trace(raw_start=raw, states=tuple(way), attempts=aim.attempts, last=aim.last)
        return Shown(cost=(number + aim.steps, ticks + aim.ticks), trace=trace)

    def _untimed_way(self, aim: Node, number: int) -> list[State]:
        state = self._space.pick(aim & self._reaching.layer(number))
        way = [state]
        for earlier in reversed(range(number)):
            here, layer = self._space.point(state), self._reaching.layer(earlier)
            state = self._space.pick(next(s for move in self._steps if (s := move.preimage(here) & layer).satisfiable()))
            way.append(state)
        return way[::-1]

    def _timed_way(self, aim: Node, number: int) -> tuple[list[State], int]:
        """Return a way with the least time, counted in as few bits as that takes: waiting may go round in circles."""
        on_way = self._narrowed(aim, number)
        digits = self._digits
        while True:
            stretches = self._stretches(on_way, digits)
            ends = stretches[-1] & aim
            if ends.satisfiable():
                break
            digits = min(2 * digits, len(self._space.elapsed))
        least, ends = self._least(ends)
        return self._walked_back(stretches, self._space.pick(ends), least), least

    def _narrowed(self, aim: Node, number: int) -> list[Node]:
        """Return the states of each layer that are on a way with the fewest steps to an aim."""
        layer = self._reaching.layer(number)
        on_way = [self._waiting.before(aim & layer, layer)]
        for earlier in reversed(range(number)):
            layer = self._reaching.layer(earlier)
            entering = self._space.any(move.preimage(on_way[-1]) for move in self._steps) & layer
            on_way.append(self._waiting.before(entering, layer))
        return on_way[::-1]

    def _stretches(self, on_way: Sequence[Node], digits: int) -> list[Node]:
        """Return the states on the way with the time elapsed: for each layer all that can be met so late."""
        none_elapsed = self._space.all(~self._space.literal(bit) for bit in self._space.elapsed)
        entered = self._reaching.starts & none_elapsed & on_way[0]
        stretches = []
        for place, within in enumerate(on_way):
            stretches.append(self._waited(entered, within, digits))
            if place + 1 < len(on_way):
                entered = self._space.any(move.image(stretches[-1]) for move in self._steps) & on_way[place + 1]
        return stretches

    def _timed_strides(self, digits: int) -> list[Move]:
        """Return the tick and its strides as moves that count the time elapsed, up to some digits; the tick comes first."""
        if digits not in self._strides and self._waiting.tick is not None:
            moves = [(1, self._waiting.tick), *((1 << n, stride) for n, stride in enumerate(self._waiting.strides))]
            self._strides[digits] = [self._timed_move(ticks, move, digits) for ticks, move in moves]
        return self._strides[digits]

    def _timed_move(self, ticks: int, move: Move, digits: int) -> Move:
        bits = self._space.elapsed[:digits]
        later = list(added(self._space, bits, ticks))
        full = self._space.all(self._space.literal(bit) for bit, _ in later)
        return self._moves.assembled(None, move.changing & ~full, [*move.becoming, *later])

    def _waited(self, entered: Node, within: Node, digits: int) -> Node:
        tick, *strides = self._timed_strides(digits)
        found = new = entered
        while new.satisfiable():
            for stride in strides:
                new |= stride.image(new) & within
            found |= new
            new = tick.image(new) & within & ~found
            found |= new
        return found

    def _least(self, states: Node) -> tuple[int, Node]:
        """Return the least time elapsed in a set, and those that have it."""
        least = 0
        for place in reversed(range(len(self._space.elapsed))):
            early = states & ~self._space.literal(self._space.elapsed[place])
            if early.satisfiable():
                states = early
            else:
                least |= 1 << place
        return least, states

    def _at(self, elapsed: int) -> Node:
        literals = [self._space.literal(bit) for bit in self._space.elapsed]
        return self._space.all(one if elapsed >> place & 1 else ~one for place, one in enumerate(literals))

    def _walked_back(self, stretches: Sequence[Node], state: State, elapsed: int) -> list[State]:
        way, number = [state], len(stretches) - 1
        while True:
            here = self._space.point(state)
            moment = stretches[number] & self._at(elapsed)
            if number == 0 and elapsed == 0 and (self._reaching.starts & here).satisfiable():
                return way[::-1]
            earlier = self._ticked_from(stretches[number], here, elapsed)
            if earlier is not None:
                before, ticks = earlier
                way += between(before, state, ticks)
                elapsed -= ticks
                state = before
            else:
                number -= 1
                moment = stretches[number] & self._at(elapsed)
                state = self._space.pick(next(s for m in self._steps if (s := m.preimage(here) & moment).satisfiable()))
            way.append(state)

    def _ticked_from(self, stretch: Node, here: Node, elapsed: int) -> tuple[State, int] | None:
        """Return a state of the same layer from which time alone leads here, and how many ticks; the longest stride if any."""
        strides = [(1 << n, move) for n, move in enumerate(self._waiting.strides)]
        moves = [*reversed(strides), *([(1, self._waiting.tick)] if self._waiting.tick is not None else [])]
        for ticks, move in moves:
            if ticks <= elapsed:
                before = move.preimage(here) & stretch & self._at(elapsed - ticks)
                if before.satisfiable():
                    return self._space.pick(before), ticks
        return None


def between(before: State, after: State, ticks: int) -> list[State]:
    """Return the states passed in a stride, latest first: what runs advances by one a tick until it has come to its end."""
    return [
        tuple(min(one + passed, other) if one < other else other for one, other in zip(before, after, strict=True))
        for passed in reversed(range(1, ticks))
    ]
