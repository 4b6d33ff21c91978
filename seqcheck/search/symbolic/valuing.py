"""Evaluates expressions for all states at once: a truth is a set of states, a number one set for each value it can have."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from operator import add, ge, gt, le, lt, mul, sub
from typing import TypeAlias

from seqcheck.model.expression import FALLIBLE, Apply, Const, Expression, Load, Op, Sense, reads, walk
from seqcheck.model.model import Model
from seqcheck.model.semantics import divide, modulo, power
from seqcheck.search.engine import Unfit
from seqcheck.search.symbolic.diagrams import Node, Space
from seqcheck.search.symbolic.digits import MANY_VALUES, Digits, paired

Cases: TypeAlias = Mapping[int, Node]
"""For each value that a number can have, the states in which it has it; together they are all states."""

MOST_PAIRS = 250_000
"""Pairs of values that are worth combining."""

COMPARED: Mapping[Op, Callable[[int, int], bool]] = {Op.LESS: lt, Op.GREATER: gt, Op.AT_MOST: le, Op.AT_LEAST: ge}
TURNED: Mapping[Op, Op] = {
    Op.LESS: Op.GREATER,
    Op.GREATER: Op.LESS,
    Op.AT_MOST: Op.AT_LEAST,
    Op.AT_LEAST: Op.AT_MOST,
}
COMBINED: Mapping[Op, Callable[[int, int], int]] = {
    Op.PLUS: add,
    Op.MINUS: sub,
    Op.TIMES: mul,
    Op.MIN: min,
    Op.MAX: max,
    Op.DIVIDE: divide,
    Op.MOD: modulo,
    Op.POWER: power,
}
TRUTHS = frozenset({*COMPARED, Op.NOT, Op.AND, Op.OR, Op.XOR, Op.EQUAL, Op.UNEQUAL})


class Facts:
    """What is known of a model's expressions, worked out once: what they read, and whether they may lack a value."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self._reads: dict[int, tuple[Expression, frozenset[int]]] = {}
        self._fallible: dict[int, tuple[Expression, bool]] = {}
        self._flags = frozenset(flag for sensor in model.sensors for flag, _ in sensor.stuck)

    def reads(self, expression: Expression) -> frozenset[int]:
        """Return the variables that a value can depend on, flags of stuck sensors among them."""
        known = self._reads.get(id(expression))
        if known is None:
            found = reads(expression, self.model.sensor_values)
            if self._flags:
                found |= self._stuck_flags(expression)
            known = self._reads[id(expression)] = (expression, found)
        return known[1]

    def _stuck_flags(self, expression: Expression) -> frozenset[int]:
        found: set[int] = set()
        for part in walk(expression):
            if isinstance(part, Sense):
                sensor = self.model.sensors[part.sensor]
                found |= {flag for flag, _ in sensor.stuck} | self._stuck_flags(sensor.value)
        return frozenset(found)

    def fallible(self, expression: Expression) -> bool:
        """Tell whether an expression may have no value in some state."""
        known = self._fallible.get(id(expression))
        if known is None:
            known = self._fallible[id(expression)] = (expression, any(map(self._part_fails, walk(expression))))
        return known[1]

    def _part_fails(self, part: Expression) -> bool:
        if isinstance(part, Sense):
            return self.fallible(self.model.sensors[part.sensor].value)
        return isinstance(part, Apply) and part.op in FALLIBLE


