"""Bounds of arithmetic: from the bounds of the operands, bounds that the result keeps in any state.

What fails only in some states (a divisor that may be zero) is left to the search; its bounds are those of the rest.
"""

from collections.abc import Sequence
from itertools import product

from seqcheck.check.typed import NumberType, Operator

GREATEST = 2**62


class CannotComputeError(Exception):
    """The operation fails whatever the state; the text says why."""


def fits(kind: NumberType) -> bool:
    """Tell whether the bounds are far from what 64 bits hold."""
    return kind.lowest >= -GREATEST and kind.highest <= GREATEST


def bounds(operator: Operator, operands: Sequence[NumberType]) -> NumberType:
    """Return bounds of the result of an arithmetic operator or function; raise CannotComputeError if there is none."""
    first = operands[0]
    if operator is Operator.NEG:
        return NumberType(-first.highest, -first.lowest)
    if operator is Operator.ABS:
        crosses = first.lowest <= 0 <= first.highest
        ends = (abs(first.lowest), abs(first.highest))
        return NumberType(0 if crosses else min(ends), max(ends))
    if operator is Operator.MIN:
        return NumberType(min(o.lowest for o in operands), min(o.highest for o in operands))
    if operator is Operator.MAX:
        return NumberType(max(o.lowest for o in operands), max(o.highest for o in operands))
    if operator is Operator.LIMIT:
        return bounds(Operator.MIN, (bounds(Operator.MAX, (operands[0], operands[1])), operands[2]))
    return _of_two(operator, first, operands[1])


def union(kinds: Sequence[NumberType]) -> NumberType:
    """Return bounds that hold whichever of the values is chosen."""
    return NumberType(min(k.lowest for k in kinds), max(k.highest for k in kinds))


def _of_two(operator: Operator, left: NumberType, right: NumberType) -> NumberType:
    if operator is Operator.PLUS:
        return NumberType(left.lowest + right.lowest, left.highest + right.highest)
    if operator is Operator.MINUS:
        return NumberType(left.lowest - right.highest, left.highest - right.lowest)
    if operator is Operator.TIMES:
        return _spanned([a * b for a, b in product(_ends(left), _ends(right))])
    if operator is Operator.POWER:
        return _power(left, right)
    divisors = [d for d in {right.lowest, right.highest, -1, 1} if d != 0 and right.lowest <= d <= right.highest]
    if not divisors:
        raise CannotComputeError("it divides by zero")
    if operator is Operator.DIVIDE:
        return _spanned([truncated(a, d) for a, d in product(_ends(left), divisors)])
    most = max(abs(d) for d in divisors) - 1
    return NumberType(max(left.lowest, -most) if left.lowest < 0 else 0, min(left.highest, most) if left.highest > 0 else 0)


def truncated(dividend: int, divisor: int) -> int:
    """Divide and drop the remainder towards zero."""
    quotient = abs(dividend) // abs(divisor)
    return quotient if (dividend < 0) == (divisor < 0) else -quotient


def _power(base: NumberType, exponent: NumberType) -> NumberType:
    if exponent.highest < 0:
        raise CannotComputeError("its exponent is negative")
    lowest, highest = max(exponent.lowest, 0), exponent.highest
    magnitude = max(abs(base.lowest), abs(base.highest))
    if magnitude > 1 and highest > 62:
        return NumberType(-GREATEST - 1, GREATEST + 1)
    exponents = {e for e in (lowest, lowest + 1, highest - 1, highest) if lowest <= e <= highest}
    return _spanned([_raised(b, e) for b, e in product(_ends(base), exponents)])


def _raised(base: int, exponent: int) -> int:
    """Raise to a power; of -1, 0 and 1 by parity, since their exponents may be of any size."""
    if abs(base) <= 1 and exponent > 1:
        exponent = 2 - exponent % 2
    return int(base**exponent)


def _ends(kind: NumberType) -> set[int]:
    """Return the ends of the bounds, and the turning points -1, 0 and 1 where they lie between."""
    return {kind.lowest, kind.highest} | {n for n in (-1, 0, 1) if kind.lowest < n < kind.highest}


def _spanned(values: list[int]) -> NumberType:
    return NumberType(min(values), max(values))
