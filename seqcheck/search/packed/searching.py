"""The search: layer by layer of steps, within a layer bucket by bucket of time, for waiting costs nothing.

Each round, every thread expands a piece of the bucket and keeps what is in no table; then every owner puts into its own
table what is its, so that no two threads write to one. Where time passes, a state that a step reaches waits for its bucket
in the next layer, in a table of its own (*seeded*): a tick may still reach it before, at less cost.
"""

import os
from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from seqcheck.model.model import Model
from seqcheck.search.engine import Progress, Stop
from seqcheck.search.packed import frame as f
from seqcheck.search.packed.expanding import entered_sizes
from seqcheck.search.packed.layout import Packed
from seqcheck.search.packed.lookout import Lookout
from seqcheck.search.packed.program import Program
from seqcheck.search.packed.rolls import OutOfMemory, Roll
from seqcheck.search.packed.slowly import Slowly
from seqcheck.search.packed.starting import raw_starts
from seqcheck.search.packed.visited import Visited
from seqcheck.search.packed.visitor import Visitor

OWNER_SHIFT = 44
"""A position is 2^OWNER_SHIFT times the owner, plus the place in its list."""

WORTH_THREADS = 1 << 12
"""States in a bucket that make it worth waking the other threads."""

Span = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bucket:
    """States of one cost: for each owner where they begin and end in its list. The first ones, up to *ticked*, were
    reached by a tick, the others by a step; in layer 0 they are starts.
    """

    layer: int
    moment: int
    begins: tuple[int, ...]
    ticked: tuple[int, ...]
    ends: tuple[int, ...]

    @property
    def count(self) -> int:
        """How many states there are."""
        return sum(self.ends) - sum(self.begins)


@dataclass(slots=True)
class Remark:
    """How many states of a remarkable sort there are, and the position of a first one."""

    count: int = 0
    first: int = -1


