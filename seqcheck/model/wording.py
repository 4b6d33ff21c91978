"""Writes expressions of the model as Structured Text, in the names of the file."""

from seqcheck.model.expression import Apply, Const, Expression, Load, Op, Sense
from seqcheck.model.model import Model, VariableKind
from seqcheck.model.run import Value

STRENGTH = {
    Op.OR: 1,
    Op.XOR: 2,
    Op.AND: 3,
    Op.EQUAL: 4,
    Op.UNEQUAL: 4,
    Op.LESS: 5,
    Op.GREATER: 5,
    Op.AT_MOST: 5,
    Op.AT_LEAST: 5,
    Op.PLUS: 6,
    Op.MINUS: 6,
    Op.TIMES: 7,
    Op.DIVIDE: 7,
    Op.MOD: 7,
    Op.POWER: 8,
    Op.NOT: 9,
    Op.NEG: 9,
}


def wording(model: Model, expression: Expression, within: int = 0) -> str:
    """Write an expression of the model in Structured Text with the names of the file."""
    match expression:
        case Load():
            variable = model.variables[expression.variable]
            if variable.kind is VariableKind.TIMER:
                return f"{variable.name}.ET"
            return variable.name
        case Sense():
            return model.sensors[expression.sensor].name
        case Const():
            return str(expression.value)
        case Apply():
            return _operation(model, expression, within)


def _operation(model: Model, expression: Apply, within: int) -> str:
    op = expression.op
    if (timer := _timer_output(model, expression)) is not None:
        return timer
    if op is Op.SEL and _is_fault(model, expression.operands[0]):
        return wording(model, expression.operands[1], within)
    strength = STRENGTH.get(op)
    if strength is None:
        return f"{op.value}({', '.join(_operands(model, expression, 0))})"
    if op in {Op.NOT, Op.NEG}:
        text = ("NOT " if op is Op.NOT else "-") + _operands(model, expression, strength)[0]
    else:
        text = f" {op.value} ".join(_operands(model, expression, strength + 1))
    return f"({text})" if strength < within else text


def _operands(model: Model, expression: Apply, within: int) -> list[str]:
    labels = next((found for operand in expression.operands if (found := _labels(model, operand))), ())
    return [_operand(model, operand, within, labels) for operand in expression.operands]


def _operand(model: Model, operand: Expression, within: int, labels: tuple[Value, ...]) -> str:
    if isinstance(operand, Const) and operand.value < len(labels):
        label = labels[operand.value]
        return str(label).upper() if isinstance(label, bool) else str(label)
    return wording(model, operand, within)


def _labels(model: Model, expression: Expression) -> tuple[Value, ...]:
    match expression:
        case Load():
            return model.variables[expression.variable].labels
        case Sense():
            return model.sensors[expression.sensor].labels
        case Apply(op=Op.SEL):
            return _labels(model, expression.operands[1]) or _labels(model, expression.operands[2])
        case _:
            return ()


def _timer_output(model: Model, expression: Apply) -> str | None:
    for timer in model.timers:
        if expression == timer.q:
            return f"{timer.name}.Q"
        if expression == timer.et:
            return f"{timer.name}.ET"
    return None


def _is_fault(model: Model, expression: Expression) -> bool:
    return isinstance(expression, Load) and model.variables[expression.variable].kind is VariableKind.FAULT