class Valuation:
    """The values of all variables as functions of the state before a step.

    A fresh one is that of the state itself; `write` changes it. What a truth or number is where it has no value is left
    open: ask `lacking`.
    """

    def __init__(self, space: Space, facts: Facts, origin: "Valuation | None" = None) -> None:
        self._space = space
        self._facts = facts
        self._origin = origin
        self.written: dict[int, Cases] = {}
        self._variables: dict[int, Cases] = {}
        self._truths: dict[int, tuple[Expression, Node]] = {}
        self._numbers: dict[int, tuple[Expression, Cases]] = {}

    def fresh(self) -> "Valuation":
        """Return the valuation of the state itself, to be written to, that shares what this one has worked out."""
        return Valuation(self._space, self._facts, self if self._origin is None else self._origin)

    def write(self, variable: int, cases: Cases) -> None:
        """Give a variable other values."""
        self.written[variable] = cases
        self._truths = {key: pair for key, pair in self._truths.items() if variable not in self._facts.reads(pair[0])}
        self._numbers = {key: pair for key, pair in self._numbers.items() if variable not in self._facts.reads(pair[0])}

    def variable(self, variable: int) -> Cases:
        """Return the values of a variable."""
        return self.written.get(variable) or self._unwritten(variable)

    def _unwritten(self, variable: int) -> Cases:
        if self._origin is not None:
            return self._origin.variable(variable)
        return self._variables.get(variable) or self._first_seen(variable)

    def _first_seen(self, variable: int) -> Cases:
        v, space = self._facts.model.variables[variable], self._space
        if v.highest - v.lowest >= MANY_VALUES:
            bits = [space.literal(bit) for bit in space.now[variable]]
            self._variables[variable] = Digits(space, v.lowest, v.highest, bits)
        else:
            self._variables[variable] = {raw: space.has(variable, raw) for raw in range(v.lowest, v.highest + 1)}
        return self._variables[variable]

    def _untouched(self, expression: Expression) -> bool:
        return self._origin is not None and self.written.keys().isdisjoint(self._facts.reads(expression))

    def truth(self, expression: Expression) -> Node:
        """Return the states in which a condition is true."""
        if self._origin is not None and self._untouched(expression):
            return self._origin.truth(expression)
        known = self._truths.get(id(expression))
        if known is None:
            known = self._truths[id(expression)] = (expression, self._truth(expression))
        return known[1]

    def number(self, expression: Expression) -> Cases:
        """Return the values of an expression with the states that have them."""
        if self._origin is not None and self._untouched(expression):
            return self._origin.number(expression)
        known = self._numbers.get(id(expression))
        if known is None:
            known = self._numbers[id(expression)] = (expression, self._number(expression))
        return known[1]

    def lacking(self, expression: Expression) -> Node:
        """Return the states in which an expression has no value."""
        if not self._facts.fallible(expression):
            return self._space.false
        if isinstance(expression, Sense):
            return self.lacking(self._facts.model.sensors[expression.sensor].value) & ~self._stuck(expression)
        if not isinstance(expression, Apply):
            return self._space.false
        inner = self._space.any(self.lacking(operand) for operand in expression.operands)
        return inner | self._impossible(expression)

    def _impossible(self, expression: Apply) -> Node:
        """Return the states in which an operator has no value for its operands."""
        none = self._space.false
        match expression.op:
            case Op.DIVIDE | Op.MOD:
                return self.number(expression.operands[1]).get(0, none)
            case Op.POWER:
                return self._space.any(node for raw, node in self.number(expression.operands[1]).items() if raw < 0)
            case Op.MUX:
                choices = range(len(expression.operands) - 1)
                return self._space.any(node for raw, node in self.number(expression.operands[0]).items() if raw not in choices)
            case _:
                return none

    def _stuck(self, sense: Sense) -> Node:
        flags = (flag for flag, _ in self._facts.model.sensors[sense.sensor].stuck)
        return self._space.any(self.variable(flag)[1] for flag in flags)

    def _truth(self, expression: Expression) -> Node:
        if not isinstance(expression, Apply) or expression.op not in TRUTHS:
            return self.number(expression).get(1, self._space.false)
        operands = expression.operands
        match expression.op:
            case Op.NOT:
                return ~self.truth(operands[0])
            case Op.AND:
                return self._space.all(map(self.truth, operands))
            case Op.OR:
                return self._space.any(map(self.truth, operands))
            case Op.XOR:
                return self.truth(operands[0]) ^ self.truth(operands[1])
            case Op.EQUAL:
                return self._equal(*operands)
            case Op.UNEQUAL:
                return ~self._equal(*operands)
            case _:
                return self._compared(expression.op, self.number(operands[0]), self.number(operands[1]))

    def _equal(self, one: Expression, other: Expression) -> Node:
        left, right = self.number(one), self.number(other)
        if isinstance(left, Digits) or (not isinstance(right, Digits) and len(left) > len(right)):
            left, right = right, left
        return self._space.any(node & right[raw] for raw, node in left.items() if raw in right)

    def _compared(self, op: Op, left: Cases, right: Cases) -> Node:
        if isinstance(right, Digits):
            op, left, right = TURNED[op], right, left
        if isinstance(left, Digits) and not isinstance(right, Digits) and len(right) == 1:
            return self._bounded(op, left, next(iter(right)))
        holds, found = COMPARED[op], []
        for a, node in left.items():
            wanted = self._space.any(state for b, state in right.items() if holds(a, b))
            found.append(node & wanted)
        return self._space.any(found)

    def _bounded(self, op: Op, number: Digits, bound: int) -> Node:
        """Return the states in which a number compares with a constant."""
        match op:
            case Op.LESS:
                return number.within(number.lowest, bound - 1)
            case Op.AT_MOST:
                return number.within(number.lowest, bound)
            case Op.GREATER:
                return number.within(bound + 1, number.highest)
            case _:
                return number.within(bound, number.highest)

    def _number(self, expression: Expression) -> Cases:
        match expression:
            case Const(value=value):
                return {value: self._space.true}
            case Load(variable=variable):
                return self.variable(variable)
            case Sense():
                return self._sensed(expression)
            case Apply(op=op) if op in TRUTHS:
                truth = self.truth(expression)
                return self._kept([(0, ~truth), (1, truth)])
            case Apply():
                return self._applied(expression)

    def _sensed(self, sense: Sense) -> Cases:
        sensor = self._facts.model.sensors[sense.sensor]
        cases = self.number(sensor.value)
        for flag, reading in reversed(sensor.stuck):
            cases = self.chosen(self.variable(flag)[1], {reading: self._space.true}, cases)
        return cases

    def chosen(self, when: Node, then: Cases, otherwise: Cases) -> Cases:
        """Return the values of one number where *when* holds and of another elsewhere."""
        pair = paired(then, otherwise)
        if pair is not None:
            return pair[0].chosen(when, pair[1])
        return self._kept(
            [
                *((raw, node & when) for raw, node in then.items()),
                *((raw, node & ~when) for raw, node in otherwise.items()),
            ]
        )

    def _applied(self, expression: Apply) -> Cases:
        op, numbers = expression.op, [self.number(operand) for operand in expression.operands]
        match op:
            case Op.NEG:
                return {-raw: node for raw, node in numbers[0].items()}
            case Op.ABS:
                return self._kept((abs(raw), node) for raw, node in numbers[0].items())
            case Op.SEL:
                return self.chosen(self.truth(expression.operands[0]), numbers[2], numbers[1])
            case Op.MUX:
                return self._selected(numbers)
            case Op.LIMIT:
                return self._combined(min, self._combined(max, numbers[1], numbers[0]), numbers[2])
            case _:
                result = numbers[0]
                for number in numbers[1:]:
                    result = self._combined(COMBINED[op], result, number)
                return result

    def _selected(self, numbers: list[Cases]) -> Cases:
        """Return the number that an index selects; where none is, the first."""
        index, choices = numbers[0], numbers[1:]
        result = choices[0]
        for place, number in enumerate(choices[1:], 1):
            if place in index:
                result = self.chosen(index[place], number, result)
        return result

    def _combined(self, combine: Callable[[int, int], int], left: Cases, right: Cases) -> Cases:
        if len(left) * len(right) > MOST_PAIRS:
            raise Unfit(f"an expression combines {len(left):,} with {len(right):,} values")
        return self._kept(self._pairs(combine, left, right))

    def _pairs(self, combine: Callable[[int, int], int], left: Cases, right: Cases) -> Iterator[tuple[int, Node]]:
        for a, one in left.items():
            for b, other in right.items():
                both = one & other
                if both.satisfiable():
                    yield (combine(a, b) if possible(combine, b) else 0), both

    def _kept(self, pairs: Iterable[tuple[int, Node]]) -> Cases:
        """Join the sets of equal values, without those that are empty."""
        joined: dict[int, Node] = {}
        for raw, node in pairs:
            if node.satisfiable():
                joined[raw] = joined[raw] | node if raw in joined else node
        return joined


def possible(combine: Callable[[int, int], int], right: int) -> bool:
    """Tell whether an operator has a value with this right side."""
    if combine is divide or combine is modulo:
        return right != 0
    return combine is not power or right >= 0