@dataclass(slots=True)
class Reach:
    """How far a search has come."""

    layer: int = 0
    complete_steps: int = -1
    stopped: Stop | None = None
    dead: Remark = field(default_factory=Remark)
    jammed: Remark = field(default_factory=Remark)


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
        self.reach = Reach()
        self._pool = ThreadPoolExecutor(threads - 1) if threads > 1 else None
        self._seeds: dict[int, list[Roll]] = {}
        self._next_seeds: dict[int, list[Roll]] = {}
        self._waiting = self._raws = 0
        self._ends = (0,) * threads
        self._overtaken = [0] * threads

    def run(self) -> None:
        """Search all that can be reached, or as far as the limits allow."""
        try:
            self._starts()
            while (self._seeds or self._lengths() != self._ends) and self.reach.stopped is None:
                self._search_layer()
        except KeyboardInterrupt:
            self.reach.stopped = Stop.INTERRUPTED
        except OutOfMemory:
            self.reach.stopped = Stop.MEMORY
        finally:
            if self._pool is not None:
                self._pool.shutdown()

    @property
    def transitions(self) -> int:
        """Transitions counted."""
        return int(sum(visitor.frame[f.TRANSITIONS] for visitor in self.visitors))

    @property
    def states(self) -> int:
        """States found; one that waits and was reached more cheaply meanwhile counts once."""
        waiting = [roll for seeds in (self._seeds, self._next_seeds) for rolls in seeds.values() for roll in rolls]
        return sum(roll.length for roll in (*self.orders, *waiting)) - sum(self._overtaken)

    @property
    def nbytes(self) -> int:
        """Bytes that tables and lists take."""
        lists = [*self.orders, *(r for s in (self._seeds, self._next_seeds) for rolls in s.values() for r in rolls)]
        return sum(roll.nbytes for roll in lists) + sum(v.array.nbytes for v in (*self.tables, *self.seeded))

    def look(self) -> Stop | None:
        """Look at the limits."""
        return self.lookout.look(self._progress)

    def _progress(self) -> Progress:
        states = self.states
        return Progress(states=states, transitions=self.transitions, layer=self.reach.layer, waiting=self._waiting)

    def _lengths(self) -> tuple[int, ...]:
        return tuple(roll.length for roll in self.orders)

    def _starts(self) -> None:
        """Put the settled starts into the tables."""
        visitor = self.visitors[0]
        self._point()
        for raws in raw_starts(self.model, self.program.layout, self._most_sources()):
            found = raws
            if self.program.settles:
                visitor.visit(raws, self._raws, are_starts=True)
                self.slowly[0].settle_rest()
                found = visitor.by_step.states
            self._raws += len(raws)
            self._share(found)
            self.reach.stopped = self.look()
            if self.reach.stopped is not None:
                return
        visitor.frame[f.TRANSITIONS] = 0

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
        begins, moment = self._ends, 0
        while self._lengths() != begins or self._seeds:
            if self._lengths() == begins:
                moment = min(self._seeds)
            ticked = begins if not self.buckets or not self.program.timed else self._lengths()
            self._unseed(moment)
            bucket = Bucket(layer=self.reach.layer, moment=moment, begins=begins, ticked=ticked, ends=self._lengths())
            if bucket.count:
                self.buckets.append(bucket)
                self._search_bucket(bucket)
                if self.reach.stopped is not None:
                    return
            begins, moment = bucket.ends, moment + 1
            if not self.program.timed:
                break
        self._ends = begins
        self._seeds = {moment: rolls for moment, rolls in self._next_seeds.items() if any(roll.length for roll in rolls)}
        self._next_seeds = {}
        self._reseed()
        self.reach.complete_steps = self.reach.layer
        self.reach.layer += 1

    def _reseed(self) -> None:
        """Leave only the states of the next layer in the tables of those that wait."""
        for owner, table in enumerate(self.seeded):
            table.clear()
            for rolls in self._seeds.values():
                for _, states in rolls[owner].pieces(0, rolls[owner].length, rolls[owner].length):
                    table.insert(states, len(states), Roll(self.program.layout.words, self.lookout.reserve))

    def _unseed(self, moment: int) -> None:
        """Put the states that wait for a bucket into the tables; those that a tick has reached meanwhile are there already."""
        for owner, roll in enumerate(self._seeds.pop(moment, [])):
            before = self.orders[owner].length
            for _, states in roll.pieces(0, roll.length, roll.length):
                self.tables[owner].insert(states, len(states), self.orders[owner])
            self._overtaken[owner] -= roll.length - (self.orders[owner].length - before)

    def _search_bucket(self, bucket: Bucket) -> None:
        """Expand the states of a bucket, some from each thread at a time."""
        pieces = self._pieces(bucket)
        self._waiting = bucket.count
        while parts := list(islice(pieces, len(self.visitors))):
            self._search_parts(parts, bucket.moment)
            self._waiting -= sum(len(states) for _, states in parts)
            self.reach.stopped = self.look()
            if self.reach.stopped is not None:
                return

    def _pieces(self, bucket: Bucket) -> Iterator[tuple[int, Packed]]:
        """Yield positions and states, small pieces where a limit is near."""
        for owner, roll in enumerate(self.orders):
            at = bucket.begins[owner]
            while at < bucket.ends[owner]:
                place, states = next(roll.pieces(at, bucket.ends[owner], self._most_sources()))
                yield (owner << OWNER_SHIFT) + place, states
                at += len(states)

    def _most_sources(self) -> int:
        most = self.visitors[0].most
        if self.lookout.most_states is None:
            return most
        room = self.lookout.most_states - self.states
        return max(1, min(most, room // (len(self.program.kinds) * len(self.visitors))))

    def _search_parts(self, parts: Sequence[tuple[int, Packed]], moment: int) -> None:
        """Expand one piece in each thread, then put what is new into the tables."""
        self._point()
        self._each(lambda number: self._expand(number, *parts[number]), len(parts), sum(len(states) for _, states in parts))
        into = self.orders
        if self.program.timed:
            into = self._next_seeds.setdefault(moment, [])
            into += [Roll(self.program.layout.words, self.lookout.reserve) for _ in range(len(self.tables) - len(into))]
        many = sum(int(visitor.sifted_counts.sum()) for visitor in self.visitors[: len(parts)])
        self._each(lambda owner: self._insert(owner, len(parts), into[owner]), len(self.tables), many)
        for visitor, (position, states) in zip(self.visitors, parts, strict=False):
            self._remark(visitor.marks[: len(states)], position)

    def _each(self, work: Callable[[int], None], many: int, size: int) -> None:
        """Do work for the numbers 0 to *many* - 1, in threads if it is much."""
        if self._pool is None or many == 1 or size < WORTH_THREADS:
            for number in range(many):
                work(number)
            return
        others = [self._pool.submit(work, number) for number in range(1, many)]
        work(0)
        for other in others:
            other.result()

    def _expand(self, number: int, position: int, states: Packed) -> None:
        visitor = self.visitors[number]
        visitor.visit(states, position)
        self.slowly[number].settle_rest()
        visitor.sift()

    def _insert(self, owner: int, parts: int, into: Roll) -> None:
        by_step = self.seeded if self.program.timed else self.tables
        for visitor in self.visitors[:parts]:
            by_step[owner].insert(visitor.sifted[0][owner], int(visitor.sifted_counts[0, owner]), into)
            if self.program.timed:
                order = self.orders[owner]
                before = order.length
                self.tables[owner].insert(visitor.sifted[1][owner], int(visitor.sifted_counts[1, owner]), order)
                for _, states in order.pieces(before, order.length, order.length):
                    self._overtaken[owner] += self.seeded[owner].count(states)

    def _remark(self, marks: NDArray[np.uint8], position: int) -> None:
        """Count the states without a way on, and those where time waits in vain for the plant."""
        note(self.reach.dead, marks & (f.MOVED | f.FAILED) == 0, position)
        if self.program.timed:
            in_vain = f.JAMMED | f.PLANT_MOVED | f.BLOCKED
            note(self.reach.jammed, marks & in_vain == f.JAMMED | f.BLOCKED, position)

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
        owner, place = position >> OWNER_SHIFT, position & ((1 << OWNER_SHIFT) - 1)
        return bisect_right(self.buckets, place, key=lambda bucket: bucket.begins[owner]) - 1

    def words_at(self, position: int) -> Packed:
        """Return the words of the state at a position."""
        return self.orders[position >> OWNER_SHIFT][position & ((1 << OWNER_SHIFT) - 1)]


def note(remark: Remark, which: NDArray[np.bool_], position: int) -> None:
    """Count some of the states of a piece."""
    many = int(np.count_nonzero(which))
    if many and not remark.count:
        remark.first = position + int(np.argmax(which))
    remark.count += many


def cores() -> int:
    """Return how many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
