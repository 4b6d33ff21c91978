"""The tree of an expression as it is written: names not looked up, types not known."""

from dataclasses import dataclass
from fractions import Fraction
from typing import TypeAlias

from seqcheck.diagnostics.span import Span


@dataclass(frozen=True, slots=True, eq=False)
class Name:
    """A name, with what follows its dot if anything (`settled.Q`)."""

    text: str
    member: str
    span: Span


@dataclass(frozen=True, slots=True, eq=False)
class Constant:
    """A number or a truth."""

    value: bool | int
    span: Span


@dataclass(frozen=True, slots=True, eq=False)
class Duration:
    """A duration such as T#1s."""

    seconds: Fraction
    span: Span


@dataclass(frozen=True, slots=True, eq=False)
class Operation:
    """An operator or function, spelled in capitals (NEG for the unary minus); *sign* is the place of the word itself."""

    operator: str
    operands: tuple["Term", ...]
    span: Span
    sign: Span


Term: TypeAlias = Name | Constant | Duration | Operation
