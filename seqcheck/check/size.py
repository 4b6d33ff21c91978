"""Bounds the size of an expression with its sensors written out, without ever writing them out."""

from seqcheck.check.typed import Expression, Operation, ReadSensor
from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink

MOST_TERMS = 100_000
DEEPEST = 100


class Measure:
    """Knows the written-out size and depth of the sensors met so far."""

    def __init__(self, sink: Sink) -> None:
        self._sink = sink
        self._sensors: dict[str, tuple[int, int]] = {}

    def add_sensor(self, name: str, expression: Expression) -> bool:
        """Measure a sensor's expression; tell whether it is within bounds."""
        terms, depth = self._measured(expression)
        self._sensors[name] = (terms + 1, depth + 1)
        return self._within(expression, terms, depth)

    def fits(self, expression: Expression) -> bool:
        """Tell whether an expression is within bounds, or report that it is not."""
        return self._within(expression, *self._measured(expression))

    def _within(self, expression: Expression, terms: int, depth: int) -> bool:
        if terms <= MOST_TERMS and depth <= DEEPEST:
            return True
        what = f"{terms:,} terms large" if terms > MOST_TERMS else f"{depth} deep"
        message = f"with its sensors written out, the expression is {what}"
        limit = f"at most {MOST_TERMS:,} terms and a depth of {DEEPEST} are possible: let fewer sensors build on one another"
        self._sink.report(Code.TOO_LARGE_WRITTEN_OUT, expression.span, message, limit)
        return False

    def _measured(self, expression: Expression) -> tuple[int, int]:
        if isinstance(expression, ReadSensor):
            return self._sensors.get(expression.sensor, (1, 1))
        if not isinstance(expression, Operation):
            return 1, 1
        terms, depth = 1, 0
        for operand in expression.operands:
            more, deeper = self._measured(operand)
            terms += more
            depth = max(depth, deeper)
        return terms, depth + 1
