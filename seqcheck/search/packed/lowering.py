"""Turns expressions of the model into instructions; what was computed already is not computed again.

Each value is numbered (Cocke and Schwartz 1970): an instruction with the same operands as an earlier one is that one.
A value that may not exist comes with a second register, *missing*: 1 where it does not.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from msgspec import Struct, field

from seqcheck.model.expression import Apply, Const, Expression, Load, Op
from seqcheck.model.model import Model
from seqcheck.model.semantics import OPERATIONS, Impossible
from seqcheck.search.packed import operations as o
from seqcheck.search.packed.bounds import TRUTH, Bounds, bounds_of


class Lane(Struct, frozen=True):
    """A register, not yet allotted, and the bounds of what it holds. A constant has equal bounds."""

    register: int
    bounds: Bounds

    @property
    def constant(self) -> int | None:
        """The only value it can have; None if there are more."""
        return self.bounds.low if self.bounds.low == self.bounds.high else None


class Valued(Struct, frozen=True):
    """A value, and where it does not exist (None: nowhere)."""

    value: Lane
    missing: Lane | None


Row = list[int]
"""An instruction: operation, d, a, b, c, number."""

NO_REGISTER = -1


class Listing(Struct):
    """A program under construction."""

    rows: list[Row] = field(default_factory=list)
    constants: dict[int, Lane] = field(default_factory=dict)
    registers: int = 0
    farthest: int = 0
    known: list[dict[tuple[int, ...], Lane]] = field(default_factory=lambda: [{}])

    def fresh(self, bounds: Bounds) -> Lane:
        """Return a new register."""
        self.registers += 1
        self.farthest = max(self.farthest, abs(bounds.low), abs(bounds.high))
        return Lane(self.registers - 1, bounds)

    def constant(self, value: int) -> Lane:
        """Return the register that always holds a constant."""
        if value not in self.constants:
            self.constants[value] = self.fresh(Bounds(value, value))
        return self.constants[value]

    def value(self, op: int, bounds: Bounds, *parts: int) -> Lane:
        """Return the register that holds what an instruction computes; *parts* are a, b, c and its number."""
        key = (op, *parts)
        for scope in self.known:
            if key in scope:
                return scope[key]
        lane = self.fresh(bounds)
        self.farthest = max(self.farthest, abs(parts[3]) if op != o.UNPACK else 0)
        self.act(op, lane.register, *parts)
        self.known[-1][key] = lane
        return lane

    def act(self, op: int, *parts: int) -> None:
        """Add an instruction that does something."""
        self.rows.append([op, *parts])

    @contextmanager
    def skippable(self, op: int, a: int) -> Iterator[None]:
        """Add instructions that are skipped in some cases; what they compute is not known afterwards."""
        self.act(op, 0, a, 0, 0, 0)
        row = self.rows[-1]
        self.known.append({})
        yield
        self.known.pop()
        row[5] = len(self.rows)

    def forget(self, register: int) -> None:
        """Forget what was computed from a register, for its value changes."""
        for scope in self.known:
            for key in [key for key in scope if reads(key, register)]:
                del scope[key]

    def begin(self) -> int:
        """Begin a section that can be run by itself; return its place."""
        self.known = [{}]
        return len(self.rows)


def reads(key: tuple[int, ...], register: int) -> bool:
    """Tell whether an instruction (operation, a, b, c, number) reads a register."""
    used = o.READS_AND_WRITES[key[0]]
    return any(used & part and key[place] == register for place, part in ((1, o.A), (2, o.B), (3, o.C)))


class Lowering:
    """Lowers expressions in surroundings where variables stand in known registers (*at*)."""

    def __init__(self, model: Model, listing: Listing, at: dict[int, Lane]) -> None:
        self._model = model
        self.listing = listing
        self.at = at

    def lower(self, expression: Expression) -> Valued:
        """Return the value of an expression."""
        match expression:
            case Const(value=value):
                return Valued(self.listing.constant(value), None)
            case Load(variable=place):
                return Valued(self.at[place], None)
            case Apply(op=op, operands=operands):
                return self._apply(op, [self.lower(operand) for operand in operands])
            case _:
                return self._sensor(expression.sensor)

    def truth(self, expression: Expression) -> Valued:
        """Return the value of a condition, 0 or 1; 0 where it does not exist."""
        found = self.lower(expression)
        if found.missing is None:
            return Valued(self._as_truth(found.value), None)
        return Valued(self.but_not(self._as_truth(found.value), found.missing), found.missing)

    def all_of(self, expressions: Sequence[Expression]) -> Valued:
        """Return whether all of some conditions hold; 0 where one does not exist."""
        found = self._apply(Op.AND, [self.lower(e) for e in expressions]) if expressions else None
        if found is None:
            return Valued(self.listing.constant(1), None)
        if found.missing is None:
            return found
        return Valued(self.but_not(found.value, found.missing), found.missing)

    def _sensor(self, number: int) -> Valued:
        """Read a sensor: what it is stuck at; else the truth, which need not exist while it is stuck."""
        sensor = self._model.sensors[number]
        found = self.lower(sensor.value)
        value, missing = found.value, found.missing
        for flag, reading in reversed(sensor.stuck):
            stuck = self._as_truth(self.at[flag])
            value = self.choose(stuck, self.listing.constant(reading), value)
            missing = None if missing is None else self.but_not(missing, stuck)
        return Valued(value, missing)

    def _apply(self, op: Op, operands: Sequence[Valued]) -> Valued:
        values = [operand.value for operand in operands]
        missing = self.any_of([operand.missing for operand in operands if operand.missing is not None])
        impossible = self._impossible(op, values)
        if impossible is not None:
            missing = impossible if missing is None else self.any_of([missing, impossible])
        known = [value.constant for value in values]
        constants = [value for value in known if value is not None]
        if len(constants) == len(known):
            try:
                return Valued(self.listing.constant(OPERATIONS[op](*constants)), missing)
            except Impossible:
                return Valued(self.listing.constant(0), missing)
        return Valued(self._value(op, values), missing)

    def _impossible(self, op: Op, values: Sequence[Lane]) -> Lane | None:
        """Return where an operator has no value, whatever its operands; None: it always has one."""
        match op:
            case Op.DIVIDE | Op.MOD:
                bounds = values[1].bounds
                return self.equal(values[1], 0) if bounds.low <= 0 <= bounds.high else None
            case Op.POWER:
                return self._less_n(values[1], 0) if values[1].bounds.low < 0 else None
            case Op.MUX:
                below, above = self._less_n(values[0], 0), self._more_n(values[0], len(values) - 2)
                outside = self.any_of([below, above])
                return None if outside is not None and outside.constant == 0 else outside
            case _:
                return None

    def _value(self, op: Op, values: Sequence[Lane]) -> Lane:
        first, last = values[0], values[-1]
        match op:
            case Op.AND | Op.OR | Op.MIN | Op.MAX:
                return self._folded(op, values)
            case Op.NOT:
                return self._unary(o.IS_ZERO, TRUTH, first)
            case Op.GREATER:
                return self._compared(Op.LESS, last, first)
            case Op.AT_LEAST:
                return self._compared(Op.AT_MOST, last, first)
            case Op.LESS | Op.AT_MOST | Op.EQUAL | Op.UNEQUAL | Op.XOR:
                return self._compared(op, first, last)
            case Op.SEL:
                return self.choose(self._as_truth(first), values[2], values[1])
            case Op.MUX:
                chosen = values[1]
                for number, choice in enumerate(values[2:], 1):
                    chosen = self.choose(self.equal(first, number), choice, chosen)
                return chosen
            case Op.LIMIT:
                return self._folded(Op.MIN, [self._folded(Op.MAX, values[:2]), last])
            case _:
                return self._arithmetic(op, values)

    def _arithmetic(self, op: Op, values: Sequence[Lane]) -> Lane:
        first, last = values[0], values[-1]
        bounds = bounds_of(op, [value.bounds for value in values])
        match op:
            case Op.NEG | Op.ABS:
                return self._unary(o.NEGATE if op is Op.NEG else o.SIZE_OF, bounds, first)
            case Op.PLUS if last.constant is not None:
                return self._with_number(o.ADD_N, bounds, first, last.constant)
            case Op.PLUS if first.constant is not None:
                return self._with_number(o.ADD_N, bounds, last, first.constant)
            case Op.MINUS if last.constant is not None:
                return self._with_number(o.ADD_N, bounds, first, -last.constant)
            case Op.MOD if (divisor := last.constant) is not None and 0 <= first.bounds.low <= first.bounds.high < 2 * divisor:
                fits = first.bounds.high < divisor
                return first if fits else self._with_number(o.WRAP_N, bounds, first, divisor)
            case _:
                return self.listing.value(BINARY[op], bounds, first.register, last.register, 0, 0)

    def _folded(self, op: Op, values: Sequence[Lane]) -> Lane:
        """Join two or more operands from the left, those that are constant last."""
        truths = [self._as_truth(v) for v in values] if op in {Op.AND, Op.OR} else list(values)
        result, *others = sorted(truths, key=lambda v: v.constant is not None)
        for other in others:
            bounds = bounds_of(op, [result.bounds, other.bounds])
            if (number := other.constant) is not None and op in {Op.MIN, Op.MAX}:
                result = self._with_number(o.LEAST_N if op is Op.MIN else o.MOST_N, bounds, result, number)
            elif number is not None:
                result = result if number == (op is Op.AND) else self.listing.constant(number)
            elif result is not other:
                pair = sorted((result.register, other.register))
                result = self.listing.value(BINARY[op], bounds, *pair, 0, 0)
        return result

    def _compared(self, op: Op, left: Lane, right: Lane) -> Lane:
        if left.constant is not None and right.constant is not None:
            return self.listing.constant(OPERATIONS[op](left.constant, right.constant))
        if op in {Op.EQUAL, Op.UNEQUAL, Op.XOR}:
            if left.constant is not None:
                left, right = right, left
            if right.constant is not None:
                equal = self.equal(left, right.constant)
                return equal if op is Op.EQUAL else self._unary(o.IS_ZERO, TRUTH, equal)
            pair = sorted((left.register, right.register))
            return self.listing.value(o.EQUAL if op is Op.EQUAL else o.UNEQUAL, TRUTH, *pair, 0, 0)
        closed = op is Op.AT_MOST
        if right.constant is not None:
            return self._less_n(left, right.constant + closed)
        if left.constant is not None:
            return self._more_n(right, left.constant - closed)
        return self.listing.value(o.AT_MOST if closed else o.LESS, TRUTH, left.register, right.register, 0, 0)

    def _unary(self, op: int, bounds: Bounds, lane: Lane) -> Lane:
        if op == o.IS_ZERO and lane.constant is not None:
            return self.listing.constant(int(lane.constant == 0))
        return self.listing.value(op, bounds, lane.register, 0, 0, 0)

    def _with_number(self, op: int, bounds: Bounds, lane: Lane, number: int) -> Lane:
        if lane.constant is not None and bounds.low == bounds.high:
            return self.listing.constant(bounds.low)
        return self.listing.value(op, bounds, lane.register, 0, 0, number)

    def _as_truth(self, lane: Lane) -> Lane:
        """Return 1 where a value is not 0."""
        if lane.bounds.low >= 0 and lane.bounds.high <= 1:
            return lane
        return self._unary(o.IS_SOME, TRUTH, lane)

    def equal(self, lane: Lane, number: int) -> Lane:
        """Return where a value is a number."""
        if not lane.bounds.low <= number <= lane.bounds.high:
            return self.listing.constant(0)
        if lane.constant is not None:
            return self.listing.constant(1)
        if lane.bounds == TRUTH:
            return lane if number == 1 else self._unary(o.IS_ZERO, TRUTH, lane)
        return self._with_number(o.EQUAL_N, TRUTH, lane, number)

    def _less_n(self, lane: Lane, number: int) -> Lane:
        if lane.bounds.high < number or lane.bounds.low >= number:
            return self.listing.constant(int(lane.bounds.high < number))
        return self._with_number(o.LESS_N, TRUTH, lane, number)

    def _more_n(self, lane: Lane, number: int) -> Lane:
        if lane.bounds.low > number or lane.bounds.high <= number:
            return self.listing.constant(int(lane.bounds.low > number))
        return self._with_number(o.MORE_N, TRUTH, lane, number)

    def outside(self, lane: Lane, bounds: Bounds) -> Lane:
        """Return where a value is out of bounds."""
        return self.any_of([self._less_n(lane, bounds.low), self._more_n(lane, bounds.high)]) or self.listing.constant(0)

    def choose(self, which: Lane, if_so: Lane, if_not: Lane) -> Lane:
        """Return one value where a condition (0 or 1) holds, another elsewhere."""
        if which.constant is not None:
            return if_so if which.constant else if_not
        if if_so is if_not:
            return if_so
        if if_so.constant == 1 and if_not.constant == 0:
            return which
        bounds = Bounds(min(if_so.bounds.low, if_not.bounds.low), max(if_so.bounds.high, if_not.bounds.high))
        return self.listing.value(o.CHOOSE, bounds, which.register, if_so.register, if_not.register, 0)

    def any_of(self, lanes: Sequence[Lane]) -> Lane | None:
        """Return where any of some truths holds; None if there are none."""
        return self._folded(Op.OR, lanes) if lanes else None

    def both(self, one: Lane, other: Lane) -> Lane:
        """Return where two truths hold."""
        return self._folded(Op.AND, [one, other])

    def but_not(self, one: Lane, other: Lane) -> Lane:
        """Return where the first of two truths holds and the second does not."""
        if other.constant is not None:
            return one if other.constant == 0 else self.listing.constant(0)
        if one.constant == 0:
            return one
        if one.constant is not None:
            return self._unary(o.IS_ZERO, TRUTH, other)
        return self.listing.value(o.BUT_NOT, TRUTH, one.register, other.register, 0, 0)


BINARY = {
    Op.TIMES: o.MULTIPLY,
    Op.DIVIDE: o.DIVIDE,
    Op.MOD: o.MODULO,
    Op.POWER: o.RAISE,
    Op.PLUS: o.ADD,
    Op.MINUS: o.SUBTRACT,
    Op.AND: o.BOTH,
    Op.OR: o.EITHER,
    Op.MIN: o.LEAST,
    Op.MAX: o.MOST,
}
