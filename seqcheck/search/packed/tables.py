"""The set of visited states: a hash table of prefixes (a state without its low 6 bits), each with a map of its 64 states.

A table belongs to one owner, named by the hash of the prefix, so that several threads can fill their own. A slot is the
words of a prefix and its map; an empty one has an empty map. Compiled by `compiling`.
"""

import numpy as np

from seqcheck.search.packed import frame as f
from seqcheck.search.packed import tableframe as t
from seqcheck.search.packed.arithmetic import MANY
from seqcheck.search.packed.jit import Int, Numbers, Truth, Words, bytes_at, jit, prefetch, put_word, row_at, word, words_at

ODD, OTHER = np.uint64(0x9E3779B97F4A7C15), np.uint64(0xD6E8FEB86659FD93)
"""Multipliers: 2^64 divided by the golden ratio (Knuth, The Art of Computer Programming 3, 6.4), and any odd number."""
AHEAD = 16
"""How many look-ups before its own a slot is fetched from memory."""
LOW, HALF, ONE, THREE, FOUR = np.uint64(6), np.uint64(32), np.uint64(1), np.uint64(3), np.uint64(4)
LOW_BITS, HALF_BITS = np.uint64(63), np.uint64(0xFFFFFFFF)


@jit
def hashed(words: Words, at: Int, width: Int) -> np.uint64:
    """Return the hash of the prefix of a state: its upper half tells the slot, the lower one the owner."""
    h = (words[at] >> LOW) * ODD
    for w in range(1, width):
        h = ((h ^ (h >> HALF)) + words[at + w]) * ODD
    h = (h ^ (h >> HALF)) * OTHER
    found: np.uint64 = h ^ (h >> HALF)
    return found


@jit
def owner_of(h: np.uint64, owners: Int) -> Int:
    """Return the owner of a prefix with a hash."""
    return np.int64(((h & HALF_BITS) * np.uint64(owners)) >> HALF)


@jit
def slot_of(table: Words, slots: Int, words: Words, at: Int, shape: Int, h: np.uint64) -> Int:
    """Return the slot of the prefix of a state, or the empty one where it would stand. *shape*: words in a state."""
    slot: Int = np.int64(((h >> HALF) * np.uint64(slots)) >> HALF)
    prefix = words[at] >> LOW
    while True:
        here = slot * (shape + 1)
        if table[here + shape] == 0:
            return slot
        if table[here] == prefix:
            same = True
            for w in range(1, shape):
                same &= table[here + w] == words[at + w]
            if same:
                return slot
        slot += 1
        if slot == slots:
            slot = 0


@jit
def is_in(tables: Numbers, owner: Int, words: Words, at: Int, width: Int, h: np.uint64) -> Truth:
    """Tell whether a state is in its owner's table."""
    slots = tables[2 * owner + 1]
    table = words_at(tables[2 * owner], MANY)
    slot = slot_of(table, slots, words, at, width, h)
    found: Truth = (table[slot * (width + 1) + width] >> (words[at] & LOW_BITS)) & ONE != 0
    return found


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
    stride = 8 * frame[f.WORDS]
    for base in range(0, many, f.GROUP):
        count = min(f.GROUP, many - base)
        if stride == 8:
            bring_near_1(frame, source + stride * base, count)
            count = pick_fresh_1(frame, source + stride * base, count)
        else:
            bring_near(frame, source + stride * base, count)
            count = pick_fresh(frame, source + stride * base, count)
        keep_fresh(frame, source + stride * base, count, into, first_count, others)


@jit
def bring_near(frame: Numbers, source: Int, count: Int) -> None:
    """Note the hashes of a group of states and where their slots are, and have those fetched."""
    width, owners = frame[f.WORDS], frame[f.OWNERS]
    words, tables = words_at(source, MANY), row_at(frame[f.TABLES_AT], MANY)
    hashes, slots = words_at(frame[f.HASHES_AT], f.GROUP), row_at(frame[f.SLOTS_AT], f.GROUP)
    for j in range(count):
        h = hashed(words, j * width, width)
        owner = owner_of(h, owners)
        slot = np.int64(((h >> HALF) * np.uint64(tables[2 * owner + 1])) >> HALF)
        slots[j] = tables[2 * owner] + 8 * (width + 1) * slot
        hashes[j] = h
        prefetch(slots[j])


