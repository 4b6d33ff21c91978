"""Tells from which states the machine can be brought, by any steps, to a state that is wanted, and by which fewest steps.

The machine is searched forwards from the states asked about, step by step (waiting is free), until each has a shortest way,
or nothing new is left. Faults do not occur. Looking back from the wanted states then gives the ways: one with fewer steps than
were searched is a shortest one, since all states on any shorter one were searched too.
"""

from collections.abc import Callable, Collection

from msgspec import Struct, field

from seqcheck.analyse.procedures.moving import Moves

GROWTH = 8
"""A look back takes its time; so the next one comes when so many times as many states are reached."""

LOOKS_EVERY = 512
TICK = -1


class Asked(Struct, kw_only=True):
    """States from which ways are asked; *wanted* picks the wanted ones of some states.

    *onward* gives the next move of a way and the state after it. *steps* maps the states that have a way to how many it takes.
    """

    states: Collection[int]
    wanted: Callable[[Collection[int]], Collection[int]]
    steps: dict[int, int] = field(default_factory=dict)
    onward: dict[int, tuple[int, int]] = field(default_factory=dict)

    def way(self, state: int) -> list[int]:
        """Return the moves of a shortest way."""
        moves = []
        while state in self.onward:
            move, state = self.onward[state]
            moves.append(move)
        return moves


class WaysOut:
    """One search for several questions. *may_go_on* is asked with the number of states reached."""

    def __init__(self, moves: Moves, asked: Collection[Asked], may_go_on: Callable[[int], bool]) -> None:
        self._moves = moves
        self._asked = asked
        self._may_go_on = may_go_on
        self._steps_before: dict[int, list[tuple[int, int]]] = {}
        self._ticks_before: dict[int, list[int]] = {}
        self._reached = {state for one in asked for state in one.states}
        self._layer = list(self._reached)
        self.stopped = False

    @property
    def reached(self) -> int:
        """How many states were reached."""
        return len(self._reached)

    def search(self) -> None:
        """Answer all that is asked. Where a limit stopped it, a state without a way is undecided."""
        depth, look = 0, len(self._reached)
        while True:
            look *= GROWTH
            while len(self._reached) < look and self._layer and not self.stopped:
                self._deepen()
                depth += 1
            for one in self._asked:
                self._look_back(one)
            over = not self._layer or self.stopped
            if over or all(one.steps.get(state, depth) < depth for one in self._asked for state in one.states):
                return

    def _deepen(self) -> None:
        """Search one step further."""
        if not self._may_go_on(len(self._reached)):
            self.stopped = True
            return
        fresh: list[int] = []
        reached, layer, moves = self._reached, self._layer, self._moves
        for count, state in enumerate(layer):
            if count % LOOKS_EVERY == LOOKS_EVERY - 1 and not self._may_go_on(len(reached)):
                self.stopped = True
                return
            later = moves.tick(state)
            if later >= 0 and later != state:
                self._ticks_before.setdefault(later, []).append(state)
                if later not in reached:
                    reached.add(later)
                    layer.append(later)
            for move, after in moves.everything(state):
                self._steps_before.setdefault(after, []).append((move, state))
                if after not in reached:
                    reached.add(after)
                    fresh.append(after)
        self._layer = fresh

    def _look_back(self, one: Asked) -> None:
        """Find the ways of one question among the states reached."""
        nearest = list(one.wanted(self._reached))
        steps, onward = dict.fromkeys(nearest, 0), dict[int, tuple[int, int]]()
        left = {state for state in one.states if state not in steps}
        so_many = 0
        while nearest and left:
            for state in nearest:
                for before in self._ticks_before.get(state, ()):
                    if before not in steps:
                        steps[before] = so_many
                        onward[before] = (TICK, state)
                        nearest.append(before)
            left.difference_update(nearest)
            so_many += 1
            further: list[int] = []
            for state in nearest:
                for move, before in self._steps_before.get(state, ()):
                    if before not in steps:
                        steps[before] = so_many
                        onward[before] = (move, state)
                        further.append(before)
            nearest = further
            left.difference_update(nearest)
        one.steps, one.onward = steps, onward
