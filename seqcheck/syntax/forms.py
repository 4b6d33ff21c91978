"""The forms that a place in a sequence file can have: the vocabulary in which `sections` defines the language's shape."""

from enum import Enum
from typing import NamedTuple, TypeAlias


class Leaf(Enum):
    """What a single text means."""

    TEXT = "a text"
    EXPRESSION = "an expression"
    DURATION = "a duration"
    INTERVAL = "an interval"
    RANGE = "a range"
    VALUE = "a value"
    STATE = "the name of a state"
    BOOL = "the word bool"
    TRUTH = "TRUE or FALSE"
    REFERENCE = "the name of another entry"
    CHOICE = "one of some words"


class Single(NamedTuple):
    """One text; *choices* are the words allowed if it is a CHOICE or a TRUTH, whatever their case."""

    leaf: Leaf
    example: str
    choices: tuple[str, ...] = ()


class Listing(NamedTuple):
    """A list of *item*s, at least one unless *may_be_empty*."""

    item: "Single | OneOf"
    example: str
    may_be_empty: bool = False


class Key(NamedTuple):
    """A key of a `Keyed` map."""

    name: str
    form: "Form"
    about: str
    required: bool = False


class Keyed(NamedTuple):
    """A map with certain keys; one with all of *lead* is of this kind and no other."""

    what: str
    keys: tuple[Key, ...]
    example: str
    lead: str = ""


class Named(NamedTuple):
    """A map from names to entries of one form; *identifiers* are names of variables, which ignore case.

    A key of *reserved* is no name: what stands under it has a form of its own.
    """

    what: str
    entry: "Form"
    example: str
    identifiers: bool = False
    may_be_empty: bool = True
    reserved: tuple[Key, ...] = ()


class OneOf(NamedTuple):
    """One of several forms, told apart by being a text, a list, or a map with a leading key."""

    what: str
    forms: tuple["Form", ...]
    example: str


Form: TypeAlias = Single | Listing | Keyed | Named | OneOf
