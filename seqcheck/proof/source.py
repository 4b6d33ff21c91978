"""Writes expressions of the machine as Python source: integers and our own identifiers only, never a string of the file.

The checker's own code: it shares nothing with the engines.
"""

from collections.abc import Callable

from seqcheck.model.expression import FALLIBLE, Apply, Const, Expression, Load, Op, Sense, walk
from seqcheck.model.model import Model

INFIX = {
    Op.TIMES: "*", Op.PLUS: "+", Op.MINUS: "-", Op.LESS: "<", Op.GREATER: ">", Op.AT_MOST: "<=", Op.AT_LEAST: ">=",
    Op.EQUAL: "==", Op.UNEQUAL: "!=", Op.XOR: "!=",
}  # fmt: skip
CALLS = {
    Op.DIVIDE: "divide", Op.MOD: "modulo", Op.POWER: "power", Op.MUX: "select", Op.MIN: "min", Op.MAX: "max",
    Op.LIMIT: "limit", Op.ABS: "abs",
}  # fmt: skip

SHORT = 60
"""Characters up to which a sensor is written out where it is read."""

Name = Callable[[int], str]
"""Gives the source of a variable's value."""


def local(place: int) -> str:
    """Name a variable in generated functions."""
    return f"v{place}"


class Source:
    """Writes expressions of one model. Long sensors become functions, whose lines are in *functions*."""

    def __init__(self, model: Model) -> None:
        self._model = model
        self._fallible: dict[int, bool] = {}
        self._rests_on: dict[int, frozenset[int]] = {}
        self._names: dict[int, str | None] = {}
        self.functions: list[str] = []

    def is_fallible(self, *expressions: Expression) -> bool:
        """Tell whether some of the expressions may have no value."""
        return any(self._part_is_fallible(part) for expression in expressions for part in walk(expression))

    def _part_is_fallible(self, part: Expression) -> bool:
        if isinstance(part, Apply):
            return part.op in FALLIBLE
        if not isinstance(part, Sense):
            return False
        if part.sensor not in self._fallible:
            self._fallible[part.sensor] = self.is_fallible(self._model.sensors[part.sensor].value)
        return self._fallible[part.sensor]

    def rests_on(self, *expressions: Expression) -> frozenset[int]:
        """Return the variables that values depend on, through sensors and the faults that make them stick too."""
        found: set[int] = set()
        for expression in expressions:
            for part in walk(expression):
                if isinstance(part, Load):
                    found.add(part.variable)
                elif isinstance(part, Sense):
                    found |= self._sensor_rests_on(part.sensor)
        return frozenset(found)

    def _sensor_rests_on(self, number: int) -> frozenset[int]:
        if number not in self._rests_on:
            sensor = self._model.sensors[number]
            self._rests_on[number] = self.rests_on(sensor.value) | {flag for flag, _ in sensor.stuck}
        return self._rests_on[number]

    def write(self, expression: Expression, name: Name = local) -> str:
        """Return the source of an expression, safe to stand inside any other."""
        match expression:
            case Const(value=value):
                return str(value) if value >= 0 else f"({value})"
            case Load(variable=place):
                return name(place)
            case Sense(sensor=number):
                return self._sensor(number, name)
            case Apply(op=op, operands=operands):
                return self._apply(op, operands, name)

    def _sensor(self, number: int, name: Name) -> str:
        if number not in self._names:
            self._define(number)
        called = self._names[number]
        if called is None:
            return self._written_out(number, name)
        return f"{called}({', '.join(name(place) for place in sorted(self._sensor_rests_on(number)))})"

    def _define(self, number: int) -> None:
        source = self._written_out(number, local)
        self._names[number] = None if len(source) <= SHORT else f"t{number}"
        if len(source) > SHORT:
            read = ", ".join(local(place) for place in sorted(self._sensor_rests_on(number)))
            self.functions += [f"def t{number}({read}):", f" return {source}"]

    def _written_out(self, number: int, name: Name) -> str:
        sensor = self._model.sensors[number]
        source = self.write(sensor.value, name)
        for flag, reading in reversed(sensor.stuck):
            source = f"({reading} if {name(flag)} else {source})"
        return source

    def _apply(self, op: Op, operands: tuple[Expression, ...], name: Name) -> str:
        written = [self.write(operand, name) for operand in operands]
        everything = self.is_fallible(*operands)
        match op:
            case Op.NOT:
                return f"(not {written[0]})"
            case Op.NEG:
                return f"(-{written[0]})"
            case Op.AND:
                return f"({(' & ' if everything else ' and ').join(written)})"
            case Op.OR:
                return f"({(' | ' if everything else ' or ').join(written)})"
            case Op.SEL if everything:
                return f"select({written[0]} + 0, {written[1]}, {written[2]})"
            case Op.SEL:
                return f"({written[2]} if {written[0]} else {written[1]})"
            case _ if op in CALLS:
                return f"{CALLS[op]}({', '.join(written)})"
            case _:
                return f"({written[0]} {INFIX[op]} {written[1]})"
