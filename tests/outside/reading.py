"""Reads a text that must be right into the checked tree."""

from seqcheck.check.check import check
from seqcheck.check.machine import Machine
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.syntax.read import read


def machine_of(text: str) -> Machine:
    """Return the machine that a text means; it must not be refused."""
    sink = Sink()
    document = read(text.encode(), sink)
    machine = check(document, sink) if document is not None else None
    assert machine is not None, ([(d.code, d.span, d.message) for d in sink.diagnostics], text)
    return machine
