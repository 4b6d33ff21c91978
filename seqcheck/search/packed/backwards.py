"""Lists for each visited state where it is reached from, and goes backwards. Quick, at 4 bytes a transition."""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from seqcheck.search.packed import frame as f
from seqcheck.search.packed.layout import Packed
from seqcheck.search.packed.native import functions
from seqcheck.search.packed.rolls import Exhausted
from seqcheck.search.packed.searching import Search
from seqcheck.search.packed.tracing import Tracer

MOST_STATES = 1 << 31
"""A state's number has 32 bits with a sign."""

LOST = -1
"""The rank of a state from which no way leads to a goal."""

Ranks = NDArray[np.int32]


class Backwards:
    """The transitions of a search, by their ends: those of the steps that *tracer* is asked for."""

    def __init__(self, search: Search, tracer: Tracer, look: Callable[[], None]) -> None:
        self._search, self._tracer, self._look = search, tracer, look
        self._visitor, self._functions = tracer.visitor, functions("links")
        self._bases = [bases_of(table.array) for table in search.tables]
        states = 0
        for number, bases in enumerate(self._bases):
            self._bases[number] = bases + states
            states += int(bases[-1])
        self._numbers = np.zeros(self._visitor.most + f.LANES, np.int64)
        self._cursors = np.zeros(states + 1, np.int64)
        self._list()

    def _list(self) -> None:
        """Count the transitions that lead to each state, then list their sources."""
        frame = self._visitor.frame
        self._visitor.point_at(self._search.tables, ())
        self._addresses = np.array([bases.ctypes.data for bases in self._bases], np.int64)
        frame[[f.BASES_AT, f.NUMBERS_AT]] = self._addresses.ctypes.data, self._numbers.ctypes.data
        frame[f.CURSORS_AT] = self._cursors.ctypes.data
        self._expand("tally")
        transitions = int(self._cursors.sum())
        self._cursors[1:] = np.cumsum(self._cursors[:-1])
        self._cursors[0] = 0
        self._links = np.empty(transitions + 1, np.int32)
        frame[f.LINKS_AT] = self._links.ctypes.data
        self._expand("link")

    def _expand(self, then: str) -> None:
        frame = self._visitor.frame
        for roll in self._search.orders:
            for _, states in roll.pieces(0, roll.length, self._visitor.most):
                self._tracer.expand(states)
                self._functions["number"](frame.ctypes.data)
                self._functions[then](frame.ctypes.data)
                self._look()

    def spread(self, ranks: Sequence[Ranks]) -> None:
        """Give every state from which a state of rank 0 can be reached its number of transitions to the nearest."""
        frame, many = self._visitor.frame, len(self._cursors) - 1
        of_numbers = np.full(many + 1, LOST, np.int32)
        self._each_piece(ranks, lambda part, numbers: of_numbers.__setitem__(numbers, part))
        nearest = np.empty(many + 1, np.int32)
        goals = np.flatnonzero(of_numbers == 0)
        nearest[: len(goals)] = goals
        frame[[f.RANKS_AT, f.NEAREST_AT]] = of_numbers.ctypes.data, nearest.ctypes.data
        frame[f.HEAD], frame[f.TAIL] = 0, len(goals)
        while frame[f.HEAD] < frame[f.TAIL]:
            self._functions["spread"](frame.ctypes.data)
            self._look()
        self._each_piece(ranks, lambda part, numbers: part.__setitem__(slice(None), of_numbers[numbers]))

    def _each_piece(self, ranks: Sequence[Ranks], work: Callable[[Ranks, NDArray[np.int64]], None]) -> None:
        """Work on the ranks of each piece of the lists, and the numbers of its states."""
        frame = self._visitor.frame
        for roll, of_owner in zip(self._search.orders, ranks, strict=True):
            for at, states in roll.pieces(0, roll.length, self._visitor.most):
                frame[f.SOURCE_AT], frame[f.COUNT] = states.ctypes.data, len(states)
                self._functions["number"](frame.ctypes.data)
                work(of_owner[at : at + len(states)], self._numbers[: len(states)])


def bases_of(table: Packed) -> NDArray[np.int64]:
    """Return for each slot of a table how many states those before it hold; at the end, how many all hold."""
    bases = np.zeros(len(table) + 1, np.int64)
    np.cumsum(np.bitwise_count(table[:, -1]), out=bases[1:])
    return bases


def fits(search: Search) -> bool:
    """Tell whether there is memory for it."""
    states, slots = sum(roll.length for roll in search.orders), sum(table.slots for table in search.tables)
    try:
        search.lookout.reserve(8 * slots + 16 * states + 4 * search.transitions)
    except Exhausted:
        return False
    return states < MOST_STATES
