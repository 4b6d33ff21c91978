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
TRUTHS = frozenset({Op.NOT, Op.AND, Op.OR, Op.XOR, Op.LESS, Op.GREATER, Op.AT_MOST, Op.AT_LEAST, Op.EQUAL, Op.UNEQUAL})


SPOKEN = {
    Op.EQUAL: "is",
    Op.UNEQUAL: "is not",
    Op.LESS: "is less than",
    Op.GREATER: "is more than",
    Op.AT_MOST: "is at most",
    Op.AT_LEAST: "is at least",
    Op.AND: "and",
    Op.OR: "or",
}


def spoken(model: Model, expression: Expression) -> str:
    """Say a comparison of a variable or sensor in words; anything else as `wording` has it."""
    if isinstance(expression, Apply) and expression.op in SPOKEN and _timer_output(model, expression) is None:
        named = _shared_labels(model, expression.operands)
        said = [_spoken_operand(model, operand, named) for operand in expression.operands]
        if None not in said:
            return f" {SPOKEN[expression.op]} ".join(part for part in said if part is not None)
    if isinstance(expression, Apply) and expression.op is Op.NOT:
        said_not = _spoken_operand(model, expression.operands[0], ())
        if said_not is not None:
            return f"{said_not} is false"
    said_truth = _spoken_operand(model, expression, ()) if not isinstance(expression, Const) else None
    return wording(model, expression) if said_truth is None else f"{said_truth} is true"


def _spoken_operand(model: Model, operand: Expression, labels: tuple[Value, ...]) -> str | None:
    """Say a variable, sensor or constant; None for anything else."""
    match operand:
        case Const(value=value):
            return _constant(value, labels).replace("_", " ")
        case Load(variable=place) if model.variables[place].kind is not VariableKind.TIMER:
            return model.variables[place].spoken
        case Sense(sensor=number):
            return model.sensors[number].spoken
        case Apply(op=Op.SEL, operands=(fault, output, _)) if _is_fault(model, fault):
            return _spoken_operand(model, output, labels)
        case _:
            return None


def wording(model: Model, expression: Expression, within: int = 0, labels: tuple[Value, ...] = ()) -> str:
    """Write an expression of the model in Structured Text with the names of the file.

    *within* is the strength of the operator around it, *labels* name the values that it is compared with.
    """
    match expression:
        case Load():
            return _timer_output(model, expression) or model.variables[expression.variable].name
        case Sense():
            return model.sensors[expression.sensor].name
        case Const(value=value):
            return _constant(value, labels)
        case Apply():
            return _operation(model, expression, within, labels)


def _constant(value: int, labels: tuple[Value, ...]) -> str:
    if not labels:
        return str(value)
    label = labels[value]
    return str(label).upper() if isinstance(label, bool) else str(label)


def _operation(model: Model, expression: Apply, within: int, labels: tuple[Value, ...]) -> str:
    op, operands = expression.op, expression.operands
    if (timer := _timer_output(model, expression)) is not None:
        return timer
    if op is Op.SEL and _is_fault(model, operands[0]):
        return wording(model, operands[1], within)
    if op in CHOOSING:
        chosen = [wording(model, operand, 0, labels or _shared_labels(model, operands[1:])) for operand in operands[1:]]
        return f"{op.value}({', '.join((wording(model, operands[0]), *chosen))})"
    named = _shared_labels(model, operands)
    strength = STRENGTH.get(op)
    if strength is None:
        return f"{op.value}({', '.join(wording(model, operand, 0, named) for operand in operands)})"
    if op in {Op.NOT, Op.NEG}:
        text = ("NOT " if op is Op.NOT else "-") + wording(model, operands[0], strength, named)
    else:
        text = f" {op.value} ".join(wording(model, operand, strength + 1, named) for operand in operands)
    return f"({text})" if strength < within else text


CHOOSING = frozenset({Op.SEL, Op.MUX})


def _shared_labels(model: Model, operands: tuple[Expression, ...]) -> tuple[Value, ...]:
    """Return the labels of the first operand that has any: all of a comparison or choice have the same."""
    return next((found for operand in operands if (found := _labels(model, operand))), ())


def _labels(model: Model, expression: Expression) -> tuple[Value, ...]:
    match expression:
        case Load(variable=place):
            return model.variables[place].labels
        case Sense(sensor=number):
            return model.sensors[number].labels
        case Apply(op=op, operands=operands) if op in CHOOSING:
            return _shared_labels(model, operands[1:])
        case Apply(op=op):
            return (False, True) if op in TRUTHS else ()
        case _:
            return ()


def _timer_output(model: Model, expression: Expression) -> str | None:
    for timer in model.timers:
        if expression == timer.q:
            return f"{timer.name}.Q"
        if expression == timer.et:
            return f"{timer.name}.ET"
    return None


def _is_fault(model: Model, expression: Expression) -> bool:
    return isinstance(expression, Load) and model.variables[expression.variable].kind is VariableKind.FAULT
