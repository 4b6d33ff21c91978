"""The interpreter: runs instructions on LANES states at once. One long function, for the compiler makes one loop of it.

Compiled by `compiling`, which is the only one to import it.
"""
# ruff: noqa: PLR0912, PLR0915, C901 - one branch for each instruction, written for the vectoriser

import numpy as np

from seqcheck.search.packed import operations as o
from seqcheck.search.packed.frame import (
    CODE_AT,
    ENTERED_AT,
    ENTERED_LEFT_AT,
    EXTRA_AT,
    FAIL,
    FOUND_AT,
    LANES,
    MARKS_AT,
    NOTES_AT,
    PLACES_AT,
    POSITION,
    QUEUED_PLACES_AT,
    QUEUED_STEPS_AT,
    TICK,
    WIDTH,
)
from seqcheck.search.packed.jit import Int, Lanes, Numbers, Truth, bytes_at, jit, numbers_at, words_at

MANY = 1 << 40
"""A length for arrays whose length does not matter."""


@jit
def run(frame: Numbers, registers: Lanes, start: Int, words: Int, shape: Int) -> Int:
    """Run instructions from *start* on the states at address *words*; return the place of the first that is no arithmetic.

    *shape*: 2^32 times the words from one state to the next, plus the number of states (at most LANES; there must be
    memory behind them for LANES).
    """
    code = numbers_at(frame[CODE_AT], MANY, WIDTH)
    stride, lanes = shape >> 32, shape & 0xFFFFFFFF
    k = start
    while True:
        op, n = code[k, 0], code[k, 5]
        d, a, b, c = registers[code[k, 1]], registers[code[k, 2]], registers[code[k, 3]], registers[code[k, 4]]
        if op == o.UNPACK:
            source = words_at(words + 8 * code[k, 2], MANY)
            shift, mask = np.uint64(code[k, 3]), np.uint64(code[k, 4])
            if stride == 1:
                for i in range(LANES):
                    d[i] = np.int64((source[i] >> shift) & mask) + n
            else:
                for i in range(LANES):
                    d[i] = np.int64((source[i * stride] >> shift) & mask) + n
        elif op == o.COPY:
            for i in range(LANES):
                d[i] = a[i]
        elif op == o.IS_ZERO:
            for i in range(LANES):
                d[i] = a[i] == 0
        elif op == o.IS_SOME:
            for i in range(LANES):
                d[i] = a[i] != 0
        elif op == o.NEGATE:
            for i in range(LANES):
                d[i] = -a[i]
        elif op == o.ADD:
            for i in range(LANES):
                d[i] = a[i] + b[i]
        elif op == o.SUBTRACT:
            for i in range(LANES):
                d[i] = a[i] - b[i]
        elif op == o.MULTIPLY:
            for i in range(LANES):
                d[i] = a[i] * b[i]
        elif op == o.DIVIDE:
            for i in range(LANES):
                d[i] = quotient(np.int64(a[i]), np.int64(b[i]))
        elif op == o.MODULO:
            for i in range(LANES):
                d[i] = a[i] - quotient(np.int64(a[i]), np.int64(b[i])) * b[i]
        elif op == o.RAISE:
            for i in range(LANES):
                d[i] = power(np.int64(a[i]), np.int64(b[i]))
        elif op == o.LESS:
            for i in range(LANES):
                d[i] = a[i] < b[i]
        elif op == o.AT_MOST:
            for i in range(LANES):
                d[i] = a[i] <= b[i]
        elif op == o.EQUAL:
            for i in range(LANES):
                d[i] = a[i] == b[i]
        elif op == o.UNEQUAL:
            for i in range(LANES):
                d[i] = a[i] != b[i]
        elif op == o.BOTH:
            for i in range(LANES):
                d[i] = a[i] & b[i]
        elif op == o.EITHER:
            for i in range(LANES):
                d[i] = a[i] | b[i]
        elif op == o.BUT_NOT:
            for i in range(LANES):
                d[i] = a[i] & ~b[i]
        elif op == o.CHOOSE:
            for i in range(LANES):
                d[i] = c[i] ^ ((b[i] ^ c[i]) & -np.int64(a[i] != 0))
        elif op == o.LEAST:
            for i in range(LANES):
                d[i] = min(a[i], b[i])
        elif op == o.MOST:
            for i in range(LANES):
                d[i] = max(a[i], b[i])
        elif op == o.SIZE_OF:
            for i in range(LANES):
                d[i] = abs(a[i])
        elif op == o.ADD_N:
            for i in range(LANES):
                d[i] = a[i] + n
        elif op == o.EQUAL_N:
            for i in range(LANES):
                d[i] = a[i] == n
        elif op == o.UNEQUAL_N:
            for i in range(LANES):
                d[i] = a[i] != n
        elif op == o.LESS_N:
            for i in range(LANES):
                d[i] = a[i] < n
        elif op == o.MORE_N:
            for i in range(LANES):
                d[i] = a[i] > n
        elif op == o.LEAST_N:
            for i in range(LANES):
                d[i] = min(np.int64(a[i]), n)
        elif op == o.MOST_N:
            for i in range(LANES):
                d[i] = max(np.int64(a[i]), n)
        elif op == o.WRAP_N:
            for i in range(LANES):
                x = a[i]
                d[i] = x - n if x >= n else x
        elif op == o.MOVE_IF:
            for i in range(LANES):
                d[i] = d[i] ^ ((b[i] ^ d[i]) & -np.int64(a[i] != 0))
        elif op == o.FAIL_IF:
            for i in range(LANES):
                x = d[i]
                d[i] = n if (x == 0) & (a[i] != 0) else x
        elif op == o.NOTE:
            note(frame, a, registers[FAIL], n)
        elif op == o.FIRST:
            first(frame, a, n, code[k, 3], lanes)
        elif op == o.FIRST_SETTLED:
            first_settled(frame, a, registers[FAIL], n, lanes)
        elif op == o.ENTER:
            enter(frame, a, code[k, 3], code[k, 4], n + (lanes << 40))
        elif op == o.PACK:
            into = words_at(frame[EXTRA_AT] + 8 * LANES * code[k, 1], LANES)
            shift = np.uint64(code[k, 3])
            if code[k, 4] != 0:
                for i in range(LANES):
                    into[i] = np.uint64(a[i] - n) << shift
            else:
                for i in range(LANES):
                    into[i] |= np.uint64(a[i] - n) << shift
        elif op == o.MARK:
            mark(frame, a, n, lanes)
        elif op == o.SKIP_UNLESS:
            if not some(a):
                k = n
                continue
        elif op == o.SKIP_FOUND:
            if numbers_at(frame[FOUND_AT], MANY, 2)[code[k, 2], 0] >= 0:
                k = n
                continue
        elif op == o.SKIP_NOTED:
            if bytes_at(frame[NOTES_AT], MANY)[code[k, 2]] != 0:
                k = n
                continue
        else:
            return k
        k += 1


