"""Lists of packed states in the order of their discovery, in segments that never move."""

from bisect import bisect_right
from collections.abc import Callable, Iterator

import numpy as np
from msgspec import Struct, field

from seqcheck.search.engine import Stop
from seqcheck.search.packed.frame import LANES
from seqcheck.search.packed.layout import Packed

SMALLEST, LARGEST = 1 << 10, 1 << 18
"""States in a segment."""

Reserve = Callable[[int], None]
"""Is told how many bytes are wanted next; raises `Exhausted` if a limit does not allow it."""


class Exhausted(Exception):  # noqa: N818 - it is no error of the program
    """A limit leaves no room, or no time, for a table or list."""

    def __init__(self, stop: Stop = Stop.MEMORY) -> None:
        super().__init__(stop)
        self.stop = stop


class Roll(Struct):
    """A list of states of some words each. Behind every segment there is memory for a block, which may be read, not used."""

    width: int
    reserve: Reserve
    segments: list[Packed] = field(default_factory=list)
    begins: list[int] = field(default_factory=list)
    length: int = 0

    def room(self) -> tuple[Packed, int, int]:
        """Return the segment to write to, where in it, and how many states more it takes (1 at least)."""
        if not self.segments or self._used == self._capacity:
            size = min(LARGEST, max(SMALLEST, self.length))
            self.reserve(8 * self.width * (size + LANES))
            self.segments.append(np.empty((size + LANES, self.width), np.uint64))
            self.begins.append(self.length)
        return self.segments[-1], self._used, self._capacity - self._used

    @property
    def _used(self) -> int:
        return self.length - self.begins[-1]

    @property
    def _capacity(self) -> int:
        return len(self.segments[-1]) - LANES

    def pieces(self, first: int, end: int, most: int) -> Iterator[tuple[int, Packed]]:
        """Yield the states from *first* up to *end*, at most *most* in one piece: place and states."""
        at = first
        while at < end:
            number = bisect_right(self.begins, at) - 1
            offset = at - self.begins[number]
            count = min(most, end - at, len(self.segments[number]) - LANES - offset)
            yield at, self.segments[number][offset : offset + count]
            at += count

    def __getitem__(self, place: int) -> Packed:
        """Return the words of one state."""
        number = bisect_right(self.begins, place) - 1
        words: Packed = self.segments[number][place - self.begins[number]]
        return words

    @property
    def nbytes(self) -> int:
        """Bytes that all segments take."""
        return sum(segment.nbytes for segment in self.segments)
