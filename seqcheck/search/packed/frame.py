"""Where each argument of the compiled functions stands: they take the address of one array of 64-bit integers, a frame.

What is named `…_AT` is the address of an array, everything else is a number.
"""

LANES = 256
"""States that one instruction works on."""

GROUP, RECENT = 256, 1 << 13
"""States looked up together, and how many are remembered to have been sifted; powers of 2."""

WIDTH = 6
"""Numbers in an instruction: operation, d, a, b, c, and a number of its own."""

(
    CODE_AT,  # instructions, WIDTH numbers each
    REGISTERS_AT,  # LANES values each
    WORDS,  # 64-bit words in a state
    FLAG_WORDS,  # words of flags that follow a state in the queue
    SOURCE_AT,  # the states to expand
    COUNT,  # how many
    ARE_STARTS,  # they are starts, only to be settled
    POSITION,  # the position of the first
    STEPS_AT,  # for each step and word: bits kept, bits set, whether extra bits are put in
    KINDS_AT,  # for each step: is it asked for (1), is it a plant rule's (2)
    TICK,  # the number that stands for a tick; one more stands for a start
    EXTRA_AT,  # words under construction, LANES for each word of state and flags
    PICKED_AT,  # places of the lanes that take a step
    PLACES_AT,  # for each lane the place of its source in the chunk
    QUEUE_AT,  # states that must settle, with their flags
    QUEUED_PLACES_AT,
    QUEUED_STEPS_AT,
    QUEUED,  # how many
    PRE,  # where the settling program begins
    ROUND,  # where one round of it begins
    POST,  # where its end begins
    FIRST_COUNTING,  # registers that say which timers count the tick
    COUNTING,  # how many
    FEW_ROUNDS,  # rounds after which a lane is slow
    OUT_AT,  # successors by a step
    OUT_PLACES_AT,
    OUT_STEPS_AT,
    OUT,  # how many
    LATER_AT,  # successors by a tick
    LATER_PLACES_AT,
    LATER_STEPS_AT,
    LATER,  # how many
    SLOW_AT,  # states in the queue that did not come to rest soon
    SLOW_PLACES_AT,
    SLOW_STEPS_AT,
    SLOW,  # how many
    MARKS_AT,  # for each source what became of it: see below
    FOUND_AT,  # for each thing looked for: position and step of the first
    NOTES_AT,  # for each thing noticed while settling: 1
    TROUBLES_AT,  # for each site and manner: position and step of the first failure
    ENTERED_AT,  # a byte for each value of each variable
    ENTERED_LEFT_AT,  # for each variable how many values were not entered yet
    TRANSITIONS,
    TABLES_AT,  # for each owner: address and slots of the table of visited states
    SEEDED_AT,  # likewise of the states that wait for the next layer, or 0
    OWNERS,
    SIFTED_AT,  # for each owner the address of states not seen, from steps
    SIFTED_LATER_AT,  # likewise from ticks
    SIFTED_COUNTS_AT,  # for each owner how many of both
    SIFTING,  # successors are sifted block by block
    SIDE,  # which half of the two following arrays is for the group looked up: its place; the other is for the next one
    HASHES_AT,  # hashes of a group of states
    SLOTS_AT,  # addresses of their first slots
    LEFT_AT,  # which of them are to be looked for beyond their first slots
    FRESH_AT,  # which of them are not visited
    RECENT_AT,  # by hash: the place of a state among those sifted last
    BASES_AT,  # for each owner the address of a number for each slot: that of its first state
    NUMBERS_AT,  # for each source its number
    CURSORS_AT,  # for each state how many sources lead to it; then where in the list of them the next goes
    LINKS_AT,  # for each state those sources, one after the other (32 bits)
    RANKS_AT,  # for each state its number of transitions to a goal (32 bits)
    NEAREST_AT,  # the states that have a rank, nearest first (32 bits)
    HEAD,  # how many of them were dealt with
    TAIL,  # how many there are
    SIZE,
) = range(65)

MANY_OF = 3
"""How far behind the address of an output its count stands."""

MOVED, FAILED, JAMMED, PLANT_MOVED, BLOCKED, LEADS = 1, 2, 4, 8, 16, 32
"""Marks of a source."""

ASKED, IS_PLANT = 1, 2
"""Kinds of a step."""

BY_STEP, BY_TICK, BY_START, MANNERS = 0, 1, 2, 3
"""In what manner something failed."""

FAIL, CHANGED, HAS_COUNTING, PINNED = 0, 1, 2, 3
"""Registers with a fixed meaning: the site that failed (0: none), did the round change anything, does a timer count."""

IS_IDLE, IS_SLOW = -1, -2
"""What FAIL has in a lane without a state, and in one that does not come to rest soon."""
