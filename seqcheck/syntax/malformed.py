"""Says in our words what a YAML parser found wrong: where it is, what it is, what would mend it."""

from typing import NamedTuple, Protocol

from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.syntax.nodes import Source


class Mark(Protocol):
    """A place as the parser gives it, counted from 0."""

    @property
    def line(self) -> int:
        """Return the line."""

    @property
    def column(self) -> int:
        """Return the column."""


class Malformed(NamedTuple):
    """What the parser says: the problem, what it was doing, and where both are."""

    problem: str
    context: str
    at: Mark | None
    began: Mark | None


DEEPEST = 64
TOO_DEEP = (f"lists and maps nest more than {DEEPEST} deep", "five levels are enough for any machine")


class _Saying(NamedTuple):
    """What is said of a problem that contains *sign*; *at_beginning*: at the place where what it spoils began."""

    sign: str
    message: str
    help: str
    at_beginning: bool = False


_SAYINGS = (
    _Saying("escape", "there is no such escape inside double quotes", "write two backslashes for one, or use single quotes"),
    _Saying("quoted scalar", "the quote opened here is never closed", "close the text with the same quote", at_beginning=True),
    _Saying(
        "mapping values are not allowed",
        "a colon and a blank where no key can end",
        "a text with a colon and a blank in it needs quotes; else check the indentation",
    ),
    _Saying(
        "flow",
        "the bracket opened here is not closed, or a comma is missing in it",
        "check its brackets and commas",
        at_beginning=True,
    ),
    _Saying(
        "simple key",
        "this line is no `key: value`",
        "add the colon, or put a text of several lines in quotes",
        at_beginning=True,
    ),
    _Saying("cannot start any token", "a text can't begin with this character", "put the text in quotes"),
    _Saying(
        "block",
        "this line does not go on where the lines before it stop",
        "indent the entries of one map or list alike, and write each as `key: value` or `- entry`",
    ),
)


def report_malformed(fault: Malformed, source: Source, sink: Sink) -> None:
    """Report why a file is not well-formed YAML."""
    if "nesting depth" in fault.problem and fault.at is not None:
        start = source.offset(fault.at.line, fault.at.column)
        message, help_line = TOO_DEEP
        sink.report(Code.NESTED_TOO_DEEPLY, source.span(start, start), message, help_line)
        return
    where = f"{fault.problem} {fault.context}"
    saying = next((s for s in _SAYINGS if s.sign in where), None)
    if saying is None:
        other = f"this is not well-formed YAML: {fault.problem or fault.context}"
        saying = _Saying("", other, "look for a missing colon, bracket, quote or line end here and in the line before")
    mark = fault.began if saying.at_beginning and fault.began is not None else fault.at or fault.began
    start = 0 if mark is None else source.offset(mark.line, mark.column)
    message, help_line = saying.message, saying.help
    if source.text[start : start + 1] == "\t":
        message, help_line = "a tab stands where only blanks may", "indent with blanks"
    elif mark is fault.began and fault.at is not None and mark is not None and mark.line != fault.at.line:
        message += f" (that shows in line {fault.at.line + 1})"
    sink.report(Code.BAD_YAML, source.span(start, start), message, help_line)
