"""Tells how wide the whole numbers of a machine must be, so that the rival in C never leaves them."""

from collections.abc import Iterator
from math import prod

from seqcheck.model.expression import Apply, Const, Expression, Load, Op
from seqcheck.model.model import Model, condition_of

TRUTHS = frozenset({
    Op.NOT, Op.LESS, Op.GREATER, Op.AT_MOST, Op.AT_LEAST, Op.EQUAL, Op.UNEQUAL, Op.AND, Op.XOR, Op.OR,
})  # fmt: skip
MOST_POWER = 64
WIDTHS = (32, 64)


class TooGreat(Exception):  # noqa: N818 - it is no error of the program
    """A machine has numbers that do not fit into 64 bits."""


def width(model: Model) -> int:
    """Return 32 or 64: bits that hold every value that any expression can have on the way. Raises `TooGreat`."""
    greatest = max([reach(model, expression) for expression in expressions(model)], default=1)
    bounds = [max(abs(variable.lowest), abs(variable.highest)) for variable in model.variables]
    for bits in WIDTHS:
        if max(greatest, *bounds) + 1 < 2 ** (bits - 1):
            return bits
    raise TooGreat(f"numbers up to {greatest} do not fit into {WIDTHS[-1]} bits")


def expressions(model: Model) -> Iterator[Expression]:
    """Yield every expression of a model."""
    yield from model.sensor_values
    yield from (timer.input.test for timer in model.timers)
    yield from (clock.when for clock in model.clocks)
    yield from (condition_of(p.rule).test for p in model.properties)
    for reaction in model.reactions:
        yield reaction.when.test
        yield from (value for assign in reaction.program for value in assign.values)
    for step in model.steps:
        yield from (step.ready, *(guard.test for guard in step.guards))
        yield from (value for assign in step.program for value in assign.values)


def reach(model: Model, expression: Expression) -> int:
    """Return a bound on how far from zero an expression, or any part of it, can be."""
    if isinstance(expression, Const):
        return abs(expression.value)
    if isinstance(expression, Load):
        variable = model.variables[expression.variable]
        return max(abs(variable.lowest), abs(variable.highest))
    if not isinstance(expression, Apply):
        sensor = model.sensors[expression.sensor]
        return max(reach(model, sensor.value), *(abs(reading) for _, reading in sensor.stuck), 1)
    parts = [reach(model, operand) for operand in expression.operands]
    return max(1, *parts, own_reach(expression.op, parts))


def own_reach(op: Op, parts: list[int]) -> int:
    """Return a bound on how far from zero an operator's result can be."""
    if op in TRUTHS:
        return 1
    match op:
        case Op.TIMES:
            return prod(parts)
        case Op.PLUS | Op.MINUS:
            return sum(parts)
        case Op.POWER:
            return int(parts[0] ** min(parts[1], MOST_POWER)) if parts[0] > 1 else 1
        case _:
            return max(parts)
