"""What can be said of types: whether two agree, how to name one in a message, what a written value means."""

import re

from seqcheck.check.typed import NumberType, StatesType, TruthType, Type, Value
from seqcheck.diagnostics.wording import NearNames, listed
from seqcheck.syntax.words import TRUTHS

TRUTH = TruthType()

_NUMBER = re.compile(r"[+-]?[0-9](?:_?[0-9]){0,17}")


def alike(left: Type, right: Type) -> bool:
    """Tell whether values of the two types can be compared; numbers always can, states if the lists are equal."""
    if isinstance(left, StatesType) and isinstance(right, StatesType):
        return left is right or left.states == right.states
    return type(left) is type(right)


def described(kind: Type) -> str:
    """Name a type in a message."""
    if isinstance(kind, TruthType):
        return "a truth"
    if isinstance(kind, NumberType):
        same = kind.lowest == kind.highest
        return f"the number {kind.lowest}" if same else f"a number {kind.lowest}..{kind.highest}"
    return f"one of the states {listed(kind.states, most=6)}"


def value_of(text: str, kind: Type) -> Value | None:
    """Return what *text* means as a value of *kind*, spelled as declared, or None."""
    text = text.strip()
    if isinstance(kind, TruthType):
        return TRUTHS.get(text.upper())
    if isinstance(kind, NumberType):
        number = int(text.replace("_", "")) if _NUMBER.fullmatch(text) else None
        return number if number is not None and kind.lowest <= number <= kind.highest else None
    lowered = text.lower()
    return next((state for state in kind.states if state.lower() == lowered), None)


def value_hint(text: str, kind: Type, near: NearNames) -> str:
    """Propose a value of *kind* for *text*, which is none."""
    if isinstance(kind, TruthType):
        return "write TRUE or FALSE"
    if isinstance(kind, NumberType):
        return f"write a whole number from {kind.lowest} to {kind.highest}"
    return near.hint(text, kind.states, "the states are")


def states_named(kind: StatesType) -> str:
    """List the states of a type, for a help line."""
    return f"the states are {listed(kind.states, in_quotes=True)}"
