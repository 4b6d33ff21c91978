"""Whole numbers as bits of a circuit: two's complement, lowest bit first, as wide as their bounds ask for."""

from collections.abc import Sequence
from itertools import product

from msgspec import Struct

from seqcheck.proof.circuits import FALSE, TRUE, Circuits, Literal, inverse

WIDEST = 256
"""Bits of a number beyond which it is not encoded."""


class TooWideError(Exception):
    """Some expression can have values too large to be encoded."""


class Number(Struct, frozen=True):
    """A number from *lowest* to *highest*; the last of its bits is that of the sign."""

    bits: tuple[Literal, ...]
    lowest: int
    highest: int

    def bit(self, place: int) -> Literal:
        """Return a bit, that of the sign beyond the last."""
        return self.bits[place] if place < len(self.bits) else self.bits[-1]


def width(lowest: int, highest: int) -> int:
    """Return how many bits hold all values from *lowest* to *highest*, the sign included."""
    wide = max((-lowest - 1).bit_length() if lowest < 0 else 0, highest.bit_length() if highest > 0 else 0) + 1
    if wide > WIDEST:
        raise TooWideError
    return wide


def constant(value: int) -> Number:
    """Return a number that never changes."""
    bits = tuple(TRUE if value >> place & 1 else FALSE for place in range(width(value, value)))
    return Number(bits, value, value)


def truth(literal: Literal) -> Number:
    """Return 1 if a literal is true, else 0."""
    if literal in {TRUE, FALSE}:
        return constant(int(literal == TRUE))
    return Number((literal, FALSE), 0, 1)


def within(bits: Sequence[Literal], lowest: int, highest: int) -> Number:
    """Return a number of which it is known that it lies between bounds."""
    wide = width(lowest, highest)
    return Number(tuple(bits[place] if place < len(bits) else bits[-1] for place in range(wide)), lowest, highest)


class Arithmetic:
    """Builds the circuits of whole numbers."""

    def __init__(self, circuits: Circuits) -> None:
        self._c = circuits

    def plus(self, a: Number, b: Number) -> Number:
        """Add."""
        return self._sum(a, b, FALSE, (a.lowest + b.lowest, a.highest + b.highest))

    def minus(self, a: Number, b: Number) -> Number:
        """Subtract."""
        inverted = Number(tuple(inverse(bit) for bit in b.bits), -b.highest - 1, -b.lowest - 1)
        return self._sum(a, inverted, TRUE, (a.lowest - b.highest, a.highest - b.lowest))

    def _sum(self, a: Number, b: Number, carry: Literal, bounds: tuple[int, int]) -> Number:
        c, bits = self._c, []
        for place in range(width(*bounds)):
            x, y = a.bit(place), b.bit(place)
            differ = c.differ(x, y)
            bits.append(c.differ(differ, carry))
            carry = c.choose(differ, carry, x)
        return within(bits, *bounds)

    def negative(self, a: Number) -> Number:
        """Return -a."""
        return self.minus(constant(0), a)

    def magnitude(self, a: Number) -> Number:
        """Return the absolute value."""
        chosen = self.choose(self.is_negative(a), self.negative(a), a)
        lowest = 0 if a.lowest <= 0 <= a.highest else min(abs(a.lowest), abs(a.highest))
        return within(chosen.bits, lowest, max(abs(a.lowest), abs(a.highest)))

    def times(self, a: Number, b: Number) -> Number:
        """Multiply."""
        ends = [x * y for x, y in product((a.lowest, a.highest), (b.lowest, b.highest))]
        bounds = min(ends), max(ends)
        total, wide = constant(0), width(*bounds)
        for place in range(wide):
            shifted = Number((*([FALSE] * place), *(a.bit(i) for i in range(wide - place))), 0, 0)
            added = Number(tuple(self._c.both(bit, b.bit(place)) for bit in shifted.bits), 0, 0)
            total = Number(self._sum(total, added, FALSE, (-(1 << (wide - 1)), (1 << (wide - 1)) - 1)).bits, 0, 0)
        return within(total.bits, *bounds)

    def is_negative(self, a: Number) -> Literal:
        """Tell whether a < 0."""
        return FALSE if a.lowest >= 0 else TRUE if a.highest < 0 else a.bits[-1]

    def less(self, a: Number, b: Number) -> Literal:
        """Tell whether a < b."""
        if a.highest < b.lowest:
            return TRUE
        if a.lowest >= b.highest:
            return FALSE
        c, below = self._c, FALSE
        wide = max(len(a.bits), len(b.bits))
        for place in range(wide):
            x, y = a.bit(place), b.bit(place)
            if place == wide - 1:
                x, y = y, x
            below = c.choose(c.differ(x, y), y, below)
        return below

    def equal(self, a: Number, b: Number) -> Literal:
        """Tell whether a = b."""
        if a.highest < b.lowest or b.highest < a.lowest:
            return FALSE
        places = range(max(len(a.bits), len(b.bits)))
        return self._c.all(inverse(self._c.differ(a.bit(place), b.bit(place))) for place in places)

    def choose(self, condition: Literal, a: Number, b: Number) -> Number:
        """Return a if the condition is true, else b."""
        if condition == TRUE or a == b:
            return a
        if condition == FALSE:
            return b
        bounds = min(a.lowest, b.lowest), max(a.highest, b.highest)
        bits = [self._c.choose(condition, a.bit(place), b.bit(place)) for place in range(width(*bounds))]
        return within(bits, *bounds)

    def least(self, a: Number, b: Number) -> Number:
        """Return the smaller."""
        chosen = self.choose(self.less(b, a), b, a)
        return within(chosen.bits, min(a.lowest, b.lowest), min(a.highest, b.highest))

    def greatest(self, a: Number, b: Number) -> Number:
        """Return the larger."""
        chosen = self.choose(self.less(a, b), b, a)
        return within(chosen.bits, max(a.lowest, b.lowest), max(a.highest, b.highest))

    def divided(self, a: Number, b: Number) -> tuple[Number, Number]:
        """Return quotient (towards zero) and remainder (with the sign of a), for b <> 0."""
        top, bottom = self.magnitude(a), self.magnitude(b)
        rest, quotient = constant(0), [FALSE] * len(top.bits)
        for place in reversed(range(len(top.bits) - 1)):
            rest = Number((top.bits[place], *rest.bits), 0, 2 * rest.highest + 1)
            fits = inverse(self.less(rest, bottom))
            quotient[place] = fits
            left = self.choose(fits, self.minus(rest, bottom), rest)
            rest = within(left.bits, 0, min(rest.highest, max(bottom.highest - 1, 0)))
        size = within(quotient, 0, top.highest)
        opposite = self._c.differ(self.is_negative(a), self.is_negative(b))
        remainder = self.choose(self.is_negative(a), self.negative(rest), rest)
        return self.choose(opposite, self.negative(size), size), remainder

    def raised(self, a: Number, exponent: Number) -> Number:
        """Return a power, for an exponent that is not negative."""
        if a.lowest >= -1 and a.highest <= 1:
            odd, zero = exponent.bits[0], self.equal(exponent, constant(0))
            even = self.choose(self.equal(a, constant(0)), constant(0), constant(1))
            return self.choose(zero, constant(1), self.choose(odd, a, even))
        result = power = constant(1)
        for e in range(1, max(exponent.highest, 0) + 1):
            power = self.times(power, a)
            result = self.choose(self.less(exponent, constant(e)), result, power)
        return result
