"""The words of Structured Text that can't be names, the form of an identifier, and the truths."""

import re

FUNCTIONS = ("SEL", "MUX", "MIN", "MAX", "LIMIT", "ABS")
WORD_OPERATORS = ("NOT", "AND", "OR", "XOR", "MOD")
TRUTHS = {"TRUE": True, "FALSE": False}
STATEMENT_WORDS = (
    "IF", "THEN", "ELSE", "ELSIF", "END_IF", "CASE", "OF", "END_CASE", "FOR", "TO", "BY", "DO", "END_FOR", "WHILE",
    "END_WHILE", "REPEAT", "UNTIL", "END_REPEAT", "EXIT", "RETURN",
)  # fmt: skip
RESERVED = frozenset((*FUNCTIONS, *WORD_OPERATORS, *TRUTHS, *STATEMENT_WORDS))

IDENTIFIER_PATTERN = "^[A-Za-z_][A-Za-z0-9_]*$"
LONGEST_NAME = 200

_IDENTIFIER = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")


def is_identifier(text: str) -> bool:
    """Tell whether *text* has the form of a name of IEC 61131-3 (doubled and trailing underscores let pass)."""
    return _IDENTIFIER.fullmatch(text) is not None and len(text) <= LONGEST_NAME


def is_odd(identifier: str) -> bool:
    """Tell whether the underscores of an identifier are not as the standard wants them."""
    return "__" in identifier or identifier.endswith("_")
