"""Parses a Structured Text expression (IEC 61131-3) into terms, by precedence; the place of each term is kept.

Left association throughout. AND and OR of several operands become one term. Where editions of the standard disagree
(`-a ** b`, `a < b = c`) parentheses are asked for.
"""

from typing import NamedTuple

from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.diagnostics.span import Span
from seqcheck.diagnostics.wording import quoted
from seqcheck.syntax.durations import read_literal
from seqcheck.syntax.nodes import Places
from seqcheck.syntax.terms import Constant, Duration, Name, Operation, Term
from seqcheck.syntax.tokens import ExpressionError, Token, TokenKind, tokenize

DEEPEST = 100
LONGEST = 200_000

# IEC 61131-3:2003, table of operators; the strongest binds first
_STRENGTH = {
    "OR": 1, "XOR": 2, "AND": 3, "=": 4, "<>": 4, "<": 5, ">": 5, "<=": 5, ">=": 5,
    "+": 6, "-": 6, "*": 7, "/": 7, "MOD": 7, "**": 8,
}  # fmt: skip
_EQUALITIES = frozenset({"=", "<>"})
_ORDERINGS = frozenset({"<", ">", "<=", ">="})
_ENGLISH = {
    "is": "write = for equality",
    "equals": "write = for equality",
    "isnt": "write <> for inequality",
    "in": "compare with each value and join with OR",
    "then": "the effects of a rule stand under its own key `then`",
    "when": "a condition has no word before it",
    "if": "a condition has no word before it",
    "unless": "write AND NOT (...)",
    "and_then": "write AND",
    "or_else": "write OR",
}


def parse_expression(text: str, places: Places, sink: Sink) -> Term | None:
    """Return the term that *text* says; report the first thing wrong with it and return None."""
    if len(text) > LONGEST:
        message = f"the expression is {len(text):,} characters long; the most is {LONGEST:,}"
        sink.report(Code.TOO_LARGE, places.span(0, 1), message, "keep parts of it in sensors")
        return None
    try:
        return _Parser(tokenize(text), places).parse()
    except ExpressionError as error:
        sink.report(error.code, places.span(error.start, error.end), error.message, error.help)
        return None


class _Part(NamedTuple):
    """A parsed part of the text; *bare* is its outermost operator if no parentheses enclose it."""

    term: Term
    start: int
    end: int
    height: int
    bare: str = ""