@jit
def quotient(a: Int, b: Int) -> Int:
    """Divide towards zero; 0 where there is no quotient."""
    if b == 0:
        return 0
    if a < 0:
        return -a // -b if b < 0 else -(-a // b)
    return -(a // -b) if b < 0 else a // b


@jit
def power(a: Int, b: Int) -> Int:
    """Raise to a power; 0 where there is none. Exact as long as the result fits."""
    result: Int = 1 if b >= 0 else 0
    while b > 0:
        if b & 1:
            result *= a
        a *= a
        b >>= 1
    return result


@jit
def some(a: Lanes) -> Truth:
    """Tell whether any lane has something."""
    together = a[0]
    for i in range(LANES):
        together |= a[i]
    found: Truth = together != 0
    return found


@jit
def note(frame: Numbers, a: Lanes, fail: Lanes, number: Int) -> None:
    """Take a note if *a* holds in a lane that has not failed."""
    notes = bytes_at(frame[NOTES_AT], MANY)
    if notes[number] == 0:
        for i in range(LANES):
            if (a[i] != 0) & (fail[i] == 0):
                notes[number] = 1


@jit
def first(frame: Numbers, a: Lanes, number: Int, step: Int, lanes: Int) -> None:
    """Keep the first source in which *a* holds."""
    found = numbers_at(frame[FOUND_AT], MANY, 2)
    if found[number, 0] < 0 and some(a):
        places = numbers_at(frame[PLACES_AT], LANES, 1)
        for i in range(lanes):
            if a[i] != 0:
                found[number, 0] = frame[POSITION] + places[i, 0]
                found[number, 1] = step
                return


@jit
def first_settled(frame: Numbers, a: Lanes, fail: Lanes, number: Int, lanes: Int) -> None:
    """Keep the first source from which a step, or (one number on) a tick, leads where *a* holds."""
    found = numbers_at(frame[FOUND_AT], MANY, 2)
    if (found[number, 0] < 0 or found[number + 1, 0] < 0) and some(a):
        places = numbers_at(frame[QUEUED_PLACES_AT], LANES, 1)
        steps = numbers_at(frame[QUEUED_STEPS_AT], LANES, 1)
        for i in range(lanes):
            if a[i] != 0 and fail[i] == 0:
                here = number + (1 if steps[i, 0] == frame[TICK] else 0)
                if found[here, 0] < 0:
                    found[here, 0] = frame[POSITION] + places[i, 0]
                    found[here, 1] = steps[i, 0]


@jit
def enter(frame: Numbers, a: Lanes, variable: Int, lowest: Int, lanes_and_first: Int) -> None:
    """Note the values of a variable until all have been met."""
    left = numbers_at(frame[ENTERED_LEFT_AT], MANY, 1)
    if left[variable, 0] > 0:
        first_byte = (lanes_and_first & ((1 << 40) - 1)) - lowest
        entered = bytes_at(frame[ENTERED_AT], MANY)
        for i in range(lanes_and_first >> 40):
            if entered[first_byte + a[i]] == 0:
                entered[first_byte + a[i]] = 1
                left[variable, 0] -= 1


@jit
def mark(frame: Numbers, a: Lanes, bits: Int, lanes: Int) -> None:
    """Mark the sources in which *a* holds."""
    marks = bytes_at(frame[MARKS_AT], MANY)
    places = numbers_at(frame[PLACES_AT], LANES, 1)
    for i in range(lanes):
        if a[i] != 0:
            marks[places[i, 0]] |= np.uint8(bits)
