"""Turns terms into expressions: looks names up, understands states from what they meet, types everything.

A term in which something is wrong gives None; whoever gets None says nothing more about it.
"""

from collections.abc import Callable
from enum import Enum
from typing import TypeAlias

from seqcheck.check.operators import BY_SPELLING, CHOOSERS, EQUALITIES, OperatorRules
from seqcheck.check.scope import Declared, Kind, Scope
from seqcheck.check.ticks import Ticks
from seqcheck.check.typed import (
    Expression,
    Literal,
    NumberType,
    Operation,
    Operator,
    Read,
    ReadSensor,
    ReadTimer,
    StatesType,
    Type,
)
from seqcheck.check.types import TRUTH, alike, states_named
from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.diagnostics.wording import listed, quoted
from seqcheck.syntax import terms
from seqcheck.syntax.document import Sensor, Text

_MOST_HINTS = 8
_DEEPEST_HINT = 100


class Reader(Enum):
    """Who reads: the controller sees parts only through sensors, the truth sees everything."""

    CONTROLLER = "the controller"
    TRUTH = "the truth"


class Unclear(Enum):
    """Stands for a type that nobody knows: of a name not found, or of something already reported."""

    UNRESOLVED = "unresolved"
    BROKEN = "broken"


Hint: TypeAlias = StatesType | Unclear | None
"""What the surroundings say about the type of a bare name: states, something broken, or nothing."""


