"""The tree of an expression as it is written: names not looked up, types not known."""

from fractions import Fraction
from typing import TypeAlias

from msgspec import Struct

from seqcheck.diagnostics.span import Span


class Name(Struct, frozen=True, eq=False):
    """A name, with what follows its dot if anything (`settled.Q`)."""

    text: str
    member: str
    span: Span


class Constant(Struct, frozen=True, eq=False):
    """A number or a truth."""

    value: bool | int
    span: Span


class Duration(Struct, frozen=True, eq=False):
    """A duration such as T#1s."""

    seconds: Fraction
    span: Span


class Operation(Struct, frozen=True, eq=False):
    """An operator or function, spelled in capitals (NEG for the unary minus); *sign* is the place of the word itself."""

    operator: str
    operands: tuple["Term", ...]
    span: Span
    sign: Span


Term: TypeAlias = Name | Constant | Duration | Operation
