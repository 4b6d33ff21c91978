"""Expressions of the checked tree: names resolved, types known, durations counted in ticks.

Values are Python's own: a state is its name as declared, a truth a bool, a number an int.
"""

from enum import Enum
from typing import TypeAlias

from msgspec import Struct

from seqcheck.diagnostics.span import Span

Value: TypeAlias = bool | int | str


# --- types -----------------------------------------------------------------------------------------------------------
class TruthType(Struct, frozen=True):
    """FALSE or TRUE."""


class StatesType(Struct, frozen=True):
    """One of some named states, in declared order."""

    states: tuple[str, ...]


class NumberType(Struct, frozen=True):
    """A whole number from *lowest* to *highest*, ends included. Of an expression: bounds that hold in any state."""

    lowest: int
    highest: int


Type: TypeAlias = TruthType | StatesType | NumberType


# --- expressions -----------------------------------------------------------------------------------------------------
class Operator(Enum):
    """Operators and functions, valued as Structured Text spells them; the unary minus is NEG."""

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


class Literal(Struct, frozen=True, kw_only=True):
    """A number, a truth, a state of *type*, or a duration counted in ticks."""

    value: Value
    type: Type
    span: Span


class Read(Struct, frozen=True, kw_only=True):
    """The value of a part, panel item, output or memory. Of an output: as *commanded*, else what it really does."""

    variable: str
    commanded: bool
    type: Type
    span: Span


class ReadSensor(Struct, frozen=True, kw_only=True):
    """The value the controller (and anyone else) gets from a sensor, stuck or not."""

    sensor: str
    type: Type
    span: Span


class ReadTimer(Struct, frozen=True, kw_only=True):
    """`NAME.Q` (a truth) or `NAME.ET` (ticks), as the timer stood when it was last brought up to date."""

    timer: str
    elapsed: bool
    type: Type
    span: Span


class Operation(Struct, frozen=True, kw_only=True):
    """An operator on its operands. AND and OR may have more than two. Every operand is evaluated, always."""

    operator: Operator
    operands: tuple["Expression", ...]
    type: Type
    span: Span


Expression: TypeAlias = Literal | Read | ReadSensor | ReadTimer | Operation
