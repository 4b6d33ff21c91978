"""Expands states: each step's successors, those that must settle by way of a queue. Compiled by `compiling`."""

import numpy as np

from seqcheck.search.packed import frame as f
from seqcheck.search.packed import operations as o
from seqcheck.search.packed.arithmetic import MANY, run
from seqcheck.search.packed.frame import LANES
from seqcheck.search.packed.jit import (
    Int,
    Lanes,
    Numbers,
    Truth,
    bytes_at,
    jit,
    long_lanes_at,
    numbers_at,
    row_at,
    short_lanes_at,
    words_at,
)
from seqcheck.search.packed.sifting import begin_sifting, sift_all


@jit
def visit_short(address: int) -> int:
    """Expand the sources of a frame, or settle them if they are starts, with registers of 16 bits."""
    frame = row_at(address, f.SIZE)
    visit(frame, short_lanes_at(frame[f.REGISTERS_AT], MANY, LANES))
    return 0


@jit
def visit_long(address: int) -> int:
    """Expand the sources of a frame, or settle them if they are starts, with registers of 64 bits."""
    frame = row_at(address, f.SIZE)
    visit(frame, long_lanes_at(frame[f.REGISTERS_AT], MANY, LANES))
    return 0


@jit
def visit(frame: Numbers, registers: Lanes) -> None:
    """Deal with all sources; at the end what waits in the queue settles."""
    if frame[f.SIFTING] != 0:
        begin_sifting(frame)
    if frame[f.ARE_STARTS] != 0:
        start(frame, registers)
    else:
        expand(frame, registers)
    while frame[f.QUEUED] > 0:
        settle(frame, registers)
    if frame[f.SIFTING] != 0:
        sift_all(frame)


@jit
def expand(frame: Numbers, registers: Lanes) -> None:
    """Expand block after block."""
    code = numbers_at(frame[f.CODE_AT], MANY, f.WIDTH)
    places = row_at(frame[f.PLACES_AT], LANES)
    width = frame[f.WORDS]
    for base in range(0, frame[f.COUNT], LANES):
        lanes = min(LANES, frame[f.COUNT] - base)
        for i in range(LANES):
            places[i] = base + i
        k: Int = 0
        words = frame[f.SOURCE_AT] + 8 * width * base
        while True:
            k = run(frame, registers, k, words, (width << 32) + lanes)
            if code[k, 0] == o.EMIT:
                emit(frame, registers, k, base, lanes)
            elif code[k, 0] == o.TROUBLE:
                trouble(frame, registers[code[k, 2]], code[k, 3], base, lanes)
            else:
                break
            k += 1
        if frame[f.SIFTING] != 0:
            sift_all(frame)


@jit
def start(frame: Numbers, registers: Lanes) -> None:
    """Put starts into the queue, with all that `only` asks for taken as true before, and settle."""
    width, flags = frame[f.WORDS], frame[f.FLAG_WORDS]
    source = words_at(frame[f.SOURCE_AT], MANY)
    queue = words_at(frame[f.QUEUE_AT], MANY)
    steps = row_at(frame[f.STEPS_AT], MANY)
    places, taken = row_at(frame[f.QUEUED_PLACES_AT], 2 * LANES), row_at(frame[f.QUEUED_STEPS_AT], 2 * LANES)
    number = frame[f.TICK] + 1
    for i in range(frame[f.COUNT]):
        q = frame[f.QUEUED]
        for w in range(width):
            queue[q * (width + flags) + w] = source[i * width + w]
        for w in range(width, width + flags):
            queue[q * (width + flags) + w] = np.uint64(steps[(number * (width + flags) + w) * 3 + 1])
        places[q], taken[q] = i, number
        frame[f.QUEUED] = q + 1
        if q + 1 == LANES:
            settle(frame, registers)


@jit
def pick(frame: Numbers, a: Lanes, lanes: Int) -> Int:
    """List the lanes in which *a* holds; return how many they are."""
    picked = row_at(frame[f.PICKED_AT], LANES + 1)
    many = 0
    for i in range(lanes):
        picked[many] = i
        many += 1 if a[i] != 0 else 0
    return many


