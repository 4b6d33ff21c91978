"""Derives faults from what a file declares: signals that stick, loss of power, a restart, timers that lose their time.

Forbids a `derive` for which the file does not say enough, and names that a derived fault would share.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence

from seqcheck.check.declare import values_of
from seqcheck.check.machine import Fault, Machine, PowerLoss, Section, Sensor, Stuck, Timer, Variable
from seqcheck.check.meaning import Meanings
from seqcheck.check.typed import NumberType, Type, Value
from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.diagnostics.span import Span
from seqcheck.diagnostics.wording import quoted
from seqcheck.syntax import document as doc

MOST_NUMBERS = 16
"""A signal with more numbers than that sticks at the lowest and the highest."""

POWER_LOST, POWER_RETURNS, RESTARTS = "power lost", "power returns", "controller restarts"


class Deriving:
    """What faults can be derived from in one file."""

    def __init__(self, variables: Sequence[Variable], sensors: Sequence[Sensor], timers: Sequence[Timer], sink: Sink) -> None:
        self._outputs = [variable for variable in variables if variable.section is Section.OUTPUT]
        self._memory = [variable for variable in variables if variable.section is Section.MEMORY]
        self._sensors = sensors
        self._timers = timers
        self._sink = sink

    def faults(self, document: doc.Document, own: Sequence[Fault]) -> tuple[Fault, ...]:
        """Return the faults that `derive` asks for, without those that stick a signal where one of the *own* faults does."""
        words = {word.value.lower(): word.span for word in reversed(document.derive)}
        if not words:
            return ()
        self._check_power(words, {written.name.value: written.given for written in document.variables})
        derive: Mapping[str, Callable[[Span], Iterator[Fault]]] = {
            "sensors": self._of_sensors,
            "outputs": self._of_outputs,
            "power": self._of_power,
            "restart": self._of_restart,
            "timers": self._of_timers,
        }
        known = {_sticks(fault.stuck) for fault in own if fault.stuck is not None}
        derived = [fault for word, of in derive.items() if word in words for fault in of(words[word])]
        kept = tuple(fault for fault in derived if fault.stuck is None or _sticks(fault.stuck) not in known)
        self._check_names(document, kept)
        return kept

    # --- what each word means ---
    def _of_sensors(self, span: Span) -> Iterator[Fault]:
        for sensor in self._sensors:
            for value in stuck_values(sensor.expression.type):
                yield _stuck(Stuck(signal=sensor.name, is_sensor=True, value=value), span)

    def _of_outputs(self, span: Span) -> Iterator[Fault]:
        for output in self._outputs:
            for value in stuck_values(output.type):
                yield _stuck(Stuck(signal=output.name, is_sensor=False, value=value), span)

    def _of_power(self, span: Span) -> Iterator[Fault]:
        timers = tuple(timer.name for timer in self._timers)
        yield _fault(POWER_LOST, span, resets=timers, power=PowerLoss(returns=POWER_RETURNS, resets=self._forgotten()))

    def _of_restart(self, span: Span) -> Iterator[Fault]:
        yield _fault(RESTARTS, span, resets=self._forgotten())

    def _of_timers(self, span: Span) -> Iterator[Fault]:
        for timer in self._timers:
            yield _fault(f"{timer.name} loses its time", span, resets=(timer.name,))

    def _forgotten(self) -> tuple[str, ...]:
        """Return what a controller that starts anew gives its start value."""
        kept = [memory.name for memory in self._memory if not memory.retained]
        return (*(output.name for output in self._outputs), *kept, *(timer.name for timer in self._timers))

    # --- what must be said for it ---
    def _check_power(self, words: Mapping[str, Span], given: Mapping[str, frozenset[str]]) -> None:
        starting = [word for word in ("power", "restart") if word in words]
        if not starting:
            return
        line = words[starting[0]].line
        if "power" in words:
            for output in self._outputs:
                if "unpowered" not in given[output.name]:
                    first = _said(stuck_values(output.type)[0])
                    self._missing(output, "what it does without power", f"unpowered: {first}", words["power"].line)
        for memory in self._memory:
            if "retained" not in given[memory.name]:
                self._missing(memory, "whether it keeps its value without power", "retained: TRUE", line)
        for variable in (*self._outputs, *(memory for memory in self._memory if not memory.retained)):
            if len(variable.starts) > 1:
                message = f"{quoted(variable.name)} has {len(variable.starts)} start values, and a controller takes one"
                help_line = f"give it one start value{self._or_leave_out(starting, line)}"
                self._sink.report(Code.SEVERAL_STARTS, variable.span, message, help_line)

    def _missing(self, variable: Variable, what: str, key: str, line: int) -> None:
        message = f"{quoted(variable.name)} does not say {what}, and the faults derived in line {line} need that"
        help_line = f"write it like this: `{variable.name}: {_with(variable.type, key)}`"
        self._sink.report(Code.MISSING_KEY, variable.span, message, help_line)

    @staticmethod
    def _or_leave_out(words: Sequence[str], line: int) -> str:
        return f", or take {' and '.join(quoted(word) for word in words)} out of `derive` in line {line}"

    def _check_names(self, document: doc.Document, derived: Sequence[Fault]) -> None:
        """Forbid names in the file that a derived fault has."""
        named = [entry.name for entries in (document.commands, document.rules, document.procedures) for entry in entries]
        own = {fault.name: fault for fault in derived}
        own |= {fault.power.returns: fault for fault in derived if fault.power is not None}
        for name in named:
            if name.value in own:
                line = own[name.value].span.line
                message = f"{quoted(name.value)} is the name of a fault that is derived in line {line}"
                self._sink.report(Code.NAME_TAKEN, name.span, message, "give this one another name")


def stuck_values(kind: Type) -> tuple[Value, ...]:
    """Return the values at which a signal of some type is taken to stick: all; of many numbers the lowest and the highest."""
    if isinstance(kind, NumberType) and kind.highest - kind.lowest >= MOST_NUMBERS:
        return (kind.lowest, kind.highest)
    return values_of(kind)


def sticks_every_signal(machine: Machine) -> bool:
    """Tell whether a machine has a fault for every sensor and output at each of its values."""
    known = {_sticks(fault.stuck) for fault in machine.faults if fault.stuck is not None}
    signals = [(True, sensor.name, sensor.expression.type) for sensor in machine.sensors]
    signals += [(False, variable.name, variable.type) for variable in machine.variables if variable.section is Section.OUTPUT]
    return all((is_sensor, name, value) in known for is_sensor, name, kind in signals for value in stuck_values(kind))


def _with(kind: Type, key: str) -> str:
    """Return how a variable of some type is declared with one more key."""
    if isinstance(kind, NumberType):
        return f"{{range: {kind.lowest}..{kind.highest}, {key}}}"
    return f"{{states: [{', '.join(_said(value) for value in values_of(kind)[:6])}], {key}}}"


def _said(value: Value) -> str:
    return str(value).upper() if isinstance(value, bool) else str(value)


def _sticks(stuck: Stuck) -> tuple[bool, str, Value]:
    return stuck.is_sensor, stuck.signal, stuck.value


def _stuck(stuck: Stuck, span: Span) -> Fault:
    return _fault(f"{stuck.signal} stuck at {_said(stuck.value)}", span, stuck=stuck)


def _fault(
    name: str, span: Span, *, stuck: Stuck | None = None, resets: tuple[str, ...] = (), power: PowerLoss | None = None
) -> Fault:
    return Fault(
        name=name,
        condition=Meanings.always(span),
        stuck=stuck,
        effects=(),
        source="",
        span=span,
        resets=resets,
        power=power,
        derived=True,
    )
