"""Finds all reachable states, and the layers of those that need so and so many steps, until told to stop."""

import time
from collections.abc import Callable, Iterable, Sequence
from typing import TypeAlias

from msgspec import Struct, field

from seqcheck.search.engine import Stop
from seqcheck.search.symbolic.diagrams import Node, Space
from seqcheck.search.symbolic.moves import Move
from seqcheck.search.symbolic.waiting import Waiting

LAYERS_FIRST_NODES = 400_000
"""A machine with timers or clocks is searched in layers first: if that comes to the end within so many nodes of diagrams, which
small machines do, runs are found in these layers too. Nodes, of which some two million are made in a second, and no seconds:
whatever else the computer does, the same search goes the same way."""

COVERS_AFTER_S = 0.5
COVERING = 0.25
GROWTH = 3.0
"""A search that takes longer than so many seconds spends this part of its time on layers; a layer is expected to take so many
times as long as the one before."""

Check: TypeAlias = Callable[["Reached"], None]
"""Looks at the limits and reports progress; raises `Halt` to end a search."""


class Halt(Exception):  # noqa: N818 - it is no error
    """A limit is reached: *why*."""

    def __init__(self, why: Stop) -> None:
        super().__init__(why)
        self.why = why


class Reached(Struct):
    """How far a search has come: the states reached so far and the layers that are complete."""

    states: Node
    layers: list[Node] = field(default_factory=list)
    complete: bool = False


