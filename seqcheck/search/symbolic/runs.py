"""Rebuilds concrete runs from layers of states: fewest steps, and among those least time."""

from collections.abc import Sequence
from typing import TypeAlias

from msgspec import Struct

from seqcheck.model.model import State
from seqcheck.search.engine import Trace
from seqcheck.search.symbolic.cone import Cones
from seqcheck.search.symbolic.diagrams import Node, Space
from seqcheck.search.symbolic.moves import Move
from seqcheck.search.symbolic.reaching import Reaching
from seqcheck.search.symbolic.timing import Clockwork, Timetable
from seqcheck.search.symbolic.waiting import Waiting

WORTH_NARROWING = 0.8
"""Layers are made anew for a cone that has no more than this part of the steps."""

Cost: TypeAlias = tuple[int, int]
"""A number of steps and one of ticks."""


class Aim(Struct, frozen=True, kw_only=True):
    """States to find a shortest way to; with *attempts* followed by the step *last* (None: a tick).

    *plain*: the states are told by a condition of the file, so that no clock of theirs has an odd bound; *reads* are then the
    variables that it reads.
    """

    states: Node
    attempts: bool = False
    last: int | None = None
    plain: bool = False
    reads: frozenset[int] | None = None

    @property
    def steps(self) -> int:
        """The number of steps after the state."""
        return int(self.attempts and self.last is not None)

    @property
    def ticks(self) -> int:
        """The number of ticks after the state."""
        return int(self.attempts and self.last is None)


class Shown(Struct, frozen=True, kw_only=True):
    """A shortest trace with its cost."""

    cost: Cost
    trace: Trace


class Runs:
    """Finds traces in the layers of one search."""

    def __init__(  # noqa: PLR0913, PLR0917 - what a search is made of
        self,
        space: Space,
        steps: Sequence[Move],
        waiting: Waiting,
        reaching: Reaching,
        start: Move,
        clockwork: Clockwork,
        cones: Cones | None = None,
    ) -> None:
        self._space = space
        self._clockwork = clockwork
        self._steps = steps
        self._waiting = waiting
        self._reaching = reaching
        self._start = start
        self._timed = waiting.tick is not None
        self._cones = cones
        self._narrower: dict[frozenset[int], Runs] = {}

    def shortest(self, aims: Sequence[Aim]) -> Shown | None:
        """Return a cheapest trace to any of some aims; None if no reachable state has one. The layers found stay known."""
        return self._of(aims)._shortest(aims)  # noqa: SLF001 - of the same class

    def _of(self, aims: Sequence[Aim]) -> "Runs":
        """Return who searches with no more steps than can matter to some aims."""
        reads = [aim.reads for aim in aims if aim.reads is not None]
        if self._cones is None or len(reads) < len(aims):
            return self
        kept = self._cones.steps(frozenset[int]().union(*reads))
        if len(kept) > WORTH_NARROWING * len(self._steps):
            return self
        if kept not in self._narrower:
            steps = [move for move in self._steps if move.number in kept]
            self._narrower[kept] = self.among(steps, self._reaching.narrower(steps))
        return self._narrower[kept]

    def among(self, steps: Sequence[Move], reaching: Reaching) -> "Runs":
        """Return who finds runs in which only some steps are taken, in the layers of *reaching*."""
        return Runs(self._space, steps, self._waiting, reaching, self._start, self._clockwork)

    def _shortest(self, aims: Sequence[Aim]) -> Shown | None:
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
        way, ticks = self._timed_way(aims, states, number) if self._timed else (self._untimed_way(states, number), 0)
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
            entering = self._reaching.entering(earlier + 1)
            state = self._space.pick(next(s for move in entering if (s := move.preimage(here) & layer).satisfiable()))
            way.append(state)
        return way[::-1]

    def _timed_way(self, aims: Sequence[Aim], aim: Node, number: int) -> tuple[list[State], int]:
        """Return a way with the least time."""
        layers, onward = self._narrowed(aim, number)
        grain, late = 1, 0
        if all(aim.plain for aim in aims):
            grain, late = self._clockwork.grain, self._clockwork.strict_layers(layers)
        table = Timetable(
            space=self._space, onward=onward, waiting=self._waiting, layers=layers, grain=grain, late=min(late, grain - 1)
        )
        starts = self._reaching.starts
        time = table.fill(starts, aim)
        return table.walked_back(aim, time, starts), time

    def _narrowed(self, aim: Node, number: int) -> tuple[list[Node], list[list[Move]]]:
        """Return the states of each layer that are on a way with the fewest steps to an aim, and the steps on it."""
        layer = self._reaching.layer(number)
        on_way, onward = [self._waiting.before(aim & layer, layer)], list[list[Move]]()
        for earlier in reversed(range(number)):
            layer = self._reaching.layer(earlier)
            leaving = [(move, move.preimage(on_way[-1]) & layer) for move in self._reaching.entering(earlier + 1)]
            leaving = [(move, states) for move, states in leaving if states.satisfiable()]
            onward.append([move for move, _ in leaving])
            on_way.append(self._waiting.before(self._space.any(states for _, states in leaving), layer))
        return on_way[::-1], onward[::-1]
