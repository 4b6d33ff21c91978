"""Between what bounds the value of an operator lies, given those of its operands (interval arithmetic, Moore 1966)."""

from collections.abc import Sequence
from itertools import product

from msgspec import Struct

from seqcheck.model.expression import Op
from seqcheck.model.semantics import OPERATIONS, divide
from seqcheck.search.engine import Unfit

FARTHEST = 1 << 62
"""No value may be further from zero than this."""


class Bounds(Struct, frozen=True, order=True):
    """The lowest and the highest value."""

    low: int
    high: int


TRUTH = Bounds(0, 1)
COMPARISONS = frozenset({Op.NOT, Op.LESS, Op.GREATER, Op.AT_MOST, Op.AT_LEAST, Op.EQUAL, Op.UNEQUAL, Op.AND, Op.OR, Op.XOR})
MONOTONE = frozenset({Op.NEG, Op.PLUS, Op.MINUS, Op.TIMES, Op.MIN, Op.MAX, Op.LIMIT})
"""Operators that take their extremes at the extremes of their operands."""


def spanning(values: Sequence[int]) -> Bounds:
    """Return the bounds of some values. Raises `Unfit` if one is too far from zero."""
    low, high = min(values), max(values)
    if low < -FARTHEST or high > FARTHEST:
        raise Unfit("a value may have more than 62 bits")
    return Bounds(low, high)


def bounds_of(op: Op, operands: Sequence[Bounds]) -> Bounds:
    """Return the bounds of an operator's value where it has one. Raises `Unfit`."""
    if op in COMPARISONS:
        return TRUTH
    if op in MONOTONE:
        return spanning([OPERATIONS[op](*ends) for ends in product(*((o.low, o.high) for o in operands))])
    first, last = operands[0], operands[-1]
    match op:
        case Op.SEL | Op.MUX:
            return spanning([end for choice in operands[1:] for end in (choice.low, choice.high)])
        case Op.ABS:
            least = 0 if first.low <= 0 <= first.high else min(abs(first.low), abs(first.high))
            return spanning([least, abs(first.low), abs(first.high)])
        case Op.DIVIDE:
            return _quotients(first, last)
        case Op.MOD:
            most = min(max(abs(first.low), abs(first.high)), max(abs(last.low), abs(last.high), 1) - 1)
            return spanning([-most if first.low < 0 else 0, most if first.high > 0 else 0])
        case Op.POWER:
            return _powers(first, last)
        case _:
            raise AssertionError(op)


def _quotients(dividend: Bounds, divisor: Bounds) -> Bounds:
    nearest = [d for d in (divisor.low, divisor.high, -1, 1) if d != 0 and divisor.low <= d <= divisor.high]
    return spanning([0, *(divide(end, d) for end in (dividend.low, dividend.high) for d in nearest)])


def _powers(base: Bounds, exponent: Bounds) -> Bounds:
    """Bound a power: its size is that of the largest base to the largest exponent."""
    largest, highest = max(abs(base.low), abs(base.high)), max(exponent.high, 0)
    if largest > 1 and highest > 62:
        raise Unfit("a power may have more than 62 bits")
    most = max(1, largest ** min(highest, 63))
    return spanning([-most if base.low < 0 else 0, most])
