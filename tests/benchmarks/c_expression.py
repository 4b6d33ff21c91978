"""Writes expressions of the model as C, in whole numbers of the type `num`.

Every operand is evaluated where one may have no value. What has no value sets the global `bad`; who evaluates it looks there.
"""

from collections.abc import Callable

from seqcheck.model.expression import FALLIBLE, Apply, Const, Expression, Load, Op, Sense, walk
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
CALLED = {Op.DIVIDE: "quotient", Op.MOD: "rest", Op.POWER: "power", Op.ABS: "size"}

OPERATIONS = """\
static int bad;
static inline num least(num a, num b) { return a < b ? a : b; }
static inline num most(num a, num b) { return a > b ? a : b; }
static inline num size(num a) { return a < 0 ? -a : a; }
static inline num pick(num g, num a, num b) { return g ? b : a; }
static inline num quotient(num a, num b) { if (b) return a / b; bad = 1; return 0; }
static inline num rest(num a, num b) { if (b) return a % b; bad = 1; return 0; }
static inline num power(num a, num b) { num p = 1; if (b < 0) bad = 1; for (; b > 0; b--) p *= a; return p; }
static inline num chosen(num i, num n, const num *of) { if (i >= 0 && i < n) return of[i]; bad = 1; return 0; }
"""


class CWriter:
    """Writes expressions; *name* gives the source of a variable's value."""

    def __init__(self, model: Model, name: Callable[[int], str]) -> None:
        self._model = model
        self._name = name

    def may_fail(self, *expressions: Expression) -> bool:
        """Tell whether any of the expressions may have no value in some state."""
        parts = [part for expression in expressions for part in walk(expression)]
        return any(
            part.op in FALLIBLE if isinstance(part, Apply) else self.may_fail(self._model.sensors[part.sensor].value)
            for part in parts
            if isinstance(part, Apply | Sense)
        )

    def write(self, expression: Expression) -> str:
        """Return the source of an expression, safe to stand inside any other."""
        if isinstance(expression, Const):
            return f"(num){expression.value}LL" if expression.value >= 0 else f"(num)({expression.value}LL)"
        if isinstance(expression, Load):
            return self._name(expression.variable)
        if isinstance(expression, Sense):
            return self._sensor(expression.sensor)
        return self._apply(expression, [self.write(operand) for operand in expression.operands])

    def _sensor(self, number: int) -> str:
        sensor = self._model.sensors[number]
        source = self.write(sensor.value)
        for flag, reading in reversed(sensor.stuck):
            source = f"({self._name(flag)} ? {reading} : {source})"
        return source

    def _apply(self, expression: Apply, operands: list[str]) -> str:
        op = expression.op
        match op:
            case Op.NOT | Op.NEG:
                return f"({'!' if op is Op.NOT else '-'}{operands[0]})"
            case Op.AND | Op.OR:
                signs = {Op.AND: "&&", Op.OR: "||"}[op]
                return f"({f' {signs[0] if self.may_fail(expression) else signs} '.join(operands)})"
            case Op.SEL:
                return f"pick({', '.join(operands)})"
            case Op.MIN | Op.MAX | Op.LIMIT:
                return extreme(op, operands)
            case Op.MUX:
                return f"chosen({operands[0]}, {len(operands) - 1}, (const num[]){{{', '.join(operands[1:])}}})"
            case _ if op in CALLED:
                return f"{CALLED[op]}({', '.join(operands)})"
            case _:
                return f"({operands[0]} {INFIX[op]} {operands[1]})"


def extreme(op: Op, operands: list[str]) -> str:
    """Return the source of MIN, MAX or LIMIT."""
    if op is Op.LIMIT:
        low, value, high = operands
        return f"least(most({low}, {value}), {high})"
    called = "least" if op is Op.MIN else "most"
    source = operands[0]
    for operand in operands[1:]:
        source = f"{called}({source}, {operand})"
    return source
