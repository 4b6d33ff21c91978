"""Where in a file something stands."""

from msgspec import Struct


class Span(Struct, frozen=True):
    """A stretch of one file; lines and columns count from 1, the end column is one past the last character."""

    line: int
    column: int
    end_line: int
    end_column: int

    @staticmethod
    def at(line: int, column: int, length: int = 1) -> "Span":
        """Make a span of *length* characters on one line."""
        return Span(line, column, line, column + max(length, 1))

    def to(self, other: "Span") -> "Span":
        """Return the span from the start of this one to the end of *other*."""
        return Span(self.line, self.column, other.end_line, other.end_column)


START_OF_FILE = Span(1, 1, 1, 2)
