"""Gives variables and timers their meaning: types, start values, ticks. Forbids names that can't be or are taken."""

from seqcheck.check.elaborate import Reader
from seqcheck.check.machine import Section, Timer, TimerKind, Variable
from seqcheck.check.meaning import Meanings
from seqcheck.check.scope import Declared, Kind, Scope, check_identifier
from seqcheck.check.ticks import Ticks
from seqcheck.check.typed import NumberType, StatesType, TruthType, Type, Value
from seqcheck.check.types import TRUTH, described, value_hint, value_of
from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.diagnostics.wording import quoted
from seqcheck.syntax import document as doc
from seqcheck.syntax.words import TRUTHS

MOST_VALUES = 2**20
MOST_STATES = 4096

_KINDS = {"parts": Kind.PART, "panel": Kind.PANEL, "outputs": Kind.OUTPUT, "memory": Kind.MEMORY}


class Declarations:
    """Declares the variables, sensors and timers of one file in its scope."""

    def __init__(self, scope: Scope, ticks: Ticks, sink: Sink) -> None:
        self._scope = scope
        self._ticks = ticks
        self._sink = sink
        self._stop: doc.Text | None = None

    def variable(self, written: doc.Variable) -> Variable | None:
        """Declare a variable; return it unless something is wrong."""
        kind = self._type(written) if written.readable else None
        declared = Declared(written.name.value, _KINDS[written.section], kind, written.name)
        if not self._scope.declare(declared) or kind is None:
            return None
        return Variable(
            name=written.name.value,
            section=Section(written.section),
            type=kind,
            starts=self._starts(written, kind),
            text=written.text,
            source=written.source,
            span=written.name.span,
            unpowered=None if written.unpowered is None else self._value(written, written.unpowered, kind, "do"),
            retained=written.retained,
            is_emergency_stop=written.role is not None and self._is_stop(written, kind),
        )

    def _is_stop(self, written: doc.Variable, kind: Type) -> bool:
        """Tell whether a panel item can be the emergency stop; report why not."""
        name = quoted(written.name.value)
        first = self._stop
        if first is not None:
            message = f"{name} is a second emergency stop; the first is {quoted(first.value)}, in line {first.span.line}"
            help_line = "mark the one that stops the machine, and leave `role` out of the other"
            self._sink.report(Code.SECOND_STOP, written.name.span, message, help_line)
            return False
        self._stop = written.name
        values = () if isinstance(kind, NumberType) else values_of(kind)
        if len(values) != 2:
            message = f"{name} is the emergency stop and has not exactly two states: it is {described(kind)}"
            self._sink.report(Code.NO_STOP, written.name.span, message, "write `{states: [released, pressed], …}`")
            return False
        if written.starts_any or written.starts:
            message = f"{name} is the emergency stop and does not simply start in its first state, released"
            help_line = "leave `starts` out, and name the released state first"
            self._sink.report(Code.NO_STOP, written.name.span, message, help_line)
            return False
        return True

    def sensor(self, written: doc.Sensor) -> bool:
        """Declare the name of a sensor; tell whether it is free."""
        return self._scope.declare(Declared(written.name.value, Kind.SENSOR, None, written.name))

    def timer(self, written: doc.Timer) -> int | None:
        """Declare a timer; return its ticks unless something is wrong."""
        ticks = None if written.pt is None else self._ticks.at_least_one(written.pt, "the time of a timer")
        kind = None if ticks is None else NumberType(0, ticks)
        return ticks if self._scope.declare(Declared(written.name.value, Kind.TIMER, kind, written.name)) else None

    # --- types ---
    def _type(self, written: doc.Variable) -> Type | None:
        if written.bounds is not None:
            return self._number(written, *written.bounds)
        if written.states is None:
            return TRUTH
        words = [state.value.upper() for state in written.states]
        if sorted(words) == sorted(TRUTHS):
            return TRUTH
        return self._states(written, written.states)

    def _number(self, written: doc.Variable, lowest: int, highest: int) -> Type | None:
        count = highest - lowest + 1
        if count > MOST_VALUES:
            message = f"{quoted(written.name.value)} would have {count:,} values; the most is {MOST_VALUES:,}"
            self._sink.report(Code.TOO_MANY_VALUES, written.range_span, message, "model it more coarsely")
            return None
        return NumberType(lowest, highest)

    def _states(self, written: doc.Variable, states: tuple[doc.Text, ...]) -> Type | None:
        if len(states) > MOST_STATES:
            message = f"{quoted(written.name.value)} has {len(states):,} states; the most is {MOST_STATES:,}"
            self._sink.report(Code.TOO_MANY_VALUES, written.name.span, message, "use a range for a quantity")
            return None
        first: dict[str, doc.Text] = {}
        good = True
        for state in states:
            good = check_identifier(state, "a state", self._sink) and good
            if first.setdefault(state.value.lower(), state) is not state:
                message = f"{quoted(written.name.value)} has the state {quoted(state.value)} twice"
                self._sink.report(Code.NAME_TAKEN, state.span, message, "keep one of them, or give this one another name")
                good = False
        return StatesType(tuple(state.value for state in states)) if good else None

    # --- starts ---
    def _starts(self, written: doc.Variable, kind: Type) -> tuple[Value, ...]:
        if written.starts_any:
            return values_of(kind)
        if not written.starts:
            return (self._first(written, kind),)
        values = [self._value(written, text, kind, "start as") for text in written.starts]
        return tuple(dict.fromkeys(value for value in values if value is not None))

    def _value(self, written: doc.Variable, text: doc.Text, kind: Type, what: str) -> Value | None:
        """Return the value that a text means, or report that a variable can't *what* that."""
        value = self._scope.state(kind, text.value) if isinstance(kind, StatesType) else value_of(text.value, kind)
        if value is None:
            number = isinstance(kind, NumberType)
            message = f"{quoted(written.name.value)} can't {what} {quoted(text.value)}: it is {described(kind)}"
            self._sink.report(
                Code.OUT_OF_RANGE if number and text.value.strip("+-").isdigit() else Code.WRONG_VALUE,
                text.span,
                message,
                value_hint(text.value, kind, self._scope.near),
            )
        return value

    @staticmethod
    def _first(written: doc.Variable, kind: Type) -> Value:
        if isinstance(kind, NumberType):
            return kind.lowest
        if isinstance(kind, TruthType):
            return TRUTHS[written.states[0].value.upper()] if written.states else False
        return kind.states[0]


def values_of(kind: Type) -> tuple[Value, ...]:
    """Return all values of a type, in order."""
    if isinstance(kind, NumberType):
        return tuple(range(kind.lowest, kind.highest + 1))
    return (False, True) if isinstance(kind, TruthType) else kind.states


def timer(written: doc.Timer, pt_ticks: int | None, meanings: Meanings) -> Timer | None:
    """Return a declared timer with the meaning of its input."""
    condition = meanings.condition(written.input, Reader.CONTROLLER)
    if condition is None or pt_ticks is None or not written.kind:
        return None
    return Timer(
        name=written.name.value,
        kind=TimerKind(written.kind),
        input=condition,
        pt_ticks=pt_ticks,
        text=written.text,
        source=written.source,
        span=written.name.span,
    )
