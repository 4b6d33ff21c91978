"""Turns a diagnostic into lines that a person reads: place, message, the source with a caret line, the help. No colour."""

import unicodedata
from collections.abc import Sequence
from functools import lru_cache

from seqcheck.diagnostics.diagnostic import Diagnostic
from seqcheck.diagnostics.span import Span

WIDTH = 110
LINES_SHOWN = 3
INDENT = "    "


def render(diagnostic: Diagnostic, file_name: str, text: str) -> str:
    """Write one diagnostic out; *text* is the whole file, if it could be read. Several lines, no line end after the last."""
    span = diagnostic.span
    head = f"{file_name}:{span.line}:{span.column}: {diagnostic.severity.value} {diagnostic.code.value}: "
    excerpt = _excerpt(span, split_lines(text)) if text else []
    lines = [head + printable(diagnostic.message), *excerpt]
    if diagnostic.help:
        lines.append(f"help: {printable(diagnostic.help)}")
    return "\n".join(lines)


def printable(text: str) -> str:
    """Replace what a terminal would act on, or not show, by a visible stand-in; each tab by a blank."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else " " if c == "\t" else "\ufffd" for c in text)


@lru_cache(maxsize=1)
def split_lines(text: str) -> tuple[str, ...]:
    """Split at the line ends that YAML knows, so that line numbers agree with spans; drop a byte order mark."""
    return tuple(text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n").split("\n"))


def _excerpt(span: Span, lines: Sequence[str]) -> list[str]:
    shown: list[str] = []
    last = min(span.end_line, len(lines))
    for number in range(span.line, last + 1):
        if number >= span.line + LINES_SHOWN:
            return [*shown, INDENT + "..."]
        line = lines[number - 1]
        start = span.column if number == span.line else len(line) - len(line.lstrip()) + 1
        end = span.end_column if number == span.end_line else len(line) + 1
        if number == span.line or start < end:
            shown += _marked(line, start, max(end, start + 1))
    return shown


def _marked(line: str, start: int, end: int) -> list[str]:
    """One line of source and, under its columns *start* up to *end*, carets; a long line is cut around them."""
    first = 0
    if len(line) > WIDTH:
        first = max(0, min(start - 1 - WIDTH // 3, len(line) - WIDTH))
    cut = line[first : first + WIDTH]
    before = "..." if first else ""
    after = "..." if first + WIDTH < len(line) else ""
    begin, stop = start - 1 - first, min(end - 1 - first, len(cut) + 1)
    source = printable(cut)
    blanks = len(before) + _width(source[:begin]) + max(0, begin - len(source))
    carets = max(1, _width(source[begin:stop]))
    return [f"{INDENT}{before}{source}{after}".rstrip(), INDENT + " " * blanks + "^" * carets]


def _width(text: str) -> int:
    """Columns that *text* takes on a terminal."""
    if text.isascii():
        return len(text)
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)
