"""Expressions of the checked tree: names resolved, types known, durations counted in ticks.

Values are Python's own: a state is its name as declared, a truth a bool, a number an int.
"""

from dataclasses import dataclass
from enum import Enum
from typing import TypeAlias

from seqcheck.diagnostics.span import Span

Value: TypeAlias = bool | int | str


# --- types -----------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class TruthType:
    """FALSE or TRUE."""


@dataclass(frozen=True, slots=True)
class StatesType:
    """One of some named states, in declared order."""

    states: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NumberType:
    """A whole number from *lowest* to *highest*, ends included. Of an expression: bounds that hold in any state."""

    lowest: int
    highest: int


Type: TypeAlias = TruthType | StatesType | NumberType


# --- expressions -----------------------------------------------------------------------------------------------------
class Operator(Enum):
    """Operators and functions, valued as Structured Text spells them; the unary minus is NEG."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Literal:
    """A number, a truth, a state of *type*, or a duration counted in ticks."""

    value: Value
    type: Type
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """The value of a part, panel item, output or memory. Of an output: as *commanded*, else what it really does."""

    variable: str
    commanded: bool
    type: Type
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadSensor:
    """The value the controller (and anyone else) gets from a sensor, stuck or not."""

    sensor: str
    type: Type
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadTimer:
    """`NAME.Q` (a truth) or `NAME.ET` (ticks), as the timer stood when it was last brought up to date."""

    timer: str
    elapsed: bool
    type: Type
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """An operator on its operands. AND and OR may have more than two. Every operand is evaluated, always."""

    operator: Operator
    operands: tuple["Expression", ...]
    type: Type
    span: Span


Expression: TypeAlias = Literal | Read | ReadSensor | ReadTimer | Operation
