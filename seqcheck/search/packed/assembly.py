"""Allots real registers to the values of listings and joins them to one program."""

from collections.abc import Iterator, Sequence
from heapq import heappop, heappush

from msgspec import Struct

from seqcheck.search.packed import operations as o
from seqcheck.search.packed.lowering import Listing, Row

PARTS = ((1, o.D), (2, o.A), (3, o.B), (4, o.C))


class Assembled(Struct, frozen=True, kw_only=True):
    """Instructions with real registers. *constants*: registers that hold a constant from the beginning, with it."""

    rows: tuple[Row, ...]
    constants: tuple[tuple[int, int], ...]
    registers: int


def assemble(listing: Listing, pinned: Sequence[int], first_row: int, first_register: int) -> Assembled:
    """Allot registers from *first_register* on: first those *pinned*, in order, then constants, then all others.

    A register is free again after its last use (linear scan, Poletto and Sarkar 1999); those pinned never are. The program
    will stand at *first_row*.
    """
    real = {register: first_register + n for n, register in enumerate(pinned)}
    constants = []
    for value, lane in listing.constants.items():
        real[lane.register] = first_register + len(real)
        constants.append((real[lane.register], value))
    last_use = {register: number for number, row in enumerate(listing.rows) for _, register in used(row)}
    free: list[int] = []
    most = first_register + len(real)
    kept = set(real)
    rows = []
    for number, row in enumerate(listing.rows):
        fresh = list(row)
        for place, register in used(row):
            if register not in real:
                if not free:
                    heappush(free, most)
                    most += 1
                real[register] = heappop(free)
            fresh[place] = real[register]
        for register in {register for _, register in used(row)} - kept:
            if last_use[register] == number:
                heappush(free, real[register])
        if row[0] in o.JUMPS:
            fresh[5] += first_row
        rows.append(fresh)
    return Assembled(rows=tuple(rows), constants=tuple(constants), registers=most)


def used(row: Row) -> Iterator[tuple[int, int]]:
    """Yield which parts of an instruction are registers, and which."""
    parts = o.READS_AND_WRITES[row[0]]
    for place, part in PARTS:
        if parts & part:
            yield place, row[place]
