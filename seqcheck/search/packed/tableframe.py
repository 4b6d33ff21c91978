"""Where each argument of the compiled functions on one table stands. `…_AT` is the address of an array."""

(
    WORDS,  # words in a state
    FROM_AT,  # the states to put in, or the table to move
    COUNT,  # how many; or the slots of that table
    DONE,  # how many of them were put in
    TABLE_AT,
    SLOTS,
    PREFIXES,  # slots in use
    MOST_PREFIXES,  # how many may be
    OUT_AT,  # a list of the states that are new, or the map of goals
    OUT,  # states in the list
    ROOM,  # how many it has room for
    SIZE,
) = range(12)

MAP_BITS = 20
"""Bits of a hash by which different ones are told apart where they are only counted."""
