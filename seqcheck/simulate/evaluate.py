"""Gives an expression of the checked tree its value. Every operand is evaluated, whatever the others are."""

import operator
from collections.abc import Callable, Mapping
from functools import reduce
from types import MappingProxyType
from typing import Final, Protocol, TypeAlias, cast

from seqcheck.check.typed import Expression, Literal, Operation, Operator, Read, ReadSensor, ReadTimer, Value
from seqcheck.simulate.errors import NoValueError

Function: TypeAlias = Callable[[tuple[Value, ...]], Value]


class Readings(Protocol):
    """Where the values come from."""

    def commanded(self, variable: str) -> Value:
        """Return a variable's own value."""
        ...

    def real(self, variable: str) -> Value:
        """Return what a variable really is: of a stuck output, what it does."""
        ...

    def sensor(self, name: str) -> Value:
        """Return what a sensor reads."""
        ...

    def timer_output(self, name: str) -> bool:
        """Return NAME.Q."""
        ...

    def timer_elapsed(self, name: str) -> int:
        """Return NAME.ET in ticks."""
        ...


def evaluate(expression: Expression, readings: Readings) -> Value:
    """Return the value of an expression; raise `NoValueError` where it has none."""
    match expression:
        case Literal():
            return expression.value
        case Read():
            name = expression.variable
            return readings.commanded(name) if expression.commanded else readings.real(name)
        case ReadSensor():
            return readings.sensor(expression.sensor)
        case ReadTimer():
            name = expression.timer
            return readings.timer_elapsed(name) if expression.elapsed else readings.timer_output(name)
        case Operation():
            return _FUNCTIONS[expression.operator](tuple([evaluate(each, readings) for each in expression.operands]))


def _numbers(values: tuple[Value, ...]) -> tuple[int, ...]:
    return cast("tuple[int, ...]", values)


def _quotient(left: int, right: int) -> int:
    """Divide and drop the remainder towards zero, as IEC 61131-3 does."""
    if right == 0:
        raise NoValueError(f"{left} is divided by zero")
    whole = abs(left) // abs(right)
    return whole if (left < 0) == (right < 0) else -whole


def _divide(values: tuple[Value, ...]) -> Value:
    left, right = _numbers(values)
    return _quotient(left, right)


def _remainder(values: tuple[Value, ...]) -> Value:
    left, right = _numbers(values)
    if right == 0:
        raise NoValueError(f"{left} MOD zero has no value")
    return left - right * _quotient(left, right)


def _power(values: tuple[Value, ...]) -> Value:
    base, exponent = _numbers(values)
    if exponent < 0:
        raise NoValueError(f"{base} is raised to the negative power {exponent}")
    return int(base**exponent)


def _pick(values: tuple[Value, ...]) -> Value:
    index, *inputs = values
    number = cast("int", index)
    if not 0 <= number < len(inputs):
        raise NoValueError(f"MUX is asked for input {number}, and it has inputs 0 to {len(inputs) - 1}")
    return inputs[number]


def _limit(values: tuple[Value, ...]) -> Value:
    lowest, number, highest = _numbers(values)
    return min(max(number, lowest), highest)


def _odd(values: tuple[Value, ...]) -> Value:
    return sum(1 for value in values if value) % 2 == 1


def _two(function: Callable[[int, int], int]) -> Function:
    return lambda values: reduce(function, _numbers(values))


def _compare(function: Callable[[int, int], bool]) -> Function:
    return lambda values: function(*_numbers(values))


_FUNCTIONS: Final[Mapping[Operator, Function]] = MappingProxyType(
    {
        Operator.NOT: lambda values: not values[0],
        Operator.NEG: lambda values: -_numbers(values)[0],
        Operator.POWER: _power,
        Operator.TIMES: _two(operator.mul),
        Operator.DIVIDE: _divide,
        Operator.MOD: _remainder,
        Operator.PLUS: _two(operator.add),
        Operator.MINUS: _two(operator.sub),
        Operator.LESS: _compare(operator.lt),
        Operator.GREATER: _compare(operator.gt),
        Operator.AT_MOST: _compare(operator.le),
        Operator.AT_LEAST: _compare(operator.ge),
        Operator.EQUAL: lambda values: values[0] == values[1],
        Operator.UNEQUAL: lambda values: values[0] != values[1],
        Operator.AND: all,
        Operator.XOR: _odd,
        Operator.OR: any,
        Operator.SEL: lambda values: values[2] if values[0] else values[1],
        Operator.MUX: _pick,
        Operator.MIN: lambda values: min(_numbers(values)),
        Operator.MAX: lambda values: max(_numbers(values)),
        Operator.LIMIT: _limit,
        Operator.ABS: lambda values: abs(_numbers(values)[0]),
    }
)
