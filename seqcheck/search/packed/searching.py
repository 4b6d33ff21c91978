"""The search: layer by layer of steps, within a layer bucket by bucket of time, for waiting costs nothing.

Each round, every thread expands a piece of the bucket and keeps what is in no table; then every owner puts into its own
table what is its, so that no two threads write to one. Where time passes, a state that a step reaches waits for its bucket
in the next layer, in a table of its own (*seeded*): a tick may still reach it before, at less cost.
"""

import os
from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from seqcheck.model.model import Forbid, Hazard, Model, Observed
from seqcheck.search.engine import Progress, Stop
from seqcheck.search.packed import frame as f
from seqcheck.search.packed.crew import Crew
from seqcheck.search.packed.expanding import entered_sizes
from seqcheck.search.packed.frame import LANES
from seqcheck.search.packed.layout import Packed
from seqcheck.search.packed.lookout import Lookout
from seqcheck.search.packed.program import Program
from seqcheck.search.packed.reaching import Bucket, Reach
from seqcheck.search.packed.rolls import Exhausted, Roll
from seqcheck.search.packed.slowly import Slowly
from seqcheck.search.packed.starting import raw_starts
from seqcheck.search.packed.visited import Visited
from seqcheck.search.packed.visitor import Visitor

OWNER_SHIFT = 44
"""A position is 2^OWNER_SHIFT times the owner, plus the place in its list."""

PLACE = (1 << OWNER_SHIFT) - 1

WORTH_THREADS = 1 << 12
"""States in a bucket that make it worth waking the other threads."""

Span = tuple[int, int]


