"""Cuts a Structured Text expression into tokens. Says what is wrong with a token; knows no grammar."""

import re
from enum import Enum
from typing import NamedTuple

from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.wording import quoted
from seqcheck.syntax.words import FUNCTIONS, TRUTHS, WORD_OPERATORS


class TokenKind(Enum):
    """What a token is."""

    NAME = "a name"
    FUNCTION = "a function"
    NUMBER = "a number"
    TRUTH = "a truth"
    TIME = "a duration"
    OPERATOR = "an operator"
    MARK = "a parenthesis, comma or dot"
    END = "the end"


class Token(NamedTuple):
    """A piece of an expression from *start* up to *end*; operators, functions and truths are spelled in capitals."""

    kind: TokenKind
    text: str
    start: int
    end: int


class ExpressionError(Exception):
    """An expression is wrong at a stretch of its text: *code*, what is wrong, what would mend it."""

    def __init__(self, code: Code, place: tuple[int, int], message: str, help_line: str) -> None:
        super().__init__(message)
        self.code = code
        self.start, self.end = place
        self.message = message
        self.help = help_line


_TOKEN = re.compile(
    r"""(?P<space>\s+)
    |(?P<time>(?:LTIME|TIME|LT|T)\#[0-9A-Za-z_.+-]*)
    |(?P<based>[0-9][0-9_]*\#[0-9A-Za-z_]*)
    |(?P<real>[0-9][0-9_]*(?:\.[0-9][0-9_]*(?:E[+-]?[0-9]+)?|E[+-]?[0-9]+)(?!\w))
    |(?P<number>[0-9]\w*)
    |(?P<name>\w+)
    |(?P<wrong>:=|===?|!==?|&&|\|\||=>|=<|[!|~%^\[\]{};?\\"':$@])
    |(?P<operator>\*\*|<=|>=|<>|[-+*/=<>&])
    |(?P<mark>[(),.])""",
    re.VERBOSE | re.IGNORECASE,
)
_NEAR_MISSES = {
    ":=": "Structured Text compares with =",
    "==": "Structured Text writes = for equality",
    "===": "Structured Text writes = for equality",
    "!=": "Structured Text writes <> for inequality",
    "!==": "Structured Text writes <> for inequality",
    "&&": "Structured Text writes AND (or a single &)",
    "||": "Structured Text writes OR",
    "|": "Structured Text writes OR",
    "!": "Structured Text writes NOT",
    "~": "Structured Text writes NOT",
    "=<": "write <= for `at most`",
    "=>": "write >= for `at least`",
    "%": "Structured Text writes MOD for the remainder",
    "^": "Structured Text writes ** for a power, XOR for either-or",
    "[": "write ( ) around a part of an expression",
    "]": "write ( ) around a part of an expression",
    "{": "write ( ) around a part of an expression",
    "}": "write ( ) around a part of an expression",
    '"': "write the name of a state without quotes",
    "'": "write the name of a state without quotes",
}
_MOST_DIGITS = 18


def tokenize(text: str) -> list[Token]:
    """Cut *text* into tokens, the last of kind END; raise ExpressionError at the first that is none."""
    tokens = []
    at = 0
    while at < len(text):
        found = _TOKEN.match(text, at)
        if found is None:
            help_line = "an expression has names, numbers, parentheses and operators only"
            raise ExpressionError(Code.BAD_EXPRESSION, (at, at + 1), f"{quoted(text[at])} has no meaning here", help_line)
        if found.lastgroup != "space":
            tokens.append(_token(str(found.lastgroup), found.group(), at, found.end()))
        at = found.end()
    tokens.append(Token(TokenKind.END, "", len(text.rstrip()), len(text.rstrip()) + 1))
    return tokens


def _token(group: str, text: str, start: int, end: int) -> Token:
    if group == "name":
        return _word(text, start, end)
    if group in {"number", "based"}:
        return Token(TokenKind.NUMBER, str(_number(text, start, end)), start, end)
    if group == "operator":
        return Token(TokenKind.OPERATOR, "AND" if text == "&" else text, start, end)
    if group == "mark":
        return Token(TokenKind.MARK, text, start, end)
    if group == "time":
        return Token(TokenKind.TIME, text, start, end)
    if group == "real":
        help_line = "choose a smaller unit, so that the number is whole"
        raise ExpressionError(Code.NOT_WHOLE, (start, end), f"{quoted(text)} is not a whole number", help_line)
    help_line = _NEAR_MISSES.get(text, "an expression has names, numbers, parentheses and operators only")
    raise ExpressionError(Code.BAD_EXPRESSION, (start, end), f"{quoted(text)} has no meaning in an expression", help_line)


def _word(text: str, start: int, end: int) -> Token:
    upper = text.upper()
    if not text.isascii():
        message = f"{quoted(text)} is not a name: it has other letters than A to Z"
        raise ExpressionError(Code.BAD_NAME, (start, end), message, "names have letters A to Z, digits and underscores")
    if upper in TRUTHS:
        return Token(TokenKind.TRUTH, upper, start, end)
    if upper in WORD_OPERATORS:
        return Token(TokenKind.OPERATOR, upper, start, end)
    if upper in FUNCTIONS:
        return Token(TokenKind.FUNCTION, upper, start, end)
    return Token(TokenKind.NAME, text, start, end)


def _number(text: str, start: int, end: int) -> int:
    base_text, has_base, digits = text.partition("#")
    base = 10
    if not has_base:
        digits = text
    elif base_text in {"2", "8", "16"}:
        base = int(base_text)
    else:
        raise ExpressionError(Code.NOT_WHOLE, (start, end), f"{quoted(text)} is no number", "the bases are 2#, 8# and 16#")
    if len(digits.replace("_", "")) > _MOST_DIGITS * (4 if base == 2 else 1):
        help_line = f"numbers have at most {_MOST_DIGITS} digits"
        raise ExpressionError(Code.NOT_WHOLE, (start, end), "the number has too many digits", help_line)
    try:
        return int(digits, base)
    except ValueError:
        help_line = "a number has digits and single underscores only; a name begins with a letter"
        raise ExpressionError(Code.NOT_WHOLE, (start, end), f"{quoted(text)} is no number", help_line) from None
