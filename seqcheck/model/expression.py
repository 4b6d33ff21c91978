"""Expressions of the finite machine: integers only. A truth is 0 or 1, a state its place in the declared list."""

from collections.abc import Iterator
from enum import Enum
from typing import TypeAlias

from msgspec import Struct


class Op(Enum):
    """Operators; every operand is always evaluated. Spelled as in Structured Text, the unary minus is NEG.

    Each is hashed by what it is, not by its name: the definition looks operators up hundreds of thousands of times.
    """

    __hash__ = object.__hash__

    NOT = "NOT"
    NEG = "NEG"
    POWER = "**"
    TIMES = "*"
    DIVIDE = "/"
    MOD = "MOD"
    PLUS = "+"
    MINUS = "-"
    LESS = "<"
    GREATER = ">"
    AT_MOST = "<="
    AT_LEAST = ">="
    EQUAL = "="
    UNEQUAL = "<>"
    AND = "AND"
    XOR = "XOR"
    OR = "OR"
    SEL = "SEL"
    MUX = "MUX"
    MIN = "MIN"
    MAX = "MAX"
    LIMIT = "LIMIT"
    ABS = "ABS"


FALLIBLE = frozenset({Op.DIVIDE, Op.MOD, Op.POWER, Op.MUX})
"""Operators that some operands make impossible."""


class Const(Struct, frozen=True):
    """A whole number."""

    value: int


class Load(Struct, frozen=True):
    """The value of the variable at this place of the state."""

    variable: int


class Sense(Struct, frozen=True):
    """The value of the sensor with this number."""

    sensor: int


class Apply(Struct, frozen=True):
    """An operator on its operands; AND, OR, MIN and MAX take two or more."""

    op: Op
    operands: tuple["Expression", ...]


Expression: TypeAlias = Const | Load | Sense | Apply

TRUE, FALSE = Const(1), Const(0)


def conjunction(*parts: Expression) -> Expression:
    """Join truths by AND, leaving out constants that are true."""
    kept = tuple(part for part in parts if part != TRUE)
    if not kept:
        return TRUE
    return kept[0] if len(kept) == 1 else Apply(Op.AND, kept)


def negation(part: Expression) -> Expression:
    """Return NOT *part*."""
    return Apply(Op.NOT, (part,))


def walk(expression: Expression) -> Iterator[Expression]:
    """Yield an expression and all within it; sensors are not entered."""
    pending = [expression]
    while pending:
        here = pending.pop()
        yield here
        if isinstance(here, Apply):
            pending.extend(here.operands)


def reads(expression: Expression, sensors: tuple[Expression, ...]) -> frozenset[int]:
    """Return the variables that the value can depend on, through sensors too."""
    found: set[int] = set()
    entered: set[int] = set()
    pending = [expression]
    while pending:
        for part in walk(pending.pop()):
            if isinstance(part, Load):
                found.add(part.variable)
            elif isinstance(part, Sense) and part.sensor not in entered:
                entered.add(part.sensor)
                pending.append(sensors[part.sensor])
    return frozenset(found)


def clauses(expression: Expression) -> tuple[Expression, ...]:
    """Split at AND and OR into the parts that are neither, left to right."""
    if isinstance(expression, Apply) and expression.op in {Op.AND, Op.OR}:
        return tuple(clause for operand in expression.operands for clause in clauses(operand))
    return (expression,)