class Elaborator:
    """Elaborates the terms of one file."""

    def __init__(self, scope: Scope, sensors: tuple[Sensor, ...], ticks: Ticks, sink: Sink) -> None:
        self._scope = scope
        self._ticks = ticks
        self._sink = sink
        self._rules = OperatorRules(sink)
        self._formulas = {sensor.name.value.lower(): sensor.formula for sensor in reversed(sensors)}
        self._sensor_hints: dict[str, Hint] = {}
        self._hinting: list[str] = []
        self.sensor_type: Callable[[Declared, terms.Name], Type | None] = lambda _declared, _name: None
        self.sensors_of_part: Callable[[str], list[str]] = lambda _part: []

    def expression(self, term: terms.Term, reader: Reader, hint: Hint = None) -> Expression | None:
        """Return the meaning of a term, or None if it has none."""
        if isinstance(term, terms.Name):
            return self._name(term, reader, hint)
        if isinstance(term, terms.Constant):
            kind = TRUTH if isinstance(term.value, bool) else NumberType(term.value, term.value)
            return Literal(value=term.value, type=kind, span=term.span)
        if isinstance(term, terms.Duration):
            ticks = self._ticks.count(term.seconds, term.span)
            return None if ticks is None else Literal(value=ticks, type=NumberType(ticks, ticks), span=term.span)
        return self._operation(term, reader, hint)

    # --- names ---
    def _name(self, term: terms.Name, reader: Reader, hint: Hint) -> Expression | None:
        declared = self._scope.find(term.text)
        if term.member:
            return self._timer_value(term, declared)
        if isinstance(hint, StatesType):
            state = self._scope.state(hint, term.text)
            if state is not None:
                if declared is not None:
                    message = f"{quoted(term.text)} is {declared.kind.value} too; here the state is meant"
                    self._sink.report(
                        Code.SHADOWED_NAME, term.span, message, "rename one of them, so that readers can't be misled"
                    )
                return Literal(value=state, type=hint, span=term.span)
        if declared is None:
            self._unknown(term, hint)
            return None
        return self._read(declared, term, reader)

    def _unknown(self, term: terms.Name, hint: Hint) -> None:
        if isinstance(hint, StatesType):
            near = self._scope.near.near(term.text, hint.states)
            help_line = f"did you mean {quoted(near)}? {states_named(hint)}" if near else states_named(hint)
            self._sink.report(
                Code.NOT_A_STATE, term.span, f"{quoted(self._scope.owner(hint))} has no state {quoted(term.text)}", help_line
            )
        elif hint is None:
            self._scope.report_unknown(Text(term.text, term.span))

    def _read(self, declared: Declared, term: terms.Name, reader: Reader) -> Expression | None:
        if declared.kind is Kind.TIMER:
            message = f"{quoted(term.text)} is a timer, and so has no value of its own"
            self._sink.report(Code.WRONG_KIND, term.span, message, f"write {declared.name}.Q or {declared.name}.ET")
            return None
        if declared.kind is Kind.SENSOR:
            kind = self.sensor_type(declared, term)
            return None if kind is None else ReadSensor(sensor=declared.name, type=kind, span=term.span)
        if declared.kind is Kind.PART and reader is Reader.CONTROLLER:
            sensors = self.sensors_of_part(declared.name)
            help_line = (
                f"read it through a sensor: {listed(sensors, 4, in_quotes=True)}"
                if sensors
                else "declare a sensor that reads it, and read that"
            )
            message = f"the controller can't see the part {quoted(declared.name)}"
            self._sink.report(Code.READS_PART, term.span, message, help_line)
        if declared.type is None:
            return None
        commanded = declared.kind is Kind.OUTPUT and reader is Reader.CONTROLLER
        return Read(variable=declared.name, commanded=commanded, type=declared.type, span=term.span)

    def _timer_value(self, term: terms.Name, declared: Declared | None) -> Expression | None:
        if declared is None:
            self._scope.report_unknown(Text(term.text, term.span), frozenset({Kind.TIMER}))
            return None
        if declared.kind is not Kind.TIMER:
            message = f"{quoted(term.text)} is {declared.kind.value}, and only timers have something after a dot"
            self._sink.report(Code.WRONG_KIND, term.span, message, f"write {declared.name}")
            return None
        member = term.member.upper()
        if member not in {"Q", "ET"}:
            message = f"a timer has no {quoted(term.member)}"
            self._sink.report(Code.WRONG_KIND, term.span, message, f"write {declared.name}.Q or {declared.name}.ET")
            return None
        kind: Type | None = TRUTH if member == "Q" else declared.type
        return None if kind is None else ReadTimer(timer=declared.name, elapsed=member == "ET", type=kind, span=term.span)

    # --- operations ---
    def _operation(self, term: terms.Operation, reader: Reader, hint: Hint) -> Expression | None:
        operator = BY_SPELLING[term.operator]
        if not self._rules.takes_so_many(operator, term):
            return None
        hints = self._operand_hints(operator, term, hint)
        if hints is None:
            return None
        operands: list[Expression] = []
        for operand, operand_hint in zip(term.operands, hints, strict=True):
            expression = self.expression(operand, reader, operand_hint)
            if expression is not None:
                operands.append(expression)
        if len(operands) < len(term.operands):
            self._rules.judge_some(operator, operands)
            return None
        kind = self._rules.type_of(operator, term, operands)
        return None if kind is None else Operation(operator=operator, operands=tuple(operands), type=kind, span=term.span)

    def _operand_hints(self, operator: Operator, term: terms.Operation, hint: Hint) -> list[Hint] | None:
        """Return what each operand learns about its type; None if that is ambiguous, which is then reported."""
        if operator in CHOOSERS:
            arms_hint = hint if hint is not None else self.hint_of(term)
            if arms_hint is Unclear.UNRESOLVED:
                arms_hint = None  # nobody has reported it yet
            return [None, *(arms_hint for _ in term.operands[1:])]
        if operator in EQUALITIES:
            return self._compared_hints(term)
        if any(self._names_states(operand) for operand in term.operands):
            # that is an error for certain, and a bare name beside it may well be a state
            return [Unclear.BROKEN if isinstance(operand, terms.Name) else None for operand in term.operands]
        return [None for _ in term.operands]

    def _compared_hints(self, term: terms.Operation) -> list[Hint] | None:
        left, right = term.operands
        from_left, from_right = self.hint_of(left), self.hint_of(right)
        right_is_state = self._is_state(right, from_left)
        left_is_state = self._is_state(left, from_right)
        if left_is_state and right_is_state:
            message = "either side may be the variable and the other its state"
            self._sink.report(Code.AMBIGUOUS_NAME, term.span, message, "rename one of the two")
            return None
        if right_is_state:
            return [None, from_left]
        if left_is_state:
            return [from_right, None]
        if from_left is Unclear.UNRESOLVED and from_right is Unclear.UNRESOLVED:
            return [None, Unclear.BROKEN]  # the left one is reported, and the right one may well be its state
        to_left = None if from_right is Unclear.UNRESOLVED else from_right
        to_right = None if from_left is Unclear.UNRESOLVED else from_left
        return [to_left, to_right]

    def _names_states(self, term: terms.Term) -> bool:
        """Tell whether a term is the name of a variable or sensor that has states."""
        return isinstance(term, terms.Name) and isinstance(self.hint_of(term), StatesType)

    def _is_state(self, term: terms.Term, hint: Hint) -> bool:
        if not isinstance(term, terms.Name) or term.member or not isinstance(hint, StatesType):
            return False
        return self._scope.state(hint, term.text) is not None

    def hint_of(self, term: terms.Term) -> Hint:
        """Return what a term tells its neighbours about states: the type of a variable, or of the arms of a choice."""
        if isinstance(term, terms.Name) and not term.member:
            declared = self._scope.find(term.text)
            if declared is None:
                return Unclear.UNRESOLVED
            if declared.kind is Kind.SENSOR:
                return self._sensor_hint(declared)
            if declared.type is None:
                return Unclear.BROKEN
            return declared.type if isinstance(declared.type, StatesType) else None
        if not isinstance(term, terms.Operation):
            return None
        if BY_SPELLING[term.operator] in CHOOSERS:
            return self._arms_hint(term.operands[1:])
        spoilt = term.operator in {"NOT", "NEG"} and self._names_states(term.operands[0])
        return Unclear.BROKEN if spoilt else None

    def _sensor_hint(self, declared: Declared) -> Hint:
        """Return what a sensor's expression says of states, without giving it a meaning: it may be a state's name here."""
        folded = declared.name.lower()
        if folded in self._sensor_hints:
            return self._sensor_hints[folded]
        if folded in self._hinting or len(self._hinting) >= _DEEPEST_HINT:
            return None
        formula = self._formulas.get(folded)
        if formula is None or formula.term is None:
            return Unclear.BROKEN
        self._hinting.append(folded)
        hint = self.hint_of(formula.term)
        self._hinting.pop()
        self._sensor_hints[folded] = hint = Unclear.BROKEN if isinstance(hint, Unclear) else hint
        return hint

    def _arms_hint(self, arms: tuple[terms.Term, ...]) -> Hint:
        hints = [self.hint_of(arm) for arm in arms]
        known: dict[int, StatesType] = {id(h): h for h in hints if isinstance(h, StatesType)}
        for kind in list(known.values())[:_MOST_HINTS]:
            if all(self._goes_with(arm, h, kind) for arm, h in zip(arms, hints, strict=True)):
                return kind
        if known:
            return next(iter(known.values()))
        return next((unclear for unclear in (Unclear.BROKEN, Unclear.UNRESOLVED) if unclear in hints), None)

    def _goes_with(self, arm: terms.Term, own: Hint, kind: StatesType) -> bool:
        return self._is_state(arm, kind) or (isinstance(own, StatesType) and alike(own, kind))
