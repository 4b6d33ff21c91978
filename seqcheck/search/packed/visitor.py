"""What one thread works with: a frame for the compiled functions, and the arrays that it points to."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from seqcheck.search.packed import frame as f
from seqcheck.search.packed.frame import LANES
from seqcheck.search.packed.layout import Packed
from seqcheck.search.packed.native import functions
from seqcheck.search.packed.program import Program
from seqcheck.search.packed.visited import Visited

MOST_SOURCES, MOST_SUCCESSORS = 1 << 15, 1 << 19
"""States expanded between two looks around, and roughly the successors that they may have."""

FEW_ROUNDS = 100
"""Rounds of settling after which the plain definition takes over."""

Numbers = NDArray[np.int64]


class Successors(Struct, frozen=True, kw_only=True):
    """Where steps (or ticks) lead: packed states, the place of the source among those visited, the step."""

    states: Packed
    places: Numbers
    steps: Numbers


class Output(Struct, frozen=True, kw_only=True):
    """Room for successors. *at*: the place of the address of *states* in the frame; those of the others follow it."""

    at: int
    states: Packed
    places: Numbers
    steps: Numbers


class Visitor:
    """Expands pieces of lists. It holds what was found, noticed and met with so far."""

    def __init__(self, program: Program, entered_bytes: int, variables: int) -> None:
        self.program = program
        self.most = max(LANES, min(MOST_SOURCES, MOST_SUCCESSORS // len(program.kinds) // LANES * LANES))
        self.frame = np.zeros(f.SIZE, np.int64)
        self._functions = functions("tables"), functions(program.group)
        self._tables: list[Numbers] = []
        self._goals = np.zeros(0, np.int64)
        self._held: list[NDArray[np.generic]] = []
        self.found = np.full((program.slots.size + 1, 2), -1, np.int64)
        self.notes = np.zeros(program.slots.reactions + program.slots.properties + 1, np.uint8)
        self.troubles = np.full(((program.sites + 1) * f.MANNERS, 2), -1, np.int64)
        self.entered = np.zeros(entered_bytes + 1, np.uint8)
        self.entered_left = np.zeros(variables + 1, np.int64)
        self.kinds = program.kinds.copy()
        self.source: Packed = np.zeros((0, program.layout.words), np.uint64)
        self.marks = np.zeros(self.most + LANES, np.uint8)
        self._out, self._later, self._slow = self._outputs()
        self._point()

    def _outputs(self) -> tuple[Output, Output, Output]:
        program = self.program
        many = self.most * (len(program.kinds) - 1) + LANES
        width, full = program.layout.words, program.layout.words + program.flag_words
        return (
            output(f.OUT_AT, many, width),
            output(f.LATER_AT, self.most + LANES if program.timed else 1, width),
            output(f.SLOW_AT, many + self.most if program.settles else 1, full),
        )

    def _point(self) -> None:
        """Put all addresses and lasting numbers into the frame."""
        program, full = self.program, self.program.layout.words + self.program.flag_words
        arrays = {
            f.CODE_AT: program.code,
            f.REGISTERS_AT: program.registers.copy(),
            f.STEPS_AT: program.steps,
            f.KINDS_AT: self.kinds,
            f.EXTRA_AT: np.zeros(full * LANES, np.uint64),
            f.PICKED_AT: np.zeros(LANES + 1, np.int64),
            f.PLACES_AT: np.zeros(LANES, np.int64),
            f.QUEUE_AT: np.zeros(2 * LANES * full, np.uint64),
            f.QUEUED_PLACES_AT: np.zeros(2 * LANES, np.int64),
            f.QUEUED_STEPS_AT: np.zeros(2 * LANES, np.int64),
            f.MARKS_AT: self.marks,
            f.FOUND_AT: self.found,
            f.NOTES_AT: self.notes,
            f.TROUBLES_AT: self.troubles,
            f.ENTERED_AT: self.entered,
            f.ENTERED_LEFT_AT: self.entered_left,
            f.HASHES_AT: np.zeros(2 * f.GROUP, np.uint64),
            f.SLOTS_AT: np.zeros(2 * f.GROUP, np.int64),
            f.LEFT_AT: np.zeros(f.GROUP + 1, np.int64),
            f.FRESH_AT: np.zeros(f.GROUP + 1, np.int64),
            f.RECENT_AT: np.zeros(f.RECENT, np.int64),
        }
        for out in (self._out, self._later, self._slow):
            arrays |= {out.at: out.states, out.at + 1: out.places, out.at + 2: out.steps}
        for place, array in arrays.items():
            self.frame[place] = array.ctypes.data
        self._held += arrays.values()
        self.frame[[f.WORDS, f.FLAG_WORDS, f.TICK]] = program.layout.words, program.flag_words, program.tick
        self.frame[[f.PRE, f.ROUND, f.POST]] = program.pre, program.round, program.post
        self.frame[[f.FIRST_COUNTING, f.COUNTING]] = program.first_counting, program.counting
        self.frame[f.FEW_ROUNDS] = FEW_ROUNDS

    def point_at(self, tables: Sequence[Visited], seeded: Sequence[Visited]) -> None:
        """Say which tables to look into."""
        owners = len(tables)
        rows = [np.array([[v.array.ctypes.data, v.slots] for v in some] or [[0, 0]], np.int64) for some in (tables, seeded)]
        self._tables = rows
        self.frame[f.TABLES_AT] = rows[0].ctypes.data
        self.frame[f.SEEDED_AT] = rows[1].ctypes.data if seeded else 0
        self.frame[f.OWNERS] = owners

    def point_at_goals(self, tables: Sequence[Visited], goals: Sequence[Packed]) -> None:
        """Say which tables to look into, and the maps of goals beside them."""
        self.point_at(tables, ())
        self._goals = np.array([goal.ctypes.data for goal in goals], np.int64)
        self.frame[f.SEEDED_AT] = self._goals.ctypes.data

    def make_sieves(self, owners: int) -> None:
        """Make room for the successors that were not visited yet, for each owner."""
        width = self.program.layout.words
        many = [len(self._out.states), len(self._later.states)]
        self.sifted = [[np.empty((size, width), np.uint64) for _ in range(owners)] for size in many]
        self.sifted_counts = np.zeros((2, owners), np.int64)
        addresses = np.array([[array.ctypes.data for array in some] for some in self.sifted], np.int64)
        self._held += [addresses, self.sifted_counts]
        self.frame[f.SIFTED_AT] = addresses[0].ctypes.data
        self.frame[f.SIFTED_LATER_AT] = addresses[1].ctypes.data
        self.frame[f.SIFTED_COUNTS_AT] = self.sifted_counts.ctypes.data

    def visit(self, states: Packed, position: int, *, are_starts: bool = False, sifting: bool = False) -> None:
        """Expand states, of which the first has a position; or settle starts. There must be memory for a block behind them.

        *sifting*: of the successors keep those only that were not visited, for each owner.
        """
        count, self.source = len(states), states
        self.marks[:count] = 0
        frame = self.frame
        frame[f.SOURCE_AT], frame[f.COUNT], frame[f.POSITION] = states.ctypes.data, count, position
        frame[f.ARE_STARTS], frame[f.QUEUED], frame[f.SIFTING] = are_starts, 0, sifting
        frame[f.OUT] = frame[f.LATER] = frame[f.SLOW] = 0
        self._functions[1]["visit"](frame.ctypes.data)

    def sift(self) -> None:
        """Keep also those of the successors at hand that were not visited yet."""
        self._functions[0]["sift"](self.frame.ctypes.data)

    def lead(self) -> None:
        """Mark the sources that lead to a goal."""
        self._functions[0]["lead"](self.frame.ctypes.data)

    def keep_lost(self) -> None:
        """Of the successors by steps keep those that are no goals."""
        self._functions[0]["keep_lost"](self.frame.ctypes.data)

    @property
    def by_step(self) -> Successors:
        """Where steps lead."""
        return self._given(self._out)

    @property
    def by_tick(self) -> Successors:
        """Where ticks lead."""
        return self._given(self._later)

    @property
    def slow(self) -> Successors:
        """What did not come to rest soon: states before settling, with their flags."""
        return self._given(self._slow)

    def _given(self, out: Output) -> Successors:
        count = int(self.frame[out.at + f.MANY_OF])
        return Successors(states=out.states[:count], places=out.places[:count], steps=out.steps[:count])

    def take(self, states: Packed) -> None:
        """Take states for successors by a step; nothing is sifted yet."""
        self.sifted_counts[:] = 0
        if states.ctypes.data != self._out.states.ctypes.data:
            self._out.states[: len(states)] = states
        self.frame[f.OUT], self.frame[f.LATER] = len(states), 0

    def give(self, state: Packed, place: int, step: int) -> None:
        """Add a successor that was found by other means."""
        out = self._later if step == self.program.tick else self._out
        at = int(self.frame[out.at + f.MANY_OF])
        out.states[at], out.places[at], out.steps[at] = state, place, step
        self.frame[out.at + f.MANY_OF] = at + 1
        self.frame[f.TRANSITIONS] += 1


def output(at: int, many: int, width: int) -> Output:
    """Return room for successors; memory is taken as it is used."""
    return Output(
        at=at, states=np.empty((many, width), np.uint64), places=np.empty(many, np.int64), steps=np.empty(many, np.int64)
    )
