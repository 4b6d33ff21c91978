"""Finds all reachable states, and the layers of those that need so and so many steps, until told to stop."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

from seqcheck.search.symbolic.diagrams import Node, Space
from seqcheck.search.symbolic.moves import Move
from seqcheck.search.symbolic.waiting import Waiting

Check: TypeAlias = Callable[["Reached"], None]
"""Looks at the limits and reports progress; raises `Halt` to end a search."""


class Halt(Exception):  # noqa: N818 - it is no error
    """A limit is reached."""


@dataclass(slots=True)
class Reached:
    """How far a search has come: the states reached so far and the layers that are complete."""

    states: Node
    layers: list[Node] = field(default_factory=list)
    complete: bool = False


class Reaching:
    """Searches one model. *moves* are all its steps, in file order; ticks are in *waiting*."""

    def __init__(self, space: Space, moves: Sequence[Move], waiting: Waiting, starts: Node, check: Check) -> None:
        self._space = space
        self._moves = moves
        self._waiting = waiting
        self._check = check
        self.starts = starts
        self.reached = Reached(states=starts)

    def all(self) -> Node:
        """Return all reachable states, taking steps in no particular order."""
        reached = self.reached
        order = sorted(self._moves, key=lambda move: -self._space.top(move.touched))
        reached.states = self._waiting.after(reached.states)
        while True:
            before = reached.states
            for move in order:
                reached.states |= move.image(reached.states)
                self._check(reached)
            reached.states = self._waiting.after(reached.states, before)
            if reached.states == before:
                reached.complete = True
                return before

    def layer(self, number: int) -> Node:
        """Return the states that need so many steps at least; none beyond the last layer."""
        while len(self.reached.layers) <= number:
            self._extend()
        return self.reached.layers[number]

    def _extend(self) -> None:
        layers = self.reached.layers
        if not layers:
            new = self._waiting.after(self.starts)
            self._seen = new
        else:
            following = self._space.any(self._images(layers[-1]))
            new = self._waiting.after(following & ~self._seen) & ~self._seen
            self._seen |= new
        layers.append(new)
        if not self.reached.complete:
            self.reached.states = self._seen
            self.reached.complete = not new.satisfiable()
        self._check(self.reached)

    def _images(self, states: Node) -> Iterable[Node]:
        for move in self._moves:
            yield move.image(states)
            self._check(self.reached)

    def leading(self, goal: Node, states: Node, moves: Iterable[Move]) -> Node:
        """Return the part of *states* from which the moves, or waiting, lead to a goal without leaving it."""
        moves = tuple(moves)
        found = self._waiting.before(goal & states, states)
        while True:
            before = found
            for move in moves:
                found |= move.preimage(found) & states
                self._check(self.reached)
            found = self._waiting.before(found, states, before)
            if found == before:
                return found

    def ranked(self, goal: Node, states: Node, moves: Iterable[Move]) -> list[Node]:
        """Return disjoint sets: the goal, then those that one more move, or any waiting, leads into an earlier one."""
        moves = tuple(moves)
        ranks = [goal & states]
        found = ranks[0]
        while True:
            new = self._space.any(move.preimage(found) for move in moves) & states & ~found
            if self._waiting.tick is not None:
                new |= self._waiting.tick.preimage(found) & states & ~found
            if not new.satisfiable():
                return ranks
            ranks.append(new)
            found |= new
            self._check(self.reached)
