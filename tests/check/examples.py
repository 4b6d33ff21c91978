"""Sequence files for the tests of the front end, and the one way they read them."""

from pathlib import Path

from seqcheck.check.check import check
from seqcheck.check.machine import Condition, Machine
from seqcheck.check.typed import Expression
from seqcheck.diagnostics.diagnostic import Diagnostic, Sink
from seqcheck.syntax.read import read

HERE = Path(__file__).parent
CASES = HERE / "cases"
PRESS = (HERE / "press.yaml").read_text(encoding="utf-8")
SEQUENCES = sorted((HERE.parent.parent / "sequences").rglob("*.yaml"))

SMALL = """\
machine: Small press
parts:
  ram: [top, moving, bottom]
  gate: [shut, open]
  made: {range: 0..3}
  depth: {range: -5..5}
  hot: bool
  wet: bool
outputs:
  drive: [off, down]
"""


def look_at(data: bytes | str) -> tuple[Machine | None, tuple[Diagnostic, ...]]:
    """Read and check a file; hold the promises that the front end makes for any file at all."""
    sink = Sink()
    document = read(data if isinstance(data, bytes) else data.encode("utf-8", "surrogatepass"), sink)
    machine = None if document is None else check(document, sink)
    assert (machine is None) == sink.refused
    return machine, sink.diagnostics


def accepted(text: str) -> Machine:
    """Return the machine of a file that must have no errors."""
    machine, diagnostics = look_at(text)
    assert machine is not None, [(d.code, d.span, d.message) for d in diagnostics]
    return machine


def condition_of(expression: str, before: str = SMALL) -> Condition:
    """Return the meaning of a condition over the small press."""
    quoted = expression.replace("'", "''")
    return accepted(f"{before}hazards:\n  H1: {{must not be: '{quoted}'}}\n").hazards[0].condition


def expression_of(expression: str, before: str = SMALL) -> Expression:
    """Return the meaning of an expression that is a truth."""
    return condition_of(expression, before).expression


def codes(text: str | bytes) -> list[str]:
    """Return the codes of all that is wrong with a file."""
    return [diagnostic.code.value for diagnostic in look_at(text)[1]]
