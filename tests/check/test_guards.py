"""The checker's own guards: nothing may ever be dropped without a diagnostic, since that could hide a hazard."""

import pytest

from seqcheck.check.check import check
from seqcheck.check.meaning import CheckerFaultError
from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.diagnostics.span import Span
from seqcheck.syntax.read import read
from tests.check.examples import SMALL


class DeafSink(Sink):
    """Forgets what is reported: stands for a check that finds a fault and says nothing."""

    def report(self, code: Code, span: Span, message: str, help: str = "") -> None:  # noqa: A002
        """Do nothing."""


@pytest.mark.parametrize(
    "extra",
    [
        "hazards: {H: {must not be: nothing}}",
        "hazards: {H: {must not be: made}}",
        "people: {p: {then: {nothing: TRUE}}}",
        "sensors: {s: nothing}",
        "plant: {p: {when: hot, after: 2..1 s, then: {hot: FALSE}}}",
        "faults: {f: {output: nothing, stuck: TRUE}}",
        "requirements: {R: {forbid: nothing, while: hot}}",
        "hazards: {H: {must not be: '--SEL(gate, gate, opne)'}}",
        "hazards: {H: {must not be: gate < opne}}",
        "panel: {e: {range: 1..5000000}}",
    ],
)
def test_what_is_dropped_silently_is_a_bug(extra: str) -> None:
    sink = DeafSink()
    document = read((SMALL + extra).encode(), sink)
    assert document is not None
    with pytest.raises(CheckerFaultError):
        check(document, sink)
