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
LOW, HALF, ONE = np.uint64(6), np.uint64(32), np.uint64(1)
LOW_BITS, HALF_BITS = np.uint64(63), np.uint64(0xFFFFFFFF)
SLOT, NEAR = 16, 4
"""Bytes in a slot where a state is one word, and how many come from memory at once: a search begins with the first of them."""


@jit
def hashed(words: Words, at: Int, width: Int) -> np.uint64:
    """Return the hash of the prefix of a state: its upper half tells the slot, the lower one the owner."""
    if width == 1:
        return hashed_1(words[at])
    h = (words[at] >> LOW) * ODD
    for w in range(1, width):
        h = ((h ^ (h >> HALF)) + words[at + w]) * ODD
    h = (h ^ (h >> HALF)) * OTHER
    found: np.uint64 = h ^ (h >> HALF)
    return found


@jit
def hashed_1(state: np.uint64) -> np.uint64:
    """Return the hash of the prefix of a state of one word."""
    h = (state >> LOW) * ODD
    h = (h ^ (h >> HALF)) * OTHER
    found: np.uint64 = h ^ (h >> HALF)
    return found


@jit
def owner_of(h: np.uint64, owners: Int) -> Int:
    """Return the owner of a prefix with a hash."""
    return np.int64(((h & HALF_BITS) * np.uint64(owners)) >> HALF)


@jit
def first_slot(h: np.uint64, slots: Int, width: Int) -> Int:
    """Return the slot with which the search for a prefix begins. *slots* is a multiple of NEAR."""
    near: Int = NEAR if width == 1 else 1
    return np.int64(((h >> HALF) * np.uint64(slots // near)) >> HALF) * near


@jit
def slot_of(table: Words, slots: Int, words: Words, at: Int, shape: Int, h: np.uint64) -> Int:
    """Return the slot of the prefix of a state, or the empty one where it would stand. *shape*: words in a state."""
    slot = first_slot(h, slots, shape)
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
def insert(address: int) -> int:
    """Put states into a table and those that are new into a list, until the table or the list is full."""
    frame = row_at(address, t.SIZE)
    if frame[t.WORDS] == 1:
        insert_words_1(frame)
    else:
        insert_words(frame)
    return 0


@jit
def insert_words(frame: Numbers) -> None:
    """Put states of several words in."""
    width, slots = frame[t.WORDS], frame[t.SLOTS]
    words, table, out = words_at(frame[t.FROM_AT], MANY), words_at(frame[t.TABLE_AT], MANY), words_at(frame[t.OUT_AT], MANY)
    at, used, prefixes = frame[t.DONE], frame[t.OUT], frame[t.PREFIXES]
    while at < frame[t.COUNT] and used < frame[t.ROOM] and prefixes < frame[t.MOST_PREFIXES]:
        if at + AHEAD < frame[t.COUNT]:
            ahead = hashed(words, (at + AHEAD) * width, width)
            prefetch(frame[t.TABLE_AT] + 8 * (width + 1) * first_slot(ahead, slots, width))
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


@jit
def insert_words_1(frame: Numbers) -> None:
    """Put states of one word in. Whatever can be told without a branch is, for no processor could foresee it."""
    source, table, slots, out = frame[t.FROM_AT], frame[t.TABLE_AT], frame[t.SLOTS], frame[t.OUT_AT]
    at: Int = source + 8 * frame[t.DONE]
    end = source + 8 * frame[t.COUNT]
    used: Int = out + 8 * frame[t.OUT]
    room = out + 8 * frame[t.ROOM]
    prefixes = frame[t.PREFIXES]
    while at < end and used < room and prefixes < frame[t.MOST_PREFIXES]:
        if at + 8 * AHEAD < end:
            prefetch(table + SLOT * first_slot(hashed_1(word(at + 8 * AHEAD)), slots, 1))
        state = word(at)
        prefix, bit = state >> LOW, ONE << (state & LOW_BITS)
        here = table + SLOT * first_slot(hashed_1(state), slots, 1)
        found = here + SLOT * place_in_line(here, prefix)
        if found == here + NEAR * SLOT:
            found = beyond(table, slots, here, prefix)
        before = word(found + 8)
        put_word(found, prefix)
        put_word(found + 8, before | bit)
        put_word(used, state)
        prefixes += 1 if before == 0 else 0
        used += 8 if before & bit == 0 else 0
        at += 8
    frame[t.DONE], frame[t.OUT], frame[t.PREFIXES] = (at - source) // 8, (used - out) // 8, prefixes


@jit
def place_in_line(here: Int, prefix: np.uint64) -> Int:
    """Return which of NEAR slots has a prefix, or is the first without any; NEAR if none of them."""
    place: Int = 3 if (word(here + 48) == prefix) | (word(here + 56) == 0) else NEAR
    place = 2 if (word(here + 32) == prefix) | (word(here + 40) == 0) else place
    place = 1 if (word(here + 16) == prefix) | (word(here + 24) == 0) else place
    return 0 if (word(here) == prefix) | (word(here + 8) == 0) else place


@jit
def beyond(table: Int, slots: Int, here: Int, prefix: np.uint64) -> Int:
    """Return the address of the slot of a prefix that is not among the first ones, or of the empty one where it would stand."""
    end, here = table + SLOT * slots, here + (NEAR - 1) * SLOT
    while True:
        here += SLOT
        if here == end:
            here = table
        if (word(here) == prefix) | (word(here + 8) == 0):
            return here


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


@jit
def different(address: int) -> int:
    """Count the different ones of some hashes by their upper bits. At OUT there is a map of these, all 0 before and after."""
    frame = row_at(address, t.SIZE)
    hashes, seen = words_at(frame[t.FROM_AT], MANY), words_at(frame[t.OUT_AT], MANY)
    many: Int = 0
    for j in range(frame[t.COUNT]):
        where = hashes[j] >> np.uint64(64 - t.MAP_BITS)
        before = seen[np.int64(where >> LOW)]
        many += 1 - np.int64((before >> (where & LOW_BITS)) & ONE)
        seen[np.int64(where >> LOW)] = before | ONE << (where & LOW_BITS)
    for w in range(1 << (t.MAP_BITS - 6)):
        seen[w] = np.uint64(0)
    frame[t.DONE] = many
    return 0
