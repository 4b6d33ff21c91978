"""Numbers the visited states and lists for each where it is reached from, to go backwards. Compiled by `compiling`."""

import numpy as np

from seqcheck.search.packed import frame as f
from seqcheck.search.packed.arithmetic import MANY
from seqcheck.search.packed.jit import Int, Numbers, Words, halves_at, jit, row_at, words_at
from seqcheck.search.packed.tables import LOW_BITS, ONE, hashed, owner_of, slot_of

LOST = -1
DEALT = 1 << 18
"""States from which to go backwards in one call."""
PAIRS, FOURS, EIGHTS = np.uint64(0x5555555555555555), np.uint64(0x3333333333333333), np.uint64(0x0F0F0F0F0F0F0F0F)
BYTES, TWO, FOUR, TOP = np.uint64(0x0101010101010101), np.uint64(2), np.uint64(4), np.uint64(56)


@jit
def bits_in(word: np.uint64) -> Int:
    """Return how many bits of a word are set (Warren, Hacker's Delight, 5-1)."""
    word -= (word >> ONE) & PAIRS
    word = (word & FOURS) + ((word >> TWO) & FOURS)
    word = (word + (word >> FOUR)) & EIGHTS
    return np.int64((word * BYTES) >> TOP)


@jit
def number_of(frame: Numbers, words: Words, at: Int) -> Int:
    """Return the number of a visited state: those of one slot follow each other."""
    width, tables, bases = frame[f.WORDS], row_at(frame[f.TABLES_AT], MANY), row_at(frame[f.BASES_AT], MANY)
    h = hashed(words, at, width)
    owner = owner_of(h, frame[f.OWNERS])
    table = words_at(tables[2 * owner], MANY)
    slot = slot_of(table, tables[2 * owner + 1], words, at, width, h)
    below = table[slot * (width + 1) + width] & ((ONE << (words[at] & LOW_BITS)) - ONE)
    found: Int = row_at(bases[owner], MANY)[slot] + bits_in(below)
    return found


@jit
def number(address: int) -> int:
    """Give out the numbers of the sources."""
    frame = row_at(address, f.SIZE)
    words, numbers = words_at(frame[f.SOURCE_AT], MANY), row_at(frame[f.NUMBERS_AT], MANY)
    for i in range(frame[f.COUNT]):
        numbers[i] = number_of(frame, words, i * frame[f.WORDS])
    return 0


@jit
def tally(address: int) -> int:
    """Count for each state the transitions that lead to it."""
    frame = row_at(address, f.SIZE)
    cursors = row_at(frame[f.CURSORS_AT], MANY)
    for which in (f.OUT_AT, f.LATER_AT):
        words = words_at(frame[which], MANY)
        for j in range(frame[which + f.MANY_OF]):
            cursors[number_of(frame, words, j * frame[f.WORDS])] += 1
    return 0


@jit
def link(address: int) -> int:
    """List the sources of each state's transitions."""
    frame = row_at(address, f.SIZE)
    cursors, numbers = row_at(frame[f.CURSORS_AT], MANY), row_at(frame[f.NUMBERS_AT], MANY)
    links = halves_at(frame[f.LINKS_AT], MANY)
    for which in (f.OUT_AT, f.LATER_AT):
        words, places = words_at(frame[which], MANY), row_at(frame[which + 1], MANY)
        for j in range(frame[which + f.MANY_OF]):
            state = number_of(frame, words, j * frame[f.WORDS])
            links[cursors[state]] = np.int32(numbers[places[j]])
            cursors[state] += 1
    return 0


@jit
def spread(address: int) -> int:
    """Go backwards from the nearest states, some at a time. CURSORS are where the sources of each state end."""
    frame = row_at(address, f.SIZE)
    cursors, links = row_at(frame[f.CURSORS_AT], MANY), halves_at(frame[f.LINKS_AT], MANY)
    ranks, nearest = halves_at(frame[f.RANKS_AT], MANY), halves_at(frame[f.NEAREST_AT], MANY)
    head, tail = frame[f.HEAD], frame[f.TAIL]
    end = head + DEALT
    while head < tail and head < end:
        state = np.int64(nearest[head])
        first: Int = 0
        if state > 0:
            first = cursors[state - 1]
        for at in range(first, cursors[state]):
            before = np.int64(links[at])
            if ranks[before] == LOST:
                ranks[before] = ranks[state] + np.int32(1)
                nearest[tail] = before
                tail += 1
        head += 1
    frame[f.HEAD], frame[f.TAIL] = head, tail
    return 0
