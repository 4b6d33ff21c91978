"""The tree of a YAML file: scalars, maps and lists, each with its place. Nothing here knows what the words mean."""

from bisect import bisect_right
from enum import Enum
from typing import NamedTuple, TypeAlias

from seqcheck.diagnostics.span import Span
from seqcheck.syntax.places import source_offsets


class Source:
    """A text and where its lines begin."""

    def __init__(self, text: str) -> None:
        self.text = text
        starts = [0]
        at = text.find("\n")
        while at >= 0:
            starts.append(at + 1)
            at = text.find("\n", at + 1)
        self.line_starts = starts

    def offset(self, line: int, column: int) -> int:
        """Return the index of a place given with line and column counted from 0."""
        return self.line_starts[min(line, len(self.line_starts) - 1)] + column

    def span(self, start: int, end: int) -> Span:
        """Return the span of the characters from *start* up to *end*, at least one."""
        end = max(end, start + 1)
        line = bisect_right(self.line_starts, start)
        end_line = bisect_right(self.line_starts, end - 1)
        column = start - self.line_starts[line - 1] + 1
        return Span(line, column, end_line, end - self.line_starts[end_line - 1] + 1)


class Style(Enum):
    """How a scalar is written: the character that opens it."""

    PLAIN = ""
    SINGLE = "'"
    DOUBLE = '"'
    LITERAL = "|"
    FOLDED = ">"


class Scalar(NamedTuple):
    """A text, from *start* up to *end* in the source, its quotes or block mark included."""

    value: str
    style: Style
    source: Source
    start: int
    end: int

    @property
    def span(self) -> Span:
        """Where it stands."""
        return self.source.span(self.start, self.end)

    @property
    def is_null(self) -> bool:
        """Whether YAML 1.2 reads it as nothing."""
        return self.style is Style.PLAIN and self.value in {"", "~", "null", "Null", "NULL"}

    def places(self) -> "Places":
        """Return what tells where the characters of the value stand in the file."""
        first = self.start + (1 if self.style in {Style.SINGLE, Style.DOUBLE} else 0)
        if "\n" not in self.value and self.source.text.startswith(self.value, first):
            return Places(self.source, first, None)
        offsets = source_offsets(self.source.text, self.start, self.style.value, self.value)
        return Places(self.source, first, offsets)


class Places:
    """Tells where a stretch of a scalar's value stands in the file."""

    def __init__(self, source: Source, first: int, offsets: list[int] | None) -> None:
        self._source = source
        self._first = first
        self._offsets = offsets

    def span(self, start: int, end: int) -> Span:
        """Return the place of the characters of the value from *start* up to *end*, at least one."""
        end = max(end, start + 1)
        if self._offsets is None:
            return self._source.span(self._first + start, self._first + end)
        last = len(self._offsets) - 1
        past_end = start > last
        begin = self._offsets[min(start, last)] + past_end
        return self._source.span(begin, self._offsets[min(end - 1, last)] + 1 + past_end)


class Entry(NamedTuple):
    """One `key: value` of a map."""

    key: Scalar
    value: "Node"


class Mapping(NamedTuple):
    """A map, entries in file order; *flow* when written with braces."""

    entries: tuple[Entry, ...]
    flow: bool
    source: Source
    start: int

    @property
    def span(self) -> Span:
        """Where it begins."""
        return self.source.span(self.start, self.start)


class Sequence(NamedTuple):
    """A list; *flow* when written with brackets."""

    items: tuple["Node", ...]
    flow: bool
    source: Source
    start: int

    @property
    def span(self) -> Span:
        """Where it begins."""
        return self.source.span(self.start, self.start)


Node: TypeAlias = Scalar | Mapping | Sequence
