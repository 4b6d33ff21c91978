"""Gives conditions and effects their meaning: what must be a truth, who may write what, which values fit."""

from enum import Enum

from seqcheck.check.elaborate import Elaborator, Hint, Reader, Unclear
from seqcheck.check.machine import Assignment, Condition, Effects
from seqcheck.check.scope import Declared, Kind, Scope
from seqcheck.check.size import Measure
from seqcheck.check.typed import Expression, Literal, NumberType, StatesType, TruthType, Type
from seqcheck.check.types import TRUTH, alike, described
from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.diagnostics.span import Span
from seqcheck.diagnostics.wording import quoted
from seqcheck.syntax import document as doc


class CheckerFaultError(Exception):
    """A bug: something was found wrong, and nobody reported it."""


class Writer(Enum):
    """Who writes, and what that may be."""

    CONTROLLER = frozenset({Kind.OUTPUT, Kind.MEMORY})
    PLANT = frozenset({Kind.PART})
    PERSON = frozenset({Kind.PART, Kind.PANEL})


_TRESPASS = {
    Writer.CONTROLLER: (
        Code.CONTROLLER_WRITES,
        "the controller writes outputs and memory only",
        "set an output here, and let a plant rule act on it",
    ),
    Writer.PLANT: (
        Code.PLANT_WRITES,
        "the plant and faults write parts only",
        "change a part here; the controller answers by a trip",
    ),
    Writer.PERSON: (Code.PERSON_WRITES, "people write parts and panel items only", "make it a command, or let a trip set it"),
}


class Meanings:
    """Conditions and effects of one file."""

    def __init__(self, scope: Scope, elaborator: Elaborator, measure: Measure, sink: Sink) -> None:
        self._scope = scope
        self._elaborator = elaborator
        self._measure = measure
        self._sink = sink

    def condition(self, formula: doc.Formula | None, reader: Reader) -> Condition | None:
        """Return the meaning of an expression that must be a truth."""
        expression = self._expression(formula, reader, None)
        if expression is None or formula is None:
            return None
        if not isinstance(expression.type, TruthType):
            message = f"a condition must be a truth, and this is {described(expression.type)}"
            help_line = "compare it: a > 0" if isinstance(expression.type, NumberType) else "compare it: a = b"
            self._sink.report(Code.NOT_A_TRUTH, expression.span, message, help_line)
            return None
        return Condition(expression=expression, text=formula.text, span=formula.span)

    @staticmethod
    def always(span: Span) -> Condition:
        """Return the condition of an entry that gives none."""
        return Condition(expression=Literal(value=True, type=TRUTH, span=span), text="TRUE", span=span)

    def effects(self, then: tuple[doc.Effect, ...], reader: Reader, writer: Writer) -> Effects:
        """Return the meaning of a `then`."""
        assignments = [self._assignment(effect, reader, writer) for effect in then]
        return tuple(assignment for assignment in assignments if assignment is not None)

    def _assignment(self, effect: doc.Effect, reader: Reader, writer: Writer) -> Assignment | None:
        declared = self._written(effect.target, writer)
        kind = None if declared is None else declared.type
        hint: Hint = Unclear.BROKEN if kind is None else kind if isinstance(kind, StatesType) else None
        value = self._expression(effect.value, reader, hint)
        if declared is None or kind is None or value is None or not self._suits(value, declared.name, kind):
            self._account_for_loss()
            return None
        return Assignment(target=declared.name, value=value, span=effect.target.span.to(effect.value.span))

    def _written(self, target: doc.Text, writer: Writer) -> Declared | None:
        """Return the variable that a `then` names, if its writer may write it."""
        declared = self._scope.find(target.value)
        if declared is None:
            self._scope.report_unknown(target, writer.value)
            return None
        if declared.kind in {Kind.SENSOR, Kind.TIMER}:
            message = f"{quoted(declared.name)} is {declared.kind.value} and can't be written"
            help_line = "change what it reads" if declared.kind is Kind.SENSOR else "change its input, or set a memory"
            self._sink.report(Code.WRITES_READING, target.span, message, help_line)
            return None
        if declared.kind not in writer.value:
            code, rule, help_line = _TRESPASS[writer]
            self._sink.report(code, target.span, f"{quoted(declared.name)} is {declared.kind.value}: {rule}", help_line)
        return declared

    def _suits(self, value: Expression, name: str, kind: Type) -> bool:
        if not alike(kind, value.type):
            message = f"{quoted(name)} is {described(kind)}, and this is {described(value.type)}"
            self._sink.report(Code.UNLIKE_TYPES, value.span, message, _suiting(kind))
            return False
        if isinstance(kind, NumberType) and isinstance(value.type, NumberType) and _apart(kind, value.type):
            message = f"{quoted(name)} has the range {kind.lowest}..{kind.highest}, and this is {described(value.type)}"
            self._sink.report(Code.OUT_OF_RANGE, value.span, message, "widen the range, or bound the value with LIMIT")
            return False
        return True

    def _expression(self, formula: doc.Formula | None, reader: Reader, hint: Hint) -> Expression | None:
        if formula is None or formula.term is None:
            self._account_for_loss()
            return None
        expression = self._elaborator.expression(formula.term, reader, hint)
        if expression is None or not self._measure.fits(expression):
            self._account_for_loss()
            return None
        return expression

    def _account_for_loss(self) -> None:
        """Make sure that what is left out here was reported."""
        if not self._sink.refused:
            raise CheckerFaultError("an expression was dropped without a diagnostic")


def _apart(one: NumberType, other: NumberType) -> bool:
    return one.highest < other.lowest or other.highest < one.lowest


def _suiting(kind: Type) -> str:
    if isinstance(kind, TruthType):
        return "give it TRUE, FALSE or a condition"
    return "give it a number" if isinstance(kind, NumberType) else "give it one of its states"
