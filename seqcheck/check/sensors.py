"""Gives each sensor its meaning when it is first needed, in whatever order they stand; forbids circles among them."""

from seqcheck.check.elaborate import Elaborator, Reader
from seqcheck.check.machine import Sensor
from seqcheck.check.scope import Declared
from seqcheck.check.size import Measure
from seqcheck.check.typed import Type
from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.diagnostics.wording import listed
from seqcheck.syntax import document as doc
from seqcheck.syntax import terms

_DEEPEST_CHAIN = 100


class Sensors:
    """The sensors of one file."""

    def __init__(self, declared: tuple[doc.Sensor, ...], elaborator: Elaborator, measure: Measure, sink: Sink) -> None:
        self._written = {sensor.name.value.lower(): sensor for sensor in reversed(declared)}
        self._elaborator = elaborator
        self._measure = measure
        self._sink = sink
        self._done: dict[str, Sensor | None] = {}
        self._open: list[str] = []
        self._names_in: dict[str, frozenset[str]] | None = None

    def type_of(self, declared: Declared, name: terms.Name) -> Type | None:
        """Return the type of a sensor that *name* reads, or None if something is wrong with it."""
        folded = declared.name.lower()
        if folded in self._open:
            self._report_cycle(self._open[self._open.index(folded) :], name)
            return None
        if len(self._open) >= _DEEPEST_CHAIN and folded not in self._done:
            message = f"sensors read one another more than {_DEEPEST_CHAIN} deep"
            self._sink.report(Code.TOO_LARGE_WRITTEN_OUT, name.span, message, "keep intermediate results in memory or parts")
            return None
        sensor = self.resolve(folded)
        return None if sensor is None else sensor.expression.type

    def resolve(self, folded: str) -> Sensor | None:
        """Return a sensor's meaning, elaborating it if this is the first time it is needed."""
        if folded not in self._done:
            self._open.append(folded)
            self._done[folded] = self._elaborated(self._written[folded])
            self._open.pop()
        return self._done[folded]

    def _elaborated(self, written: doc.Sensor) -> Sensor | None:
        if written.formula is None or written.formula.term is None:
            return None
        expression = self._elaborator.expression(written.formula.term, Reader.TRUTH)
        if expression is None or not self._measure.add_sensor(written.name.value, expression):
            return None
        return Sensor(
            name=written.name.value,
            expression=expression,
            expression_text=written.formula.text,
            text=written.text,
            span=written.name.span,
        )

    def _report_cycle(self, cycle: list[str], name: terms.Name) -> None:
        spelled = [self._written[folded].name.value for folded in cycle]
        message = f"sensors read one another in a circle: {listed([*spelled, spelled[0]], most=8)}"
        self._sink.report(Code.SENSOR_CYCLE, name.span, message, "let one of them read parts only")

    def reading(self, part: str) -> list[str]:
        """Return the sensors in whose expression the name of *part* occurs."""
        if self._names_in is None:
            self._names_in = {key: _names(sensor.formula) for key, sensor in self._written.items()}
        spelled = {key: sensor.name.value for key, sensor in self._written.items()}
        return [spelled[key] for key, names in reversed(self._names_in.items()) if part.lower() in names]


def _names(formula: doc.Formula | None) -> frozenset[str]:
    found: set[str] = set()
    pending = [formula.term] if formula is not None and formula.term is not None else []
    while pending:
        term = pending.pop()
        if isinstance(term, terms.Name):
            found.add(term.text.lower())
        elif isinstance(term, terms.Operation):
            pending += term.operands
    return frozenset(found)
