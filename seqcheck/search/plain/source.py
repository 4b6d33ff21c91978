"""Writes expressions of the model as Python source: integers and our own identifiers only, never a string of the file."""

from collections.abc import Callable

from seqcheck.model.expression import FALLIBLE, Apply, Const, Expression, Load, Op, walk
from seqcheck.model.model import Model

INFIX = {
    Op.TIMES: "*",
    Op.PLUS: "+",
    Op.MINUS: "-",
    Op.LESS: "<",
    Op.GREATER: ">",
    Op.AT_MOST: "<=",
    Op.AT_LEAST: ">=",
    Op.EQUAL: "==",
    Op.UNEQUAL: "!=",
    Op.XOR: "!=",
}
CALLED = {
    Op.DIVIDE: "divide",
    Op.MOD: "modulo",
    Op.POWER: "power",
    Op.MUX: "select",
    Op.MIN: "min",
    Op.MAX: "max",
    Op.LIMIT: "limit",
    Op.ABS: "abs",
}


class Fallibility:
    """Tells which expressions may have no value in some state."""

    def __init__(self, model: Model) -> None:
        self._model = model
        self._sensors: dict[int, bool] = {}

    def of(self, *expressions: Expression) -> bool:
        """Tell whether any of the expressions may have no value."""
        return any(self._of(part) for expression in expressions for part in walk(expression))

    def _of(self, part: Expression) -> bool:
        if isinstance(part, Apply):
            return part.op in FALLIBLE
        if isinstance(part, Const | Load):
            return False
        if part.sensor not in self._sensors:
            self._sensors[part.sensor] = self.of(self._model.sensors[part.sensor].value)
        return self._sensors[part.sensor]


class Writer:
    """Writes expressions; *name* gives the source of a variable's value, *kept* that of sensors held in a local name."""

    def __init__(self, model: Model, fallibility: Fallibility, name: Callable[[int], str]) -> None:
        self._model = model
        self._fallibility = fallibility
        self._name = name
        self.kept: dict[int, str] = {}

    def write(self, expression: Expression) -> str:
        """Return the source of an expression, safe to stand inside any other."""
        if isinstance(expression, Const):
            return str(expression.value) if expression.value >= 0 else f"({expression.value})"
        if isinstance(expression, Load):
            return self._name(expression.variable)
        if isinstance(expression, Apply):
            return self._apply(expression)
        return self.kept.get(expression.sensor) or self.sensor(expression.sensor)

    def sensor(self, number: int) -> str:
        """Return the source of a sensor's value, written out."""
        sensor = self._model.sensors[number]
        source = self.write(sensor.value)
        for flag, reading in reversed(sensor.stuck):
            source = f"({reading} if {self._name(flag)} else {source})"
        return source

    def _apply(self, expression: Apply) -> str:
        op, operands = expression.op, [self.write(operand) for operand in expression.operands]
        match op:
            case Op.NOT:
                return f"(not {operands[0]})"
            case Op.NEG:
                return f"(-{operands[0]})"
            case Op.AND | Op.OR:
                return self._joined(expression, operands)
            case Op.SEL if not self._fallibility.of(*expression.operands[1:]):
                return f"({operands[2]} if {operands[0]} else {operands[1]})"
            case Op.SEL:
                return f"select(1 if {operands[0]} else 0, {operands[1]}, {operands[2]})"
            case _ if op in CALLED:
                return f"{CALLED[op]}({', '.join(operands)})"
            case _:
                return f"({operands[0]} {INFIX[op]} {operands[1]})"

    def _joined(self, expression: Apply, operands: list[str]) -> str:
        if self._fallibility.of(*expression.operands[1:]):
            called = "all" if expression.op is Op.AND else "any"
            return f"{called}([{', '.join(operands)}])"
        return f"({' and '.join(operands)})" if expression.op is Op.AND else f"({' or '.join(operands)})"
