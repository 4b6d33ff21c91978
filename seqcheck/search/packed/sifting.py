"""Sifts successors: keeps those of them that are not visited, for each owner. See `tables` for what a table is.

Compiled by `compiling`.
"""

import numpy as np

from seqcheck.search.packed import frame as f
from seqcheck.search.packed.arithmetic import MANY
from seqcheck.search.packed.jit import Int, Numbers, Truth, jit, prefetch, put_word, row_at, word, words_at
from seqcheck.search.packed.tables import (
    HALF,
    HALF_BITS,
    LOW,
    LOW_BITS,
    NEAR,
    ONE,
    SLOT,
    beyond,
    first_slot,
    hashed,
    hashed_1,
    is_in,
    owner_of,
)

NONE, THREE, FOUR, LINE = np.uint64(0), np.uint64(3), np.uint64(4), np.uint64(6)
NEAR_SLOTS = np.uint64(2)
"""NEAR is 2^NEAR_SLOTS."""


@jit
def begin_sifting(frame: Numbers) -> None:
    """Nothing is kept yet."""
    counts = row_at(frame[f.SIFTED_COUNTS_AT], MANY)
    for i in range(2 * frame[f.OWNERS]):
        counts[i] = 0


@jit
def sift(address: int) -> int:
    """Keep, for each owner, what a frame has of successors that were not visited."""
    sift_all(row_at(address, f.SIZE))
    return 0


@jit
def sift_all(frame: Numbers) -> None:
    """Keep, for each owner, the successors that were not visited, those by ticks apart; take them all from the frame."""
    sift_some(frame, frame[f.OUT_AT], frame[f.OUT], frame[f.SIFTED_AT], 0, frame[f.SEEDED_AT])
    sift_some(frame, frame[f.LATER_AT], frame[f.LATER], frame[f.SIFTED_LATER_AT], frame[f.OWNERS], 0)
    frame[f.OUT] = frame[f.LATER] = 0


@jit
def sift_some(frame: Numbers, source: Int, many: Int, into: Int, first_count: Int, others: Int) -> None:
    """Keep those of some successors that are neither visited nor in the tables at *others*."""
    if frame[f.WORDS] == 1:
        sift_words_1(frame, source, many, into, first_count, others)
        return
    stride = 8 * frame[f.WORDS]
    for base in range(0, many, f.GROUP):
        count = min(f.GROUP, many - base)
        bring_near(frame, source + stride * base, count)
        count = pick_fresh(frame, source + stride * base, count)
        keep_fresh(frame, source + stride * base, count, into, first_count, others)


@jit
def sift_words_1(frame: Numbers, source: Int, many: Int, into: Int, first_count: Int, others: Int) -> None:
    """Sift states of one word; while a group is looked up, the slots of the next one are fetched."""
    frame[f.SIDE] = 0
    note_slots_1(frame, source, min(f.GROUP, many), 0)
    for base in range(0, many, f.GROUP):
        here, count = source + 8 * base, min(f.GROUP, many - base)
        note_slots_1(frame, here + 8 * f.GROUP, max(0, min(f.GROUP, many - base - f.GROUP)), f.GROUP - frame[f.SIDE])
        picked = pick_fresh_1(frame, here, count)
        if others == 0:
            keep_fresh_1(frame, here, picked, into, first_count)
        else:
            keep_fresh(frame, here, picked, into, first_count, others)
        frame[f.SIDE] = f.GROUP - frame[f.SIDE]
    frame[f.SIDE] = 0


@jit
def bring_near(frame: Numbers, source: Int, count: Int) -> None:
    """Note the hashes of a group of states and where their slots are, and have those fetched."""
    width, owners = frame[f.WORDS], frame[f.OWNERS]
    words, tables = words_at(source, MANY), row_at(frame[f.TABLES_AT], MANY)
    hashes, slots = words_at(frame[f.HASHES_AT], f.GROUP), row_at(frame[f.SLOTS_AT], f.GROUP)
    for j in range(count):
        h = hashed(words, j * width, width)
        owner = owner_of(h, owners)
        slot = first_slot(h, tables[2 * owner + 1], width)
        slots[j] = tables[2 * owner] + 8 * (width + 1) * slot
        hashes[j] = h
        prefetch(slots[j])


@jit
def note_slots_1(frame: Numbers, source: Int, count: Int, side: Int) -> None:
    """Note the hashes of a group of states of one word and where their first slots are, and have those fetched."""
    words, hashes = words_at(source, f.GROUP), words_at(frame[f.HASHES_AT] + 8 * side, f.GROUP)
    slots, owners, tables = frame[f.SLOTS_AT] + 8 * side, frame[f.OWNERS], frame[f.TABLES_AT]
    for j in range(count):
        hashes[j] = hashed_1(words[j])
    for j in range(count):
        h = hashes[j]
        row = tables + 16 * owner_of(h, owners)
        slot = word(row) + ((((h >> HALF) * (word(row + 8) >> NEAR_SLOTS)) >> HALF) << LINE)
        prefetch(np.int64(slot))
        put_word(slots + 8 * j, slot)


@jit
def pick_fresh(frame: Numbers, source: Int, count: Int) -> Int:
    """List those of a group of states that are not visited; return how many they are."""
    width, owners = frame[f.WORDS], frame[f.OWNERS]
    words, tables = words_at(source, MANY), row_at(frame[f.TABLES_AT], MANY)
    hashes, slots = words_at(frame[f.HASHES_AT], f.GROUP), row_at(frame[f.SLOTS_AT], f.GROUP)
    fresh = row_at(frame[f.FRESH_AT], f.GROUP)
    many: Int = 0
    for j in range(count):
        here = words_at(slots[j], width + 1)
        differs = here[0] ^ (words[j * width] >> LOW)
        for w in range(1, width):
            differs |= here[w] ^ words[j * width + w]
        fresh[many] = j
        if (differs != 0) & (here[width] != 0):
            many += 0 if is_in(tables, owner_of(hashes[j], owners), words, j * width, width, hashes[j]) else 1
        else:
            many += 1 - np.int64((here[width] >> (words[j * width] & LOW_BITS)) & ONE)
    return many


