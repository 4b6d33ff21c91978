"""Finds shortest runs without stored parents: the bucket that a state's parent is in is expanded again until it is met."""

import numpy as np

from seqcheck.model.model import Model, State
from seqcheck.search.engine import Trace
from seqcheck.search.packed.frame import ASKED
from seqcheck.search.packed.layout import Packed
from seqcheck.search.packed.program import Program
from seqcheck.search.packed.reaching import Bucket
from seqcheck.search.packed.searching import OWNER_SHIFT, Search
from seqcheck.search.packed.slowly import Slowly
from seqcheck.search.packed.starting import raw_starts
from seqcheck.search.packed.visitor import Visitor


class Tracer:
    """Goes backwards through what a search has found. *program* only gives out moves."""

    def __init__(self, model: Model, search: Search, program: Program) -> None:
        self._model, self._search = model, search
        self.visitor = Visitor(program, 0, 0)
        successor_bytes = 8 * (program.layout.words + 2) * len(program.kinds)
        self.visitor.most = int(min(self.visitor.most, search.lookout.most_sources(0, successor_bytes, 1)))
        self._slowly = Slowly(model, self.visitor)
        self._parents: dict[int, int] = {}

    def trace(self, position: int, *, attempts: bool = False, last: int | None = None) -> Trace:
        """Return the way to the state at a position, and what is attempted there."""
        way = [position]
        while (parent := self._parent(way[-1])) is not None:
            way.append(parent)
        way.reverse()
        states = tuple(self.state(one) for one in way)
        return Trace(raw_start=self._raw_of(states[0]), states=states, attempts=attempts, last=last)

    def attempt(self, position: int, step: int) -> Trace:
        """Return the way to a state and a step, or a tick, attempted there."""
        return self.trace(position, attempts=True, last=None if step == self.visitor.program.tick else step)

    def state(self, position: int) -> State:
        """Return the state at a position."""
        return self._search.program.layout.unpack([int(word) for word in self._search.words_at(position)])

    def ask_for(self, steps: range | list[int]) -> None:
        """From now on let only some steps be taken."""
        self.visitor.kinds &= 255 - ASKED
        self.visitor.kinds[steps] |= ASKED

    def expand(self, states: Packed) -> None:
        """Find where states lead by the steps asked for."""
        self.visitor.visit(states, 0)
        self._slowly.settle_rest()

    def _parent(self, position: int) -> int | None:
        """Return the position of a state from which a transition leads to that at a position; None for a start."""
        if position not in self._parents:
            found = self._found_parent(position)
            if found is None:
                return None
            self._parents[position] = found
        return self._parents[position]

    def _found_parent(self, position: int) -> int | None:
        number = self._search.bucket_of(position)
        bucket = self._search.buckets[number]
        place = position & ((1 << OWNER_SHIFT) - 1)
        ticked = place < bucket.ticked[position >> OWNER_SHIFT]
        if bucket.layer == 0 and not ticked:
            return None
        tick = self.visitor.program.tick
        self.ask_for([tick] if ticked else range(tick))
        before = (bucket.layer, bucket.moment - 1) if ticked else (bucket.layer - 1, bucket.moment)
        while (self._search.buckets[number].layer, self._search.buckets[number].moment) != before:
            number -= 1
        return self._source_in(self._search.buckets[number], self._search.words_at(position))

    def _source_in(self, bucket: Bucket, target: Packed) -> int:
        """Return the position of the first state of a bucket that leads to a state."""
        for owner, roll in enumerate(self._search.orders):
            for at, states in roll.pieces(bucket.begins[owner], bucket.ends[owner], self.visitor.most):
                self.expand(states)
                for led in (self.visitor.by_step, self.visitor.by_tick):
                    hits = np.flatnonzero((led.states == target).all(axis=1))
                    if len(hits):
                        return (owner << OWNER_SHIFT) + at + int(led.places[hits].min())
        raise AssertionError(target)

    def _raw_of(self, state: State) -> State:
        """Return the first start that settles to a state."""
        layout, target = self._search.program.layout, self._search.program.layout.pack_one(state)
        for raws in raw_starts(self._model, layout, self.visitor.most):
            if not self._search.program.settles:
                hits = np.flatnonzero((raws == target).all(axis=1))
            else:
                self.visitor.visit(raws, 0, are_starts=True)
                self._slowly.settle_rest()
                led = self.visitor.by_step
                hits = led.places[(led.states == target).all(axis=1)]
            if len(hits):
                return layout.unpack([int(word) for word in raws[int(hits.min())]])
        raise AssertionError(state)

    def raw_at(self, number: int) -> State:
        """Return the start with a number, in the order of the definition."""
        layout = self._search.program.layout
        for raws in raw_starts(self._model, layout, self.visitor.most):
            if number < len(raws):
                return layout.unpack([int(word) for word in raws[number]])
            number -= len(raws)
        raise IndexError(number)