@jit
def emit(frame: Numbers, registers: Lanes, k: Int, base: Int, lanes: Int) -> None:
    """Give out where a step leads from the lanes that take it."""
    code = numbers_at(frame[f.CODE_AT], MANY, f.WIDTH)
    step = code[k, 3]
    if bytes_at(frame[f.KINDS_AT], MANY)[step] & f.ASKED == 0:
        return
    if code[k, 5] != 0 and emit_all_words_1(frame, step, base, lanes):
        return
    many = pick(frame, registers[code[k, 2]], lanes)
    if code[k, 4] != 0:
        enqueue(frame, registers, step, base, many)
    elif frame[f.WORDS] == 1:
        emit_words_1(frame, step, base, many)
    else:
        emit_words(frame, step, base, many)


@jit
def emit_all_words_1(frame: Numbers, step: Int, base: Int, lanes: Int) -> Truth:
    """Give out successors by a step that all lanes take. States are one word, none settles. Tell whether all have changed."""
    source, extra = words_at(frame[f.SOURCE_AT] + 8 * base, LANES), words_at(frame[f.EXTRA_AT], LANES)
    table = words_at(frame[f.STEPS_AT] + 24 * step * (1 + frame[f.FLAG_WORDS]), 3)
    at = frame[f.OUT]
    out = words_at(frame[f.OUT_AT] + 8 * at, LANES)
    kept, put, uses = table[0], table[1], np.uint64(0) - table[2]
    staying = 0
    for i in range(lanes):
        out[i] = (source[i] & kept) | put | (extra[i] & uses)
        staying += 1 if out[i] == source[i] else 0
    if staying != 0:
        return False
    marks, bits = bytes_at(frame[f.MARKS_AT] + base, LANES), marks_of(frame, step)
    for i in range(lanes):
        marks[i] |= bits
    if frame[f.SIFTING] == 0:
        places, steps = row_at(frame[f.OUT_PLACES_AT] + 8 * at, LANES), row_at(frame[f.OUT_STEPS_AT] + 8 * at, LANES)
        for i in range(lanes):
            places[i], steps[i] = base + i, step
    frame[f.OUT] = at + lanes
    frame[f.TRANSITIONS] += lanes
    return True


@jit
def emit_words_1(frame: Numbers, step: Int, base: Int, many: Int) -> None:
    """Give out successors of one word that need not settle."""
    picked = row_at(frame[f.PICKED_AT], LANES)
    source = words_at(frame[f.SOURCE_AT] + 8 * base, LANES)
    extra = words_at(frame[f.EXTRA_AT], LANES)
    table = words_at(frame[f.STEPS_AT] + 24 * step * (1 + frame[f.FLAG_WORDS]), 3)
    marks = bytes_at(frame[f.MARKS_AT] + base, LANES)
    kept, put, uses = table[0], table[1], table[2] != 0
    bits = marks_of(frame, step)
    at, traced = frame[f.OUT], frame[f.SIFTING] == 0
    out = words_at(frame[f.OUT_AT], MANY)
    places, steps = row_at(frame[f.OUT_PLACES_AT], MANY), row_at(frame[f.OUT_STEPS_AT], MANY)
    for j in range(many):
        i = picked[j]
        fresh = (source[i] & kept) | put
        if uses:
            fresh |= extra[i]
        moved = fresh != source[i]
        out[at] = fresh
        if traced:
            places[at] = base + i
            steps[at] = step
        at += 1 if moved else 0
        marks[i] |= bits if moved else np.uint8(0)
    frame[f.TRANSITIONS] += at - frame[f.OUT]
    frame[f.OUT] = at