@jit
def bring_near_1(frame: Numbers, source: Int, count: Int) -> None:
    """Note the hashes of a group of states of one word and where their slots are, and have those fetched."""
    owners, tables = np.uint64(frame[f.OWNERS]), np.uint64(frame[f.TABLES_AT])
    hashes, slots = frame[f.HASHES_AT], frame[f.SLOTS_AT]
    for j in range(0, 8 * count, 8):
        h = (word(source + j) >> LOW) * ODD
        h = (h ^ (h >> HALF)) * OTHER
        h ^= h >> HALF
        row = np.int64(tables + ((((h & HALF_BITS) * owners) >> HALF) << FOUR))
        slot = word(row) + ((((h >> HALF) * word(row + 8)) >> HALF) << FOUR)
        prefetch(np.int64(slot))
        put_word(slots + j, slot)
        put_word(hashes + j, h)


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
    """List those of a group of states of one word that are not visited; return how many they are."""
    slots, fresh = frame[f.SLOTS_AT], frame[f.FRESH_AT]
    at: Int = fresh
    for j in range(count):
        here, state = np.int64(word(slots + 8 * j)), word(source + 8 * j)
        prefix, occupied = word(here), word(here + 8)
        put_word(at, np.uint64(j))
        if (prefix != state >> LOW) & (occupied != 0):
            at = at + (0 if is_visited(frame, source, j) else 8)
        else:
            at = at + np.int64(((~occupied >> (state & LOW_BITS)) & ONE) << THREE)
    picked: Int = (at - fresh) // 8
    return picked


@jit
def is_visited(frame: Numbers, source: Int, j: Int) -> Truth:
    """Look a state of one word up whose prefix does not stand in its first slot."""
    state, h = word(source + 8 * j), word(frame[f.HASHES_AT] + 8 * j)
    row = frame[f.TABLES_AT] + 16 * owner_of(h, frame[f.OWNERS])
    first, here = np.int64(word(row)), np.int64(word(frame[f.SLOTS_AT] + 8 * j))
    end = first + 16 * np.int64(word(row + 8))
    while True:
        here += 16
        if here == end:
            here = first
        occupied = word(here + 8)
        if (word(here) == state >> LOW) | (occupied == 0):
            found: Truth = (occupied >> (state & LOW_BITS)) & ONE != 0
            return found


@jit
def keep_fresh(frame: Numbers, source: Int, count: Int, into: Int, first_count: Int, others: Int) -> None:
    """Keep the states that were picked, but for those that are in the tables at *others* or were kept a moment ago."""
    width, owners = frame[f.WORDS], frame[f.OWNERS]
    words, hashes, fresh = words_at(source, MANY), words_at(frame[f.HASHES_AT], f.GROUP), row_at(frame[f.FRESH_AT], f.GROUP)
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
def insert(address: int) -> int:
    """Put states into a table and those that are new into a list, until the table or the list is full."""
    frame = row_at(address, t.SIZE)
    width, slots = frame[t.WORDS], frame[t.SLOTS]
    words, table, out = words_at(frame[t.FROM_AT], MANY), words_at(frame[t.TABLE_AT], MANY), words_at(frame[t.OUT_AT], MANY)
    at, used, prefixes = frame[t.DONE], frame[t.OUT], frame[t.PREFIXES]
    while at < frame[t.COUNT] and used < frame[t.ROOM] and prefixes < frame[t.MOST_PREFIXES]:
        if at + AHEAD < frame[t.COUNT]:
            ahead = hashed(words, (at + AHEAD) * width, width)
            prefetch(frame[t.TABLE_AT] + 8 * (width + 1) * np.int64(((ahead >> HALF) * np.uint64(slots)) >> HALF))
        slot = slot_of(table, slots, words, at * width, width, hashed(words, at * width, width))
        here = slot * (width + 1)
        before, bit = table[here + width], ONE << (words[at * width] & LOW_BITS)
        if before & bit == 0:
            if before == 0:
                prefixes += 1
                table[here] = words[at * width] >> LOW
                for w in range(1, width):
                    table[here + w] = words[at * width + w]
            table[here + width] = before | bit
            for w in range(width):
                out[used * width + w] = words[at * width + w]
            used += 1
        at += 1
    frame[t.DONE], frame[t.OUT], frame[t.PREFIXES] = at, used, prefixes
    return 0


