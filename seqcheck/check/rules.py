"""Gives commands, trips, plant rules, people's actions and faults their meaning."""

from seqcheck.check.elaborate import Reader
from seqcheck.check.machine import Command, Condition, Fault, Permissive, PersonAction, PlantRule, Stuck, Trip
from seqcheck.check.meaning import Meanings, Writer
from seqcheck.check.scope import Kind, Scope
from seqcheck.check.sensors import Sensors
from seqcheck.check.ticks import Ticks
from seqcheck.check.typed import Type
from seqcheck.check.types import described, value_hint, value_of
from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.diagnostics.wording import quoted
from seqcheck.syntax import document as doc


class Rules:
    """What happens in one machine."""

    def __init__(self, scope: Scope, meanings: Meanings, ticks: Ticks, sensors: Sensors, sink: Sink) -> None:
        self._scope = scope
        self._meanings = meanings
        self._ticks = ticks
        self._sensors = sensors
        self._sink = sink

    def command(self, written: doc.Command) -> Command:
        """Return the meaning of a command."""
        permissives = [self._permissive(permissive) for permissive in written.permissives]
        return Command(
            name=written.name.value,
            permissives=tuple(p for p in permissives if p is not None),
            effects=self._meanings.effects(written.then, Reader.CONTROLLER, Writer.CONTROLLER),
            span=written.name.span,
        )

    def _permissive(self, written: doc.Rule) -> Permissive | None:
        condition = self._meanings.condition(written.condition, Reader.CONTROLLER)
        if condition is None:
            return None
        return Permissive(name=written.name.value, condition=condition, source=written.source, span=written.name.span)

    def trip(self, written: doc.Rule) -> Trip | None:
        """Return the meaning of a trip."""
        when = self._meanings.condition(written.condition, Reader.CONTROLLER)
        effects = self._meanings.effects(written.then, Reader.CONTROLLER, Writer.CONTROLLER)
        if when is None:
            return None
        return Trip(name=written.name.value, when=when, effects=effects, source=written.source, span=written.name.span)

    def plant_rule(self, written: doc.Rule) -> PlantRule | None:
        """Return the meaning of a plant rule."""
        when = self._meanings.condition(written.condition, Reader.TRUTH)
        effects = self._meanings.effects(written.then, Reader.TRUTH, Writer.PLANT)
        interval = self._ticks.interval(written.after)
        if when is None or interval is None:
            return None
        return PlantRule(
            name=written.name.value,
            when=when,
            interval=interval,
            effects=effects,
            source=written.source,
            span=written.name.span,
        )

    def person_action(self, written: doc.Rule) -> PersonAction | None:
        """Return the meaning of a person's action."""
        condition = self._possible(written)
        effects = self._meanings.effects(written.then, Reader.TRUTH, Writer.PERSON)
        if condition is None:
            return None
        return PersonAction(
            name=written.name.value,
            condition=condition,
            effects=effects,
            source=written.source,
            span=written.name.span,
        )

    def fault(self, written: doc.Rule) -> Fault | None:
        """Return the meaning of a fault."""
        condition = self._possible(written)
        effects = self._meanings.effects(written.then, Reader.TRUTH, Writer.PLANT)
        stuck = None if written.stuck is None else self._stuck(*written.stuck, is_sensor=written.stuck_is_sensor)
        if condition is None or (written.stuck is not None and stuck is None):
            return None
        return Fault(
            name=written.name.value,
            condition=condition,
            stuck=stuck,
            effects=effects,
            source=written.source,
            span=written.name.span,
        )

    def _possible(self, written: doc.Rule) -> Condition | None:
        if written.condition is None:
            return self._meanings.always(written.name.span)
        return self._meanings.condition(written.condition, Reader.TRUTH)

    def _stuck(self, signal: doc.Text, value: doc.Text, *, is_sensor: bool) -> Stuck | None:
        wanted = Kind.SENSOR if is_sensor else Kind.OUTPUT
        declared = self._scope.find(signal.value)
        if declared is None:
            self._scope.report_unknown(signal, frozenset({wanted}))
            return None
        if declared.kind is not wanted:
            message = f"{quoted(declared.name)} is {declared.kind.value}, not {wanted.value}"
            self._sink.report(Code.WRONG_KIND, signal.span, message, self._stuck_help(declared.kind))
            return None
        kind = self._signal_type(declared.name) if is_sensor else declared.type
        if kind is None:
            return None
        stuck_at = value_of(value.value, kind)
        if stuck_at is None:
            message = f"{quoted(declared.name)} can't be stuck at {quoted(value.value)}: it is {described(kind)}"
            self._sink.report(Code.WRONG_VALUE, value.span, message, value_hint(value.value, kind, self._scope.near))
            return None
        return Stuck(signal=declared.name, is_sensor=is_sensor, value=stuck_at)

    def _signal_type(self, sensor: str) -> Type | None:
        resolved = self._sensors.resolve(sensor.lower())
        return None if resolved is None else resolved.expression.type

    @staticmethod
    def _stuck_help(kind: Kind) -> str:
        if kind is Kind.SENSOR:
            return "write `sensor:` instead of `output:`"
        if kind is Kind.OUTPUT:
            return "write `output:` instead of `sensor:`"
        return "only sensors and outputs can be stuck; a fault of a part is an effect: {then: {PART: STATE}}"
