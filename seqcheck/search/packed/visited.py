"""One owner's table of visited states, growing as it fills. See `tables` for its form."""

import numpy as np

from seqcheck.search.packed import tableframe as t
from seqcheck.search.packed.layout import Packed
from seqcheck.search.packed.native import functions
from seqcheck.search.packed.pages import zeros
from seqcheck.search.packed.rolls import Reserve, Roll

NEAR = 4
"""See `tables`: a number of slots is a multiple of it."""

FIRST_SLOTS = 1 << 12
MOST_LOAD_NEAR, MOST_LOAD_SMALL, MOST_LOAD, LARGE = 0.5, 0.35, 0.6, 1 << 22
"""How full a table may be: one that is not large is quicker with more room, less so where slots come several at a time."""
GROWTH_SMALL, GROWTH, SMALL = 4, 1.7, 1 << 16
MOST_SLOTS = (1 << 32) - NEAR
"""A slot is told by 32 bits of the hash."""


class Visited:
    """A table of prefixes with maps. Memory: 8 bytes for each word and 8 for the map in each slot."""

    def __init__(self, width: int, reserve: Reserve) -> None:
        self._width, self._reserve = width, reserve
        self._functions = functions("tables")
        self._frame = np.zeros(t.SIZE, np.int64)
        self._spare = np.zeros(width, np.uint64)
        self.slots = FIRST_SLOTS
        self.array = np.zeros((self.slots, width + 1), np.uint64)
        self.prefixes = 0

    def insert(self, states: Packed, count: int, into: Roll) -> None:
        """Put the first *count* of some states in; those that are new are appended to a list."""
        frame = self._frame
        frame[t.WORDS], frame[t.FROM_AT], frame[t.COUNT], frame[t.DONE] = self._width, states.ctypes.data, count, 0
        while frame[t.DONE] < count:
            segment, used, room = into.room()
            frame[t.TABLE_AT], frame[t.SLOTS] = self.array.ctypes.data, self.slots
            frame[t.PREFIXES], frame[t.MOST_PREFIXES] = self.prefixes, self._most
            frame[t.OUT_AT], frame[t.OUT], frame[t.ROOM] = segment.ctypes.data, used, used + room
            self._functions["insert"](frame.ctypes.data)
            into.length += int(frame[t.OUT]) - used
            self.prefixes = int(frame[t.PREFIXES])
            if self.prefixes >= frame[t.MOST_PREFIXES]:
                self._grow()

    @property
    def _most(self) -> int:
        small = MOST_LOAD_NEAR if self._width == 1 else MOST_LOAD_SMALL
        return int(self.slots * (MOST_LOAD if self.slots > LARGE else small))

    def _grow(self) -> None:
        """Move to a larger table; for a moment there are both."""
        slots = min(MOST_SLOTS, int(self.slots * (GROWTH_SMALL if self.slots < SMALL else GROWTH)) // NEAR * NEAR)
        self._reserve(8 * (self._width + 1) * slots)
        frame, larger = np.zeros(t.SIZE, np.int64), zeros(slots, self._width + 1)
        frame[t.WORDS], frame[t.FROM_AT], frame[t.COUNT] = self._width, self.array.ctypes.data, self.slots
        frame[t.TABLE_AT], frame[t.SLOTS], frame[t.OUT_AT] = larger.ctypes.data, slots, self._spare.ctypes.data
        self._functions["move"](frame.ctypes.data)
        self._reserve(-self.array.nbytes)
        self.array, self.slots = larger, slots

    def put(self, states: Packed, goals: Packed) -> None:
        """Put states that are in the table into a map of goals, which has a word for each slot."""
        frame = np.zeros(t.SIZE, np.int64)
        frame[t.WORDS], frame[t.FROM_AT], frame[t.COUNT] = self._width, states.ctypes.data, len(states)
        frame[t.TABLE_AT], frame[t.SLOTS], frame[t.OUT_AT] = self.array.ctypes.data, self.slots, goals.ctypes.data
        self._functions["reach"](frame.ctypes.data)

    def count(self, states: Packed) -> int:
        """Return how many of some states are in the table."""
        frame = np.zeros(t.SIZE, np.int64)
        frame[t.WORDS], frame[t.FROM_AT], frame[t.COUNT] = self._width, states.ctypes.data, len(states)
        frame[t.TABLE_AT], frame[t.SLOTS] = self.array.ctypes.data, self.slots
        self._functions["count"](frame.ctypes.data)
        return int(frame[t.DONE])

    def clear(self) -> None:
        """Take all states out."""
        if self.prefixes:
            self.array = zeros(self.slots, self._width + 1)
            self.prefixes = 0
