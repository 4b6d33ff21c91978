"""Chooses which variables stand in the lowest bits, so that as many states as can be share a prefix."""

from collections.abc import Iterator, Sequence
from functools import reduce
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from seqcheck.model.model import Model
from seqcheck.search.packed import tableframe as t
from seqcheck.search.packed.layout import LOW_BITS, Layout, Packed, laid_out
from seqcheck.search.packed.native import functions

ENOUGH = 3.0
"""Neighbours in each prefix with which a choice is good."""

MOST_PAIRS = 500
MOST_VALUES = 1 << 18

Hashes = NDArray[np.uint64]


def well_laid(model: Model, layout: Layout, near: Packed, apart: Packed) -> Layout:
    """Lay out anew so that as many as can be of the states of a sample share a prefix.

    *near*: states each with its neighbours. Where these hardly share prefixes, some may still be shared by states that lie
    *apart*, if it takes several variables to tell: an odd one out, a sum that stays the same.
    """
    sample = Sample(layout, near)
    chosen = sample.choice(pairs=False)
    if sample.shared(chosen) < ENOUGH:
        sample = Sample(layout, apart)
        chosen = max(chosen, sample.choice(pairs=True), key=sample.shared)
    return laid_out(model, chosen)


class Sample:
    """States by which to choose; so many that they have MOST_VALUES values at most."""

    def __init__(self, layout: Layout, states: Packed) -> None:
        self._layout, self._fields = layout, layout.fields
        self._seen = np.zeros(1 << (t.MAP_BITS - LOW_BITS), np.uint64)
        self._states = states[:: 1 + len(states) * len(layout.fields) // MOST_VALUES]
        self._hashes = [mixed(layout.column(self._states, place), place) for place in range(len(layout.fields))]
        self._whole: Hashes = reduce(np.bitwise_xor, self._hashes, np.zeros(len(self._states), np.uint64))

    def choice(self, *, pairs: bool) -> list[int]:
        """Choose greedily: what comes next leaves the fewest different prefixes, for each bit; *pairs* may come at once."""
        rest, left, chosen = self._whole, LOW_BITS, list[int]()
        while left > 0 and (options := list(self._options(chosen, pairs=pairs))):
            now = different(rest, self._seen)
            counts = {some: different(self._without(rest, some, left), self._seen) for some in options}
            best = min(options, key=lambda some: ((counts[some] / now) ** (1 / min(left, self._bits(some))), some))
            rest = self._without(rest, best, left)
            chosen += best
            left -= self._bits(best)
        return chosen

    def _options(self, chosen: Sequence[int], *, pairs: bool) -> Iterator[tuple[int, ...]]:
        open_ = [place for place, field in enumerate(self._fields) if field.bits > 0 and place not in chosen]
        yield from ((place,) for place in open_)
        if pairs and len(open_) * (len(open_) - 1) // 2 <= MOST_PAIRS:
            yield from combinations(open_, 2)

    def _bits(self, some: Sequence[int]) -> int:
        return sum(self._fields[place].bits for place in some)

    def _without(self, rest: Hashes, some: Sequence[int], left: int) -> Hashes:
        """Take variables out of the hashes of states, as far as they fit into the *left* lowest bits."""
        for place in some:
            field = self._fields[place]
            rest = rest ^ self._hashes[place]
            if field.bits > left:
                rest ^= mixed((self._layout.column(self._states, place) - field.lowest) >> left, place)
            left = max(0, left - field.bits)
        return rest

    def shared(self, chosen: Sequence[int]) -> float:
        """Return how many different states of the sample there are for each prefix if these are in the lowest bits."""
        rest = self._without(self._whole, chosen, LOW_BITS)
        return different(self._whole, self._seen) / max(1, different(rest, self._seen))


def different(hashes: Hashes, seen: NDArray[np.uint64]) -> int:
    """Return roughly how many different hashes there are; a few that meet count once. *seen*: a map, all 0 before and after."""
    frame, hashes = np.zeros(t.SIZE, np.int64), np.ascontiguousarray(hashes)
    frame[t.FROM_AT], frame[t.COUNT], frame[t.OUT_AT] = hashes.ctypes.data, len(hashes), seen.ctypes.data
    functions("tables")["different"](frame.ctypes.data)
    return int(frame[t.DONE])


def mixed(column: NDArray[np.int64], place: int) -> Hashes:
    """Hash one variable's values; the hash of a state is the sum without carry of those of its values."""
    mixed = (column.astype(np.uint64) + np.uint64(1 + 1000003 * place)) * np.uint64(0x9E3779B97F4A7C15)
    mixed ^= mixed >> np.uint64(31)
    mixed *= np.uint64(0xD6E8FEB86659FD93)
    return mixed ^ (mixed >> np.uint64(32))