@jit
def emit_words(frame: Numbers, step: Int, base: Int, many: Int) -> None:
    """Give out successors of several words that need not settle."""
    width, full = frame[f.WORDS], frame[f.WORDS] + frame[f.FLAG_WORDS]
    picked = row_at(frame[f.PICKED_AT], LANES)
    source = words_at(frame[f.SOURCE_AT] + 8 * base * width, MANY)
    extra = words_at(frame[f.EXTRA_AT], MANY)
    table = words_at(frame[f.STEPS_AT] + 24 * step * full, MANY)
    bits = marks_of(frame, step)
    marks = bytes_at(frame[f.MARKS_AT] + base, LANES)
    at = frame[f.OUT]
    out = words_at(frame[f.OUT_AT], MANY)
    places, steps = row_at(frame[f.OUT_PLACES_AT], MANY), row_at(frame[f.OUT_STEPS_AT], MANY)
    for j in range(many):
        i = picked[j]
        moved = False
        for w in range(width):
            fresh = (source[i * width + w] & table[3 * w]) | table[3 * w + 1]
            if table[3 * w + 2] != 0:
                fresh |= extra[w * LANES + i]
            moved |= fresh != source[i * width + w]
            out[at * width + w] = fresh
        places[at] = base + i
        steps[at] = step
        if moved:
            at += 1
            marks[i] |= bits
    frame[f.TRANSITIONS] += at - frame[f.OUT]
    frame[f.OUT] = at


@jit
def marks_of(frame: Numbers, step: Int) -> np.uint8:
    """Return the marks of a source from which a step leads on."""
    is_plant = bytes_at(frame[f.KINDS_AT], MANY)[step] & f.IS_PLANT
    return np.uint8(f.MOVED | f.PLANT_MOVED if is_plant else f.MOVED)


@jit
def enqueue(frame: Numbers, registers: Lanes, step: Int, base: Int, many: Int) -> None:
    """Put successors into the queue; settle when a block is full."""
    width, full = frame[f.WORDS], frame[f.WORDS] + frame[f.FLAG_WORDS]
    picked = row_at(frame[f.PICKED_AT], LANES)
    source = words_at(frame[f.SOURCE_AT] + 8 * base * width, MANY)
    extra = words_at(frame[f.EXTRA_AT], MANY)
    table = words_at(frame[f.STEPS_AT] + 24 * step * full, MANY)
    queue = words_at(frame[f.QUEUE_AT], MANY)
    places, steps = row_at(frame[f.QUEUED_PLACES_AT], 2 * LANES), row_at(frame[f.QUEUED_STEPS_AT], 2 * LANES)
    for j in range(many):
        i, q = picked[j], frame[f.QUEUED]
        for w in range(full):
            fresh = table[3 * w + 1]
            if w < width:
                fresh |= source[i * width + w] & table[3 * w]
            if table[3 * w + 2] != 0:
                fresh |= extra[w * LANES + i]
            queue[q * full + w] = fresh
        places[q], steps[q] = base + i, step
        frame[f.QUEUED] = q + 1
    if frame[f.QUEUED] >= LANES:
        settle(frame, registers)


@jit
def trouble(frame: Numbers, fail: Lanes, step: Int, base: Int, lanes: Int) -> None:
    """Note the lanes in which a step itself fails."""
    if bytes_at(frame[f.KINDS_AT], MANY)[step] & f.ASKED != 0:
        for i in range(lanes):
            if fail[i] != 0:
                failed(frame, np.int64(fail[i]), base + i, step)


@jit
def failed(frame: Numbers, site: Int, place: Int, step: Int) -> None:
    """Note that a step taken from a source fails at a site."""
    manner = max(f.BY_STEP, step - frame[f.TICK] + 1)
    troubles = numbers_at(frame[f.TROUBLES_AT], MANY, 2)
    at = site * f.MANNERS + manner
    if troubles[at, 0] < 0:
        troubles[at, 0] = frame[f.POSITION] + place
        troubles[at, 1] = step
    is_plant = bytes_at(frame[f.KINDS_AT], MANY)[step] & f.IS_PLANT
    bytes_at(frame[f.MARKS_AT], MANY)[place] |= np.uint8(f.FAILED | f.JAMMED if is_plant else f.FAILED)


