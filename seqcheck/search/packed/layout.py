"""Where each variable's value stands in the words of a packed state, and how states are packed and unpacked."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from seqcheck.model.model import Model, State
from seqcheck.search.engine import Unfit

WORD = 64
MOST_BITS = 62
LOW_BITS = 6
"""The lowest bits of the first word, in which the states of one prefix differ."""

Packed = NDArray[np.uint64]
"""Packed states one after the other: a row of words for each."""


class Field(Struct, frozen=True, kw_only=True):
    """Where a variable's value less its lowest stands. *bits* may be 0: the variable has one value only."""

    word: int
    shift: int
    bits: int
    lowest: int

    @property
    def mask(self) -> int:
        """Ones in as many places as the field has."""
        return (1 << self.bits) - 1


class Layout(Struct, frozen=True, kw_only=True):
    """The fields of a model's variables, in the model's order. *first*: those that were put into the lowest bits."""

    fields: tuple[Field, ...]
    words: int
    first: tuple[int, ...] = ()

    def pack(self, columns: Sequence[NDArray[np.int64]], many: int) -> Packed:
        """Pack *many* states given as one array of values for each variable."""
        packed = np.zeros((many, self.words), np.uint64)
        for field, column in zip(self.fields, columns, strict=True):
            packed[:, field.word] |= (column - field.lowest).astype(np.uint64) << np.uint64(field.shift)
        return packed

    def column(self, packed: Packed, place: int) -> NDArray[np.int64]:
        """Return the values of one variable in some packed states."""
        field = self.fields[place]
        values = (packed[:, field.word] >> np.uint64(field.shift)) & np.uint64(field.mask)
        return values.astype(np.int64) + field.lowest

    def pack_one(self, state: State) -> Packed:
        """Pack one state."""
        packed: Packed = self.pack([np.array([value], np.int64) for value in state], 1)[0]
        return packed

    def unpack(self, words: Sequence[int]) -> State:
        """Return the state that some words stand for."""
        return tuple(((int(words[f.word]) >> f.shift) & f.mask) + f.lowest for f in self.fields)


def laid_out(model: Model, first: Sequence[int] = ()) -> Layout:
    """Lay out a model's variables, those of *first* in the lowest bits; no field straddles two words. Raises `Unfit`."""
    order = [*first, *(place for place in range(len(model.variables)) if place not in set(first))]
    used = [0]
    placed: dict[int, Field] = {}
    for place in order:
        variable = model.variables[place]
        bits = (variable.highest - variable.lowest).bit_length()
        if bits > MOST_BITS:
            raise Unfit(f"{variable.name} has more than {MOST_BITS} bits")
        word = next((w for w, taken in enumerate(used) if taken + bits <= WORD), len(used))
        if word == len(used):
            used.append(0)
        placed[place] = Field(word=word, shift=used[word] % WORD, bits=bits, lowest=variable.lowest)
        used[word] += bits
    return Layout(fields=tuple(placed[place] for place in range(len(order))), words=len(used), first=tuple(first))
