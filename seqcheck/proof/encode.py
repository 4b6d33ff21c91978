"""Turns expressions and programs of the machine into circuits over a state whose values are numbers of a circuit."""

from collections.abc import Callable, Sequence
from functools import reduce
from typing import TypeAlias

from msgspec import Struct, field

from seqcheck.model.expression import Apply, Const, Expression, Load, Op, Sense
from seqcheck.model.model import Model, Program
from seqcheck.proof.circuits import FALSE, Circuits, Literal, inverse
from seqcheck.proof.numbers import Arithmetic, Number, constant, truth, within

Values: TypeAlias = tuple[Number, ...]
"""A state: one number for each variable."""


class Moment(Struct):
    """One state, and what has been evaluated in it: each value, and whether it does not exist."""

    values: Values
    known: dict[int, tuple[Number, Literal]] = field(default_factory=dict)
    sensed: dict[int, tuple[Number, Literal]] = field(default_factory=dict)


class Outcome(Struct, frozen=True, kw_only=True):
    """Values after a program, and whether it failed (what the values are then means nothing)."""

    values: Values
    failed: Literal


class Encoder:
    """Evaluates expressions of one model; `evaluate` returns the value and whether there is none."""

    def __init__(self, model: Model, circuits: Circuits) -> None:
        self._model = model
        self._c = circuits
        self.arithmetic = Arithmetic(circuits)

    def evaluate(self, expression: Expression, at: Moment) -> tuple[Number, Literal]:
        """Return the value of an expression in a state, and whether it does not exist."""
        match expression:
            case Const(value=value):
                return constant(value), FALSE
            case Load(variable=place):
                return at.values[place], FALSE
            case Sense(sensor=number):
                return self._sense(number, at)
            case Apply():
                key = id(expression)
                if key not in at.known:
                    at.known[key] = self._apply(expression, at)
                return at.known[key]

    def holds(self, expression: Expression, at: Moment) -> tuple[Literal, Literal]:
        """Return a truth as a literal, and whether it has no value."""
        value, impossible = self.evaluate(expression, at)
        return self.is_true(value), impossible

    def is_true(self, value: Number) -> Literal:
        """Return whether a number is not zero."""
        if value.lowest >= 0 and value.highest <= 1:
            return value.bits[0]
        return inverse(self.arithmetic.equal(value, constant(0)))

    def _sense(self, number: int, at: Moment) -> tuple[Number, Literal]:
        if number not in at.sensed:
            sensor = self._model.sensors[number]
            value, impossible = self.evaluate(sensor.value, at)
            for flag, reading in reversed(sensor.stuck):
                stuck = self.is_true(at.values[flag])
                value = self.arithmetic.choose(stuck, constant(reading), value)
                impossible = self._c.both(inverse(stuck), impossible)
            at.sensed[number] = value, impossible
        return at.sensed[number]

    def _apply(self, expression: Apply, at: Moment) -> tuple[Number, Literal]:
        evaluated = [self.evaluate(operand, at) for operand in expression.operands]
        operands = [value for value, _ in evaluated]
        impossible = self._c.any(missing for _, missing in evaluated)
        return self._operation(expression.op, operands), self._c.either(impossible, self._impossible(expression.op, operands))

    def _impossible(self, op: Op, operands: Sequence[Number]) -> Literal:
        """Return whether an operator has no value although its operands have."""
        a = self.arithmetic
        match op:
            case Op.DIVIDE | Op.MOD:
                return a.equal(operands[1], constant(0))
            case Op.POWER:
                return a.is_negative(operands[1])
            case Op.MUX:
                inside = a.less(operands[0], constant(len(operands) - 1))
                return inverse(self._c.both(inside, inverse(a.is_negative(operands[0]))))
            case _:
                return FALSE

    def _operation(self, op: Op, operands: Sequence[Number]) -> Number:
        if op in TRUTHS:
            return truth(self._truth(op, operands))
        a = self.arithmetic
        match op:
            case Op.SEL:
                return a.choose(self.is_true(operands[0]), operands[2], operands[1])
            case Op.MUX:
                choices = list(enumerate(operands[1:]))
                start = choices.pop()[1]
                return reduce(
                    lambda other, one: a.choose(a.equal(operands[0], constant(one[0])), one[1], other), choices, start
                )
            case Op.MIN:
                return reduce(a.least, operands)
            case Op.MAX:
                return reduce(a.greatest, operands)
            case Op.LIMIT:
                return a.least(a.greatest(operands[1], operands[0]), operands[2])
            case _:
                return self._computed(op, operands)

    def _computed(self, op: Op, operands: Sequence[Number]) -> Number:
        a = self.arithmetic
        functions: dict[Op, Callable[..., Number]] = {
            Op.NEG: a.negative,
            Op.ABS: a.magnitude,
            Op.PLUS: a.plus,
            Op.MINUS: a.minus,
            Op.TIMES: a.times,
            Op.POWER: a.raised,
            Op.DIVIDE: lambda x, y: a.divided(x, y)[0],
            Op.MOD: lambda x, y: a.divided(x, y)[1],
        }
        return functions[op](*operands)

    def _truth(self, op: Op, operands: Sequence[Number]) -> Literal:
        a, c = self.arithmetic, self._c
        match op:
            case Op.NOT:
                return inverse(self.is_true(operands[0]))
            case Op.AND:
                return c.all(map(self.is_true, operands))
            case Op.OR:
                return c.any(map(self.is_true, operands))
            case Op.LESS:
                return a.less(operands[0], operands[1])
            case Op.GREATER:
                return a.less(operands[1], operands[0])
            case Op.AT_MOST:
                return inverse(a.less(operands[1], operands[0]))
            case Op.AT_LEAST:
                return inverse(a.less(operands[0], operands[1]))
            case Op.EQUAL:
                return a.equal(operands[0], operands[1])
            case _:
                return inverse(a.equal(operands[0], operands[1]))

    def run(self, program: Program, values: Values) -> Outcome:
        """Run a program: all values of one assignment are read before any is written."""
        failed = FALSE
        for assign in program:
            at = Moment(values)
            evaluated = [self.evaluate(value, at) for value in assign.values]
            failed = self._c.any((failed, *(impossible for _, impossible in evaluated)))
            fresh = dict(zip(assign.targets, (value for value, _ in evaluated), strict=True))
            failed = self._c.any((failed, *(self._outside(place, value) for place, value in fresh.items())))
            values = tuple(self._stored(place, fresh[place]) if place in fresh else old for place, old in enumerate(values))
        return Outcome(values=values, failed=failed)

    def _outside(self, place: int, value: Number) -> Literal:
        variable, a = self._model.variables[place], self.arithmetic
        return self._c.either(a.less(value, constant(variable.lowest)), a.less(constant(variable.highest), value))

    def _stored(self, place: int, value: Number) -> Number:
        """Return a value as wide as its variable; it is not outside unless the program failed."""
        variable = self._model.variables[place]
        lowest, highest = max(variable.lowest, value.lowest), min(variable.highest, value.highest)
        if lowest > highest:
            lowest, highest = variable.lowest, variable.highest
        return within(value.bits, lowest, highest)

    def same(self, some: Values, others: Values) -> Literal:
        """Return whether two states are the same."""
        pairs = zip(some, others, strict=True)
        return self._c.all(self.arithmetic.equal(one, other) for one, other in pairs if one != other)


TRUTHS = frozenset({
    Op.NOT, Op.AND, Op.OR, Op.XOR, Op.LESS, Op.GREATER, Op.AT_MOST, Op.AT_LEAST, Op.EQUAL, Op.UNEQUAL,
})  # fmt: skip