class _Parser:
    """Reads the tokens of one expression from left to right."""

    def __init__(self, tokens: list[Token], places: Places) -> None:
        self._tokens = tokens
        self._places = places
        self._at = 0

    def parse(self) -> Term:
        if self._ended():
            raise self._wrong("there is no expression here", "write a condition such as `gate = shut`")
        part = self._part(1, 1)
        if not self._ended():
            raise self._unexpected()
        return part.term

    @property
    def _token(self) -> Token:
        return self._tokens[self._at]

    def _ended(self) -> bool:
        return self._token.kind is TokenKind.END

    def _next(self) -> Token:
        token = self._tokens[self._at]
        self._at += 1
        return token

    def _is_mark(self, text: str) -> bool:
        return self._token.kind is TokenKind.MARK and self._token.text == text

    def _span(self, start: int, end: int) -> Span:
        return self._places.span(start, end)

    # --- operators ---
    def _part(self, weakest: int, depth: int) -> _Part:
        """Read operands joined by operators that bind at least as strongly as *weakest*."""
        if depth > DEEPEST:
            raise self._too_deep(self._token)
        left = self._operand(depth)
        while self._token.kind is TokenKind.OPERATOR:
            strength = _STRENGTH.get(self._token.text, 0)
            if strength < weakest or not strength:
                break
            sign = self._next()
            if sign.text in {"AND", "OR"}:
                left = self._chain(left, sign, strength, depth)
            else:
                left = self._join(left, sign, self._part(strength + 1, depth + 1))
        return left

    def _chain(self, first: _Part, sign: Token, strength: int, depth: int) -> _Part:
        """Read the rest of `a AND b AND c` into one term."""
        parts = [first, self._part(strength + 1, depth + 1)]
        while self._token.kind is TokenKind.OPERATOR and self._token.text == sign.text:
            self._next()
            parts.append(self._part(strength + 1, depth + 1))
        return self._made(sign, parts, parts[0].start, parts[-1].end)

    def _join(self, left: _Part, sign: Token, right: _Part) -> _Part:
        for part in (left, right):
            mixed = (sign.text in _EQUALITIES and part.bare in _ORDERINGS) or (
                sign.text in _ORDERINGS and part.bare in _EQUALITIES
            )
            if mixed:
                message = f"it is unclear whether {quoted(part.bare)} or {quoted(sign.text)} comes first"
                raise ExpressionError(
                    Code.UNCLEAR_ORDER, (left.start, right.end), message, "put parentheses around one of the comparisons"
                )
        if sign.text == "**" and left.bare == "NEG":
            message = "it is unclear whether the minus or the power comes first"
            raise ExpressionError(Code.UNCLEAR_ORDER, (left.start, right.end), message, "write (-a) ** b or -(a ** b)")
        return self._made(sign, [left, right], left.start, right.end)

    def _made(self, sign: Token, parts: list[_Part], start: int, end: int, operator: str = "") -> _Part:
        height = 1 + max((part.height for part in parts), default=0)
        if height > DEEPEST:
            raise self._too_deep(sign)
        operator = operator or sign.text
        operands = tuple(part.term for part in parts)
        term = Operation(operator, operands, self._span(start, end), self._span(sign.start, sign.end))
        return _Part(term, start, end, height, operator)

    # --- operands ---
    def _operand(self, depth: int) -> _Part:
        token = self._token
        if token.kind is TokenKind.OPERATOR and token.text in {"NOT", "-", "+"}:
            return self._prefixed(depth)
        if token.kind is TokenKind.FUNCTION:
            return self._call(depth)
        if self._is_mark("("):
            return self._parenthesised(depth)
        if token.kind not in {TokenKind.NAME, TokenKind.NUMBER, TokenKind.TRUTH, TokenKind.TIME}:
            raise self._missing_operand()
        self._next()
        if token.kind is TokenKind.NAME:
            return self._name(token)
        return _Part(self._constant(token), token.start, token.end, 1)

    def _prefixed(self, depth: int) -> _Part:
        sign = self._next()
        if sign.text == "+":
            message = "a plus sign with nothing on its left"
            raise ExpressionError(Code.BAD_EXPRESSION, (sign.start, sign.end), message, "leave the plus sign out")
        if depth >= DEEPEST:
            raise self._too_deep(sign)
        part = self._operand(depth + 1)
        if sign.text == "-" and isinstance(part.term, Constant) and not part.bare and type(part.term.value) is int:
            return _Part(Constant(-part.term.value, self._span(sign.start, part.end)), sign.start, part.end, 1, "NEG")
        return self._made(sign, [part], sign.start, part.end, "NEG" if sign.text == "-" else "NOT")

    def _parenthesised(self, depth: int) -> _Part:
        opened = self._next()
        inner = self._part(1, depth + 1)
        closed = self._close(opened)
        return _Part(inner.term, opened.start, closed.end, inner.height)

    def _close(self, opened: Token) -> Token:
        if self._is_mark(")"):
            return self._next()
        if self._ended():
            message = "the parenthesis opened here is never closed"
            raise ExpressionError(Code.BAD_EXPRESSION, (opened.start, opened.end), message, "add the missing )")
        raise self._unexpected()

    def _call(self, depth: int) -> _Part:
        function = self._next()
        if not self._is_mark("("):
            message = f"{function.text} is a function, and its arguments are missing"
            help_line = f"write {function.text}( ) with its arguments; it can't be the name of a variable or state"
            raise ExpressionError(Code.BAD_EXPRESSION, (function.start, function.end), message, help_line)
        opened = self._next()
        parts: list[_Part] = []
        if not self._is_mark(")"):
            parts.append(self._part(1, depth + 1))
            while self._is_mark(","):
                self._next()
                parts.append(self._part(1, depth + 1))
        closed = self._close(opened)
        made = self._made(function, parts, function.start, closed.end)
        return _Part(made.term, made.start, made.end, made.height)

    def _name(self, token: Token) -> _Part:
        if self._is_mark("("):
            message = f"there is no function {quoted(token.text)}"
            help_line = "the functions are SEL, MUX, MIN, MAX, LIMIT and ABS"
            raise ExpressionError(Code.BAD_EXPRESSION, (token.start, token.end), message, help_line)
        if not self._is_mark("."):
            return _Part(Name(token.text, "", self._span(token.start, token.end)), token.start, token.end, 1)
        self._next()
        if self._token.kind is not TokenKind.NAME:
            raise self._wrong("a dot with no name after it", "a timer is read as NAME.Q or NAME.ET")
        member = self._next()
        return _Part(Name(token.text, member.text, self._span(token.start, member.end)), token.start, member.end, 1)

    def _constant(self, token: Token) -> Term:
        span = self._span(token.start, token.end)
        if token.kind is TokenKind.NUMBER:
            return Constant(int(token.text), span)
        if token.kind is TokenKind.TRUTH:
            return Constant(token.text == "TRUE", span)
        seconds = read_literal(token.text)
        if seconds is None:
            message = f"{quoted(token.text)} is no duration"
            raise ExpressionError(Code.BAD_DURATION, (token.start, token.end), message, "write it like T#1m30s or T#500ms")
        return Duration(seconds, span)

    # --- what is wrong ---
    def _wrong(self, message: str, help_line: str) -> ExpressionError:
        return ExpressionError(Code.BAD_EXPRESSION, (self._token.start, self._token.end), message, help_line)

    def _too_deep(self, token: Token) -> ExpressionError:
        message = f"the expression nests more than {DEEPEST} deep"
        return ExpressionError(Code.EXPRESSION_TOO_DEEP, (token.start, token.end), message, "keep parts of it in sensors")

    def _missing_operand(self) -> ExpressionError:
        token = self._token
        before = self._tokens[self._at - 1] if self._at else None
        if before is not None and before.kind is TokenKind.OPERATOR:
            message = f"{before.text} has nothing on its right"
            help_line = f"complete it, or delete {before.text}"
            return ExpressionError(Code.BAD_EXPRESSION, (before.start, before.end), message, help_line)
        if token.kind is TokenKind.OPERATOR:
            return self._wrong(f"{token.text} has nothing on its left", f"complete it, or delete {token.text}")
        if token.kind is TokenKind.END:
            return self._wrong("the expression stops short", "complete it; a text with a comma or # in it needs quotes")
        return self._wrong(f"{quoted(token.text)} stands where a value should", "write a name, a number or a parenthesis")

    def _unexpected(self) -> ExpressionError:
        token = self._token
        before = self._tokens[self._at - 1]
        if self._is_mark(")"):
            return self._wrong("this parenthesis closes none", "delete it, or add the missing (")
        if self._is_mark(","):
            return self._wrong("a comma outside the arguments of a function", "join conditions with AND or OR")
        if self._is_mark(".") and before.kind is TokenKind.NUMBER:
            return self._wrong("a range has no meaning in an expression", "compare with both ends: a >= 1 AND a <= 2")
        word = next((w for w in (token, before) if w.text.lower() in _ENGLISH and w.kind is TokenKind.NAME), None)
        help_line = _ENGLISH[word.text.lower()] if word else "write an operator (= <> < > AND OR ...) between the two"
        return self._wrong(f"{quoted(token.text)} can't follow {quoted(before.text)}", help_line)