@jit
def pick_fresh_1(frame: Numbers, source: Int, count: Int) -> Int:
    """List those of a group of states of one word that are not visited, in order; return how many they are.

    What depends on a state is done without branches, for a processor could not foresee them.
    """
    slots, hashes = frame[f.SLOTS_AT] + 8 * frame[f.SIDE], frame[f.HASHES_AT] + 8 * frame[f.SIDE]
    fresh, left = frame[f.FRESH_AT], frame[f.LEFT_AT]
    at: Int = fresh
    end: Int = left
    for j in range(count):
        here, state = np.int64(word(slots + 8 * j)), word(source + 8 * j)
        prefix, map_, last = state >> LOW, NONE, word(here + 56)
        map_ |= word(here + 8) if word(here) == prefix else NONE
        map_ |= word(here + 24) if word(here + 16) == prefix else NONE
        map_ |= word(here + 40) if word(here + 32) == prefix else NONE
        map_ |= last if word(here + 48) == prefix else NONE
        undecided = np.uint64((map_ == NONE) & (last != NONE))
        put_word(at, np.uint64(j))
        put_word(end, np.uint64(j))
        at = at + np.int64(((~map_ >> (state & LOW_BITS)) & (ONE ^ undecided)) << THREE)
        end = end + np.int64(undecided << THREE)
    for i in range(left, end, 8):
        prefetch(np.int64(word(slots + 8 * np.int64(word(i)))) + NEAR * SLOT)
    for i in range(left, end, 8):
        number: Int = np.int64(word(i))
        line = np.int64(word(slots + 8 * number))
        if not is_beyond(frame, word(source + 8 * number), line, word(hashes + 8 * number)):
            at = put_in_order(fresh, at, number)
    picked: Int = (at - fresh) // 8
    return picked


@jit
def put_in_order(first: Int, end: Int, number: Int) -> Int:
    """Put a number into an ascending list from *first* up to *end*; return its new end."""
    at: Int = end
    while at > first and np.int64(word(at - 8)) > number:
        put_word(at, word(at - 8))
        at -= 8
    put_word(at, np.uint64(number))
    return end + 8


@jit
def is_beyond(frame: Numbers, state: np.uint64, line: Int, h: np.uint64) -> Truth:
    """Look a state of one word up whose prefix does not stand in the first slots, where there is no room."""
    row = frame[f.TABLES_AT] + 16 * owner_of(h, frame[f.OWNERS])
    slot = beyond(np.int64(word(row)), np.int64(word(row + 8)), line, state >> LOW)
    found: Truth = (word(slot + 8) >> (state & LOW_BITS)) & ONE != 0
    return found


@jit
def keep_fresh(frame: Numbers, source: Int, count: Int, into: Int, first_count: Int, others: Int) -> None:
    """Keep the states that were picked, but for those that are in the tables at *others* or were kept a moment ago."""
    width, owners = frame[f.WORDS], frame[f.OWNERS]
    words, fresh = words_at(source, MANY), row_at(frame[f.FRESH_AT], f.GROUP)
    hashes = words_at(frame[f.HASHES_AT] + 8 * frame[f.SIDE], f.GROUP)
    targets, seeded, counts = row_at(into, owners), row_at(others, MANY), row_at(frame[f.SIFTED_COUNTS_AT], MANY)
    recent = row_at(frame[f.RECENT_AT], f.RECENT)
    for i in range(count):
        j = fresh[i]
        h = hashes[j]
        owner = owner_of(h, owners)
        if others != 0 and is_in(seeded, owner, words, j * width, width, h):
            continue
        target, many = words_at(targets[owner], MANY), counts[first_count + owner]
        where = np.int64((h + (words[j * width] & LOW_BITS)) & np.uint64(f.RECENT - 1))
        kept = recent[where]
        if kept < many:
            differs = np.uint64(0)
            for w in range(width):
                differs |= target[kept * width + w] ^ words[j * width + w]
            if differs == 0:
                continue
        recent[where] = many
        for w in range(width):
            target[many * width + w] = words[j * width + w]
        counts[first_count + owner] = many + 1


@jit
def keep_fresh_1(frame: Numbers, source: Int, count: Int, into: Int, first_count: Int) -> None:
    """Keep the states of one word that were picked, but for those that were kept a moment ago."""
    owners = np.uint64(frame[f.OWNERS])
    hashes, fresh, recent = frame[f.HASHES_AT] + 8 * frame[f.SIDE], frame[f.FRESH_AT], frame[f.RECENT_AT]
    counts = frame[f.SIFTED_COUNTS_AT] + 8 * first_count
    for i in range(fresh, fresh + 8 * count, 8):
        j = np.int64(word(i) << THREE)
        state, h = word(source + j), word(hashes + j)
        owner = np.int64((((h & HALF_BITS) * owners) >> HALF) << THREE)
        target, many = np.int64(word(into + owner)), word(counts + owner)
        where = recent + np.int64(((h + (state & LOW_BITS)) & np.uint64(f.RECENT - 1)) << THREE)
        kept = word(where)
        if kept >= many or word(target + np.int64(kept << THREE)) != state:
            put_word(where, many)
            put_word(target + np.int64(many << THREE), state)
            put_word(counts + owner, many + ONE)
