"""What is wrong with a file, as values: a code, a place, a sentence, a hint; and the sink that collects them."""

from enum import Enum

from msgspec import Struct

from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.span import Span


class Severity(Enum):
    """An error refuses the file; a warning does not."""

    ERROR = "error"
    WARNING = "warning"


class Diagnostic(Struct, frozen=True, kw_only=True):
    """One thing wrong with a file. *message* says what is wrong; only *help* proposes a mend."""

    code: Code
    span: Span
    message: str
    help: str = ""

    @property
    def severity(self) -> Severity:
        return Severity.WARNING if self.code.value.startswith("W") else Severity.ERROR


class Sink:
    """Collects the diagnostics of one file, each place and code once."""

    def __init__(self) -> None:
        self._found: dict[tuple[Code, Span, str], Diagnostic] = {}

    def report(self, code: Code, span: Span, message: str, help: str = "") -> None:  # noqa: A002
        """Record one diagnostic."""
        self._found.setdefault((code, span, message), Diagnostic(code=code, span=span, message=message, help=help))

    @property
    def diagnostics(self) -> tuple[Diagnostic, ...]:
        """All that was recorded, in file order."""
        return tuple(sorted(self._found.values(), key=lambda d: (d.span.line, d.span.column, d.code.value)))

    @property
    def refused(self) -> bool:
        """Whether any of it is an error."""
        return any(d.severity is Severity.ERROR for d in self._found.values())