@jit
def move(address: int) -> int:
    """Move all slots of a table to a larger one. At OUT there is room for one state."""
    frame = row_at(address, t.SIZE)
    width, slots = frame[t.WORDS], frame[t.SLOTS]
    old, table = words_at(frame[t.FROM_AT], MANY), words_at(frame[t.TABLE_AT], MANY)
    moved = words_at(frame[t.OUT_AT], width)
    for i in range(frame[t.COUNT]):
        here = i * (width + 1)
        if old[here + width] != 0:
            moved[0] = old[here] << LOW
            for w in range(1, width):
                moved[w] = old[here + w]
            there = slot_of(table, slots, moved, 0, width, hashed(moved, 0, width)) * (width + 1)
            for w in range(width + 1):
                table[there + w] = old[here + w]
    return 0


@jit
def lead(address: int) -> int:
    """Mark the sources of which some successor is a goal. SEEDED has the address of each owner's map: one word a slot."""
    frame = row_at(address, f.SIZE)
    lead_some(frame, frame[f.OUT_AT], frame[f.OUT], frame[f.OUT_PLACES_AT])
    lead_some(frame, frame[f.LATER_AT], frame[f.LATER], frame[f.LATER_PLACES_AT])
    return 0


@jit
def lead_some(frame: Numbers, source: Int, many: Int, places_at: Int) -> None:
    """Mark the sources of some successors."""
    words, places = words_at(source, MANY), row_at(places_at, MANY)
    marks = bytes_at(frame[f.MARKS_AT], MANY)
    for j in range(many):
        if is_goal(frame, words, j * frame[f.WORDS]):
            marks[places[j]] |= np.uint8(f.LEADS)


@jit
def is_goal(frame: Numbers, words: Words, at: Int) -> Truth:
    """Tell whether a visited state is in the map of goals."""
    width, owners = frame[f.WORDS], frame[f.OWNERS]
    tables, goals = row_at(frame[f.TABLES_AT], MANY), row_at(frame[f.SEEDED_AT], MANY)
    h = hashed(words, at, width)
    owner = owner_of(h, owners)
    slot = slot_of(words_at(tables[2 * owner], MANY), tables[2 * owner + 1], words, at, width, h)
    found: Truth = (words_at(goals[owner], MANY)[slot] >> (words[at] & LOW_BITS)) & ONE != 0
    return found


@jit
def keep_lost(address: int) -> int:
    """Of the successors by steps in a frame keep those that are not in the map of goals."""
    frame = row_at(address, f.SIZE)
    width = frame[f.WORDS]
    words = words_at(frame[f.OUT_AT], MANY)
    places, steps = row_at(frame[f.OUT_PLACES_AT], MANY), row_at(frame[f.OUT_STEPS_AT], MANY)
    at = 0
    for j in range(frame[f.OUT]):
        if not is_goal(frame, words, j * width):
            for w in range(width):
                words[at * width + w] = words[j * width + w]
            places[at], steps[at] = places[j], steps[j]
            at += 1
    frame[f.OUT] = at
    return 0


@jit
def reach(address: int) -> int:
    """Put states into the map of goals of one table (one word a slot, at OUT)."""
    frame = row_at(address, t.SIZE)
    width, slots = frame[t.WORDS], frame[t.SLOTS]
    words, table, goals = words_at(frame[t.FROM_AT], MANY), words_at(frame[t.TABLE_AT], MANY), words_at(frame[t.OUT_AT], MANY)
    for j in range(frame[t.COUNT]):
        slot = slot_of(table, slots, words, j * width, width, hashed(words, j * width, width))
        goals[slot] |= ONE << (words[j * width] & LOW_BITS)
    return 0


@jit
def count(address: int) -> int:
    """Count the states that are in a table."""
    frame = row_at(address, t.SIZE)
    width, slots = frame[t.WORDS], frame[t.SLOTS]
    words, table = words_at(frame[t.FROM_AT], MANY), words_at(frame[t.TABLE_AT], MANY)
    many = 0
    for j in range(frame[t.COUNT]):
        slot = slot_of(table, slots, words, j * width, width, hashed(words, j * width, width))
        many += 1 if (table[slot * (width + 1) + width] >> (words[j * width] & LOW_BITS)) & ONE != 0 else 0
    frame[t.DONE] = many
    return 0