class Search:
    """One search of one model."""

    def __init__(self, model: Model, program: Program, lookout: Lookout, threads: int) -> None:
        self.model, self.program = model, program
        self.lookout = lookout
        width = program.layout.words
        self.orders = [Roll(width, self.lookout.reserve) for _ in range(threads)]
        self.tables = [Visited(width, self.lookout.reserve) for _ in range(threads)]
        self.seeded = [Visited(width, self.lookout.reserve) for _ in range(threads if program.timed else 0)]
        sizes = entered_sizes(model)
        self.visitors = [Visitor(program, sum(sizes), len(sizes)) for _ in range(threads)]
        for visitor in self.visitors:
            visitor.entered_left[: len(sizes)] = sizes
            visitor.make_sieves(threads)
        self.slowly = [Slowly(model, visitor) for visitor in self.visitors]
        self.buckets: list[Bucket] = []
        self.reach = Reach(begins=(0,) * threads, overtaken=[0] * threads)
        self._crew = Crew(threads - 1) if threads > 1 else None
        self.seeds: dict[int, list[Roll]] = {}
        self.next_seeds: dict[int, list[Roll]] = {}
        self._waiting = 0

    def run(self) -> None:
        """Search all that can be reached, or as far as the limits allow.

        A second Ctrl-C leaves a search torn, as does lack of memory between two buckets.
        """
        reach = self.reach
        try:
            if not reach.started:
                self._starts()
            while reach.stopped is None and (reach.within or self.seeds or self._lengths() != reach.begins):
                self._search_layer()
        except KeyboardInterrupt:
            reach.stopped, reach.torn = Stop.INTERRUPTED, True
        except Exhausted as limit:
            reach.stopped = limit.stop
        finally:
            if self._crew is not None:
                self._crew.end()

    @property
    def transitions(self) -> int:
        """Transitions counted."""
        return int(sum(visitor.frame[f.TRANSITIONS] for visitor in self.visitors))

    @property
    def states(self) -> int:
        """States found; one that waits and was reached more cheaply meanwhile counts once."""
        waiting = [roll for seeds in (self.seeds, self.next_seeds) for rolls in seeds.values() for roll in rolls]
        return sum(roll.length for roll in (*self.orders, *waiting)) - sum(self.reach.overtaken)

    @property
    def nbytes(self) -> int:
        """Bytes that tables and lists take."""
        lists = [*self.orders, *(r for s in (self.seeds, self.next_seeds) for rolls in s.values() for r in rolls)]
        return sum(roll.nbytes for roll in lists) + sum(v.array.nbytes for v in (*self.tables, *self.seeded))

    def look(self) -> Stop | None:
        """Look at the limits."""
        return self.lookout.look(self.progress)

    def progress(self) -> Progress:
        """Return how far the search is."""
        states = self.states
        return Progress(states=states, transitions=self.transitions, layer=self.reach.layer, waiting=self._waiting)

    def _lengths(self) -> tuple[int, ...]:
        return tuple(roll.length for roll in self.orders)

    def _starts(self) -> None:
        """Put the settled starts into the tables."""
        visitor, reach = self.visitors[0], self.reach
        self._point()
        for raws in raw_starts(self.model, self.program.layout, self._most_sources(), reach.raws):
            found = raws
            if self.program.settles:
                visitor.visit(raws, reach.raws, are_starts=True)
                self.slowly[0].settle_rest()
                found = visitor.by_step.states
            self._share(found)
            reach.raws += len(raws)
            reach.stopped = self.look()
            if reach.stopped is not None:
                return
        visitor.frame[f.TRANSITIONS] = 0
        reach.started = True

    def _share(self, states: Packed) -> None:
        """Put states into the tables and lists of their owners."""
        visitor = self.visitors[0]
        self._point()
        visitor.take(states)
        visitor.sift()
        for owner, table in enumerate(self.tables):
            table.insert(visitor.sifted[0][owner], int(visitor.sifted_counts[0, owner]), self.orders[owner])

    def _point(self) -> None:
        for visitor in self.visitors:
            visitor.point_at(self.tables, self.seeded)

    def _search_layer(self) -> None:
        """Expand all states of one number of steps."""
        reach = self.reach
        while reach.within or self._next_bucket():
            bucket = self.buckets[-1]
            self._search_bucket(bucket)
            if reach.stopped is not None:
                return
            reach.within, reach.begins, reach.moment = False, bucket.ends, bucket.moment + 1
        reach.torn = True
        self.seeds = {moment: rolls for moment, rolls in self.next_seeds.items() if any(roll.length for roll in rolls)}
        self.next_seeds = {}
        self._reseed()
        reach.complete_steps = reach.layer
        reach.layer, reach.moment, reach.torn = reach.layer + 1, 0, False
        if self.lookout.to_the_first and self._violates():
            reach.stopped = Stop.FIRST

    def _next_bucket(self) -> bool:
        """Begin with the next bucket of the layer; tell whether there is one."""
        reach, timed = self.reach, self.program.timed
        while self.seeds or (self._lengths() != reach.begins and (timed or reach.moment == 0)):
            if self._lengths() == reach.begins:
                reach.moment = min(self.seeds)
            ticked = self._lengths() if timed and self.buckets else reach.begins
            self._unseed(reach.moment)
            ends = self._lengths()
            bucket = Bucket(layer=reach.layer, moment=reach.moment, begins=reach.begins, ticked=ticked, ends=ends)
            if bucket.count:
                self.buckets.append(bucket)
                reach.within, reach.owner, reach.place = True, 0, bucket.begins[0]
                return True
            reach.moment += 1
        return False

    def _violates(self) -> bool:
        """Tell whether a hazard, a requirement on steps or a built-in check was seen to be violated."""
        slots, properties = self.program.slots, self.model.properties
        asked = [slots.found(n) for n, p in enumerate(properties) if isinstance(p.rule, Hazard | Observed | Forbid)]
        asked += [slots.unjudged(n) for n in range(len(properties))]
        asked += [slots.made(n) + by_tick for n in slots.onlys for by_tick in (0, 1)]
        met = any((visitor.found[asked, 0] >= 0).any() or (visitor.troubles >= 0).any() for visitor in self.visitors)
        return met or any(slowly.troubles for slowly in self.slowly)

    def _reseed(self) -> None:
        """Leave only the states of the next layer in the tables of those that wait."""
        for owner, table in enumerate(self.seeded):
            table.clear()
            for rolls in self.seeds.values():
                for _, states in rolls[owner].pieces(0, rolls[owner].length, rolls[owner].length):
                    table.insert(states, len(states), Roll(self.program.layout.words, self.lookout.reserve))

    def _unseed(self, moment: int) -> None:
        """Put the states that wait for a bucket into the tables; those that a tick has reached meanwhile are there already."""
        self.reach.torn = True
        for owner, roll in enumerate(self.seeds.pop(moment, [])):
            before = self.orders[owner].length
            for _, states in roll.pieces(0, roll.length, roll.length):
                self.tables[owner].insert(states, len(states), self.orders[owner])
            self.reach.overtaken[owner] -= roll.length - (self.orders[owner].length - before)
        self.reach.torn = False

    def _search_bucket(self, bucket: Bucket) -> None:
        """Expand the states of a bucket that are left, some from each thread at a time."""
        reach = self.reach
        self._waiting = sum(bucket.ends[reach.owner :]) - sum(bucket.begins[reach.owner + 1 :]) - reach.place
        while parts := list(islice(self._pieces(bucket), len(self.visitors))):
            self._search_parts(parts, bucket.moment)
            position, states = parts[-1]
            reach.owner, reach.place = position >> OWNER_SHIFT, (position & PLACE) + len(states)
            self._waiting -= sum(len(states) for _, states in parts)
            reach.stopped = self.look()
            if reach.stopped is not None:
                return
            self.lookout.keep(self)

    def _pieces(self, bucket: Bucket) -> Iterator[tuple[int, Packed]]:
        """Yield positions and states of what is left of a bucket, small pieces where a limit is near."""
        reach, most = self.reach, self._even(self._most_sources())
        for owner in range(reach.owner, len(self.orders)):
            first = reach.place if owner == reach.owner else bucket.begins[owner]
            for place, states in self.orders[owner].pieces(first, bucket.ends[owner], most):
                yield (owner << OWNER_SHIFT) + place, states

    def _even(self, most: int) -> int:
        """Return how many states make a piece, so that all threads have something to do: whole blocks, *most* at most."""
        blocks = -(-self._waiting // (len(self.visitors) * LANES))
        return min(most, blocks * LANES)

    def _most_sources(self) -> int:
        """Return how many states each thread may expand at a time."""
        successors = len(self.program.kinds) * len(self.visitors)
        most = self.lookout.most_sources(self.states, 8 * self.program.layout.words * successors, successors)
        return int(min(most, self.visitors[0].most))

    def _search_parts(self, parts: Sequence[tuple[int, Packed]], moment: int) -> None:
        """Expand one piece in each thread, then put what is new into the tables.

        If memory or time runs out, it is as if nothing had been expanded: what is in a table is not put into it twice.
        """
        counted = [int(visitor.frame[f.TRANSITIONS]) for visitor in self.visitors]
        into = self.orders
        try:
            self._point()
            many = sum(len(states) for _, states in parts)
            self._each(lambda number: self._expand(number, *parts[number]), len(parts), many)
            if self.program.timed:
                into = self.next_seeds.setdefault(moment, [])
                into += [Roll(self.program.layout.words, self.lookout.reserve) for _ in range(len(self.tables) - len(into))]
            many = sum(int(visitor.sifted_counts.sum()) for visitor in self.visitors[: len(parts)])
            self._each(lambda owner: self._insert(owner, len(parts), into[owner]), len(self.tables), many)
        except Exhausted:
            for visitor, transitions in zip(self.visitors, counted, strict=True):
                visitor.frame[f.TRANSITIONS] = transitions
            raise
        for visitor, (position, states) in zip(self.visitors, parts, strict=False):
            self._remark(visitor.marks[: len(states)], position)

    def _each(self, work: Callable[[int], None], many: int, size: int) -> None:
        """Do work for the numbers 0 to *many* - 1, in threads if it is much. All have ended when this returns or raises."""
        if self._crew is not None and many > 1 and size >= WORTH_THREADS:
            self._crew.each(work, many)
            return
        for number in range(many):
            work(number)

    def _expand(self, number: int, position: int, states: Packed) -> None:
        visitor = self.visitors[number]
        visitor.visit(states, position, sifting=True)
        self.slowly[number].settle_rest()
        visitor.sift()

    def _insert(self, owner: int, parts: int, into: Roll) -> None:
        by_step = self.seeded if self.program.timed else self.tables
        for visitor in self.visitors[:parts]:
            by_step[owner].insert(visitor.sifted[0][owner], int(visitor.sifted_counts[0, owner]), into)
            if self.program.timed:
                self._insert_later(owner, visitor)

    def _insert_later(self, owner: int, visitor: Visitor) -> None:
        """Put what ticks lead to into the tables, and count what waits of it."""
        order = self.orders[owner]
        before = order.length
        try:
            self.tables[owner].insert(visitor.sifted[1][owner], int(visitor.sifted_counts[1, owner]), order)
        finally:
            for _, states in order.pieces(before, order.length, order.length):
                self.reach.overtaken[owner] += self.seeded[owner].count(states)

    def _remark(self, marks: NDArray[np.uint8], position: int) -> None:
        """Count the states without a way on, and those where time waits in vain for the plant."""
        self.reach.dead.note(marks & (f.MOVED | f.FAILED) == 0, position)
        if self.program.timed:
            in_vain = f.JAMMED | f.PLANT_MOVED | f.BLOCKED
            self.reach.jammed.note(marks & in_vain == f.JAMMED | f.BLOCKED, position)

    def sample(self, most: int = 1 << 12) -> Packed:
        """Return some of the states found, spread evenly."""
        roll = self.orders[0]
        everything = np.concatenate([states for _, states in roll.pieces(0, roll.length, roll.length)])
        return everything[:: max(1, len(everything) // most)]

    def cost_of(self, position: int) -> Span:
        """Return the steps and ticks of the state at a position."""
        bucket = self.buckets[self.bucket_of(position)]
        return bucket.layer, bucket.moment

    def bucket_of(self, position: int) -> int:
        """Return the number of the bucket that a position is in."""
        owner, place = position >> OWNER_SHIFT, position & PLACE
        return bisect_right(self.buckets, place, key=lambda bucket: bucket.begins[owner]) - 1

    def words_at(self, position: int) -> Packed:
        """Return the words of the state at a position."""
        return self.orders[position >> OWNER_SHIFT][position & PLACE]


def cores() -> int:
    """Return how many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