@jit
def settle(frame: Numbers, registers: Lanes) -> None:
    """Settle up to a block of the queue and give it out."""
    full = frame[f.WORDS] + frame[f.FLAG_WORDS]
    lanes = min(LANES, frame[f.QUEUED])
    shape = (full << 32) + lanes
    fail, changed, has_counting = registers[f.FAIL], registers[f.CHANGED], registers[f.HAS_COUNTING]
    for i in range(LANES):
        fail[i] = 0 if i < lanes else f.IS_IDLE
    run(frame, registers, frame[f.PRE], frame[f.QUEUE_AT], shape)
    for _ in range(frame[f.FEW_ROUNDS]):
        run(frame, registers, frame[f.ROUND], frame[f.QUEUE_AT], shape)
        moving = 0
        for i in range(LANES):
            moving += 1 if (fail[i] == 0) & ((changed[i] | has_counting[i]) != 0) else 0
        stop_counting(frame, registers)
        if moving == 0:
            break
    for i in range(lanes):
        fail[i] = f.IS_SLOW if fail[i] == 0 and changed[i] != 0 else fail[i]
    run(frame, registers, frame[f.POST], frame[f.QUEUE_AT], shape)
    for i in range(lanes):
        if fail[i] == f.IS_SLOW:
            give_slow(frame, i)
        else:
            give_settled(frame, np.int64(fail[i]), i)
    shift_queue(frame, lanes)


@jit
def stop_counting(frame: Numbers, registers: Lanes) -> None:
    """Timers count the tick in the first round only."""
    for r in range(frame[f.COUNTING]):
        counting = registers[frame[f.FIRST_COUNTING] + r]
        for i in range(LANES):
            counting[i] = 0
    has_counting = registers[f.HAS_COUNTING]
    for i in range(LANES):
        has_counting[i] = 0


@jit
def give_slow(frame: Numbers, lane: Int) -> None:
    """Give out a state that has not come to rest, as it was before settling."""
    full, at = frame[f.WORDS] + frame[f.FLAG_WORDS], frame[f.SLOW]
    queue, slow = words_at(frame[f.QUEUE_AT], MANY), words_at(frame[f.SLOW_AT], MANY)
    for w in range(full):
        slow[at * full + w] = queue[lane * full + w]
    row_at(frame[f.SLOW_PLACES_AT], MANY)[at] = row_at(frame[f.QUEUED_PLACES_AT], LANES)[lane]
    row_at(frame[f.SLOW_STEPS_AT], MANY)[at] = row_at(frame[f.QUEUED_STEPS_AT], LANES)[lane]
    frame[f.SLOW] = at + 1


@jit
def give_settled(frame: Numbers, site: Int, lane: Int) -> None:
    """Give out a settled state if it differs from its source, or note the failure."""
    width = frame[f.WORDS]
    place, step = row_at(frame[f.QUEUED_PLACES_AT], LANES)[lane], row_at(frame[f.QUEUED_STEPS_AT], LANES)[lane]
    if site != 0:
        failed(frame, site, place, step)
        return
    source = words_at(frame[f.SOURCE_AT] + 8 * place * width, MANY)
    extra = words_at(frame[f.EXTRA_AT], MANY)
    moved = step > frame[f.TICK]
    for w in range(width):
        moved |= extra[w * LANES + lane] != source[w]
    if not moved:
        return
    which = f.LATER_AT if step == frame[f.TICK] else f.OUT_AT
    at = frame[which + f.MANY_OF]
    out = words_at(frame[which], MANY)
    for w in range(width):
        out[at * width + w] = extra[w * LANES + lane]
    row_at(frame[which + 1], MANY)[at] = place
    row_at(frame[which + 2], MANY)[at] = step
    frame[which + f.MANY_OF] = at + 1
    frame[f.TRANSITIONS] += 1
    bytes_at(frame[f.MARKS_AT], MANY)[place] |= marks_of(frame, step)


@jit
def shift_queue(frame: Numbers, many: Int) -> None:
    """Take the first states out of the queue."""
    full, left = frame[f.WORDS] + frame[f.FLAG_WORDS], frame[f.QUEUED] - many
    queue = words_at(frame[f.QUEUE_AT], MANY)
    places, steps = row_at(frame[f.QUEUED_PLACES_AT], 2 * LANES), row_at(frame[f.QUEUED_STEPS_AT], 2 * LANES)
    for j in range(left):
        for w in range(full):
            queue[j * full + w] = queue[(many + j) * full + w]
        places[j], steps[j] = places[many + j], steps[many + j]
    frame[f.QUEUED] = left