class Reaching:
    """Searches one model. *moves* are all its steps, in file order; ticks are in *waiting*.

    *groups*: the places of the moves that concern several machines, then those of each machine by itself. *apart*: some bits
    never change, and tell machines apart that are searched together; with timers, steps are then taken from new states only.
    """

    def __init__(  # noqa: PLR0913 - what a search is made of
        self,
        space: Space,
        moves: Sequence[Move],
        waiting: Waiting,
        starts: Node,
        check: Check,
        groups: Sequence[Sequence[int]] | None = None,
        *,
        apart: bool = False,
    ) -> None:
        self._space = space
        self._moves = moves
        self._waiting = waiting
        self._check = check
        self.starts = starts
        self.reached = Reached(states=starts)
        self._groups = [range(len(moves))] if groups is None else groups
        self._apart = apart and waiting.tick is not None
        self._taken_from: list[Node | None] = [None] * len(moves)
        self._seen = space.false
        self._entering: dict[int, Sequence[Move]] = {}
        self._began = time.monotonic()
        self._layers_s = 0.0
        self._last_layer_s = 0.0

    @property
    def covered(self) -> Node:
        """All states of the layers that are complete."""
        return self._seen

    def narrower(self, moves: Sequence[Move]) -> "Reaching":
        """Return a search of the same machine in which only some steps are taken."""
        return self.from_(self.starts, moves)

    def from_(self, starts: Node, moves: Sequence[Move], *, apart: bool = False) -> "Reaching":
        """Return a search of the same machine from other states, in which only some steps are taken."""
        place_of = {move.number: place for place, move in enumerate(moves)}
        numbers = [[self._moves[place].number for place in group] for group in self._groups]
        groups = [[place_of[number] for number in group if number in place_of] for group in numbers]
        return Reaching(self._space, moves, self._waiting, starts, lambda _: self._check(self.reached), groups, apart=apart)

    def give_up_all_but_layers(self) -> None:
        """Let go of all that is not needed to tell what the layers hold, there being no room for more."""
        self.reached.states = self._seen
        self._taken_from = [None] * len(self._moves)
        self._space.collect()

    def go_on_from(self, states: Node, layers: list[Node]) -> None:
        """Begin with what an earlier search has come to."""
        self.reached.states, self.reached.layers = states, layers
        self._seen = self._space.any(layers)

    def all(self) -> Node:
        """Return all reachable states, taking steps in no particular order."""
        reached = self.reached
        if self._waiting.tick is not None and not self._apart:
            self._extend_quickly()
        if reached.complete:
            return reached.states
        if not self._waiting.far:
            return self._all_by_ticks()
        reached.states = self._waiting.after(reached.states)
        while True:
            before = reached.states
            while self._stepped():
                pass
            reached.states = self._waiting.after(reached.states, before)
            if reached.states == before:
                reached.complete = True
                return before

    def _extend_quickly(self) -> None:
        """Make layer after layer as long as that is likely to take little time.

        Until they come to the end they are left out of what is reached, which is to stay simple for steps in any order.
        """
        reached, begun, last = self.reached, self._space.node_count, 0
        while not reached.complete and self._space.node_count - begun + GROWTH * last < LAYERS_FIRST_NODES:
            before = self._space.node_count
            self._extend(merged=False)
            last = self._space.node_count - before
            if not reached.layers[-1].satisfiable():
                reached.states, reached.complete = self._seen, True
            self._check(Reached(states=self._seen, layers=reached.layers))

    def _all_by_ticks(self) -> Node:
        """Return all reachable states, a tick at a time after all that steps alone lead to.

        Machines that have little to do with one another stay apart in the sets on the way, which keeps these small.
        """
        reached, tick = self.reached, self._waiting.tick
        while True:
            before = reached.states
            while self._stepped():
                pass
            if tick is not None:
                reached.states |= tick.image(reached.states)
            if reached.states == before:
                reached.complete = True
                return before

    def _stepped(self) -> bool:
        """Take the steps of one machine after the other, each as long as they lead to anything; tell whether any did.

        Without ticks, what concerns several machines is what lets their time pass: it then comes last, and once.
        """
        begun = self.reached.states
        shared, *own = self._groups
        for numbers in own if self._waiting.tick is None else self._groups:
            before = None
            while before is None or self.reached.states != before:
                before = self.reached.states
                for number in numbers:
                    self._take(number)
        for number in shared if self._waiting.tick is None else ():
            self._take(number)
        return self.reached.states != begun

    def _take(self, number: int) -> None:
        """Take a step from all states, or only from those that are new since it was last taken."""
        reached, before = self.reached, self._taken_from[number]
        if before != reached.states:
            self._taken_from[number] = reached.states
            new = reached.states & ~before if self._apart and before is not None else reached.states
            reached.states |= self._moves[number].image(new)
            self._check(reached)
            self._cover()

    def layer(self, number: int) -> Node:
        """Return the states that need so many steps at least; none beyond the last layer."""
        while len(self.reached.layers) <= number:
            self._extend()
        return self.reached.layers[number]

    def entering(self, number: int) -> Sequence[Move]:
        """Return the steps that may lead into a layer from the one before, in file order.

        On machines with timers or clocks, whose runs take many looks at each, those that do; else, and where that is not known
        any more, all.
        """
        return self._entering.get(number, self._moves)

    def _extend(self, *, merged: bool = True) -> None:
        """Make another layer. Not *merged* into what is reached it leaves those sets as simple as they are."""
        reached, began = self.reached, time.monotonic()
        if not reached.layers:
            new = self._waiting.after(self.starts)
        else:
            images = list(self._images(self._seen))
            entered = self._space.any(images) & ~self._seen
            new = self._waiting.after(entered) & ~self._seen
            if self._waiting.tick is not None:
                entering = zip(self._moves, images, strict=True)
                self._entering[len(reached.layers)] = [move for move, image in entering if (image & entered).satisfiable()]
        self._seen |= new
        reached.layers.append(new)
        if merged and not reached.complete:
            reached.states |= new
            reached.complete = not new.satisfiable()
        self._last_layer_s = time.monotonic() - began
        self._layers_s += self._last_layer_s
        self._check(reached)

    def _cover(self) -> None:
        """Complete another layer if a long search has spent little on them so far."""
        spent = time.monotonic() - self._began
        if spent > COVERS_AFTER_S and self._layers_s + GROWTH * self._last_layer_s < COVERING * spent:
            self._extend(merged=False)

    def _images(self, states: Node) -> Iterable[Node]:
        for move in self._moves:
            yield move.image(states)
            self._check(self.reached)

    def leading(self, goal: Node, states: Node, moves: Iterable[Move], met: Sequence[Node] = ()) -> Node:
        """Return the part of *states* from which the moves, or waiting, lead to a goal without leaving it.

        All *states* lead in this way to each of the sets *met*: where all of such a set leads to the goal, so do all states.
        """
        moves = tuple(moves)
        found, waited = goal & states, self._space.false
        left = states & ~found
        while left.satisfiable():
            found, left = self._stepping_into(found, left, moves)
            if any(not (left & one).satisfiable() for one in met):
                return states
            found |= self._waiting.before(found & ~waited, left)
            if found == waited:
                break
            waited = found
            left &= ~found
        return found

    def _stepping_into(self, found: Node, left: Node, moves: Sequence[Move]) -> tuple[Node, Node]:
        """Add to a set all of what is *left* from which moves alone lead into it; return it, and what is left then.

        The last moves come first: files tell what happens in the order in which it does.
        """
        led_into: list[Node | None] = [None] * len(moves)
        while True:
            before = found
            for place in reversed(range(len(moves))):
                if led_into[place] != found:
                    led_into[place] = found
                    more = moves[place].preimage(found) & left
                    if more.satisfiable():
                        found |= more
                        left &= ~more
                    self._check(self.reached)
            if found == before:
                return found, left

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
