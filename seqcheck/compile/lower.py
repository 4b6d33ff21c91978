"""Turns expressions, conditions and effects of the checked tree into those of the model: names become places."""

from collections.abc import Collection, Mapping
from typing import assert_never

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.check import machine as tree
from seqcheck.check import typed
from seqcheck.model.expression import TRUE, Apply, Const, Expression, Load, Op, Sense, conjunction
from seqcheck.model.model import Assign, Guard, Program
from seqcheck.model.run import Value


def labels(type_: typed.Type) -> tuple[Value, ...]:
    """Return the names of a type's values from 0 up; none for numbers."""
    match type_:
        case typed.TruthType():
            return (False, True)
        case typed.StatesType(states=states):
            return states
        case typed.NumberType():
            return ()
        case _:
            assert_never(type_)


def encode(value: Value, type_: typed.Type) -> int:
    """Return a value as the model's integer."""
    return type_.states.index(str(value)) if isinstance(type_, typed.StatesType) else int(value)


def bounds(type_: typed.Type) -> tuple[int, int]:
    """Return the lowest and highest integer of a type."""
    if isinstance(type_, typed.NumberType):
        return type_.lowest, type_.highest
    return 0, len(labels(type_)) - 1


def keeps_clock(rule: tree.PlantRule) -> bool:
    """Tell whether a plant rule's waiting must be counted."""
    return longest(rule.interval) > 0


def longest(interval: tree.Interval) -> int:
    """Return the largest bound of an interval in ticks."""
    return interval.earliest if interval.latest is None else interval.latest


def clock_name(rule: tree.PlantRule) -> str:
    """Name the variable in which a plant rule's waiting is counted."""
    return f"clock of {rule.name}"


def fault_name(fault: tree.Fault) -> str:
    """Name the variable that tells whether a fault has occurred."""
    return f"occurred: {fault.name}"


POWER = "power of the controller"
"""The variable that is 1 while power is lost; it is there if loss of power is under study."""


def timer_start(timer: tree.Timer) -> int:
    """Return the value of a timer's variable at the start: a TOF is timed out."""
    return timer.pt_ticks if timer.kind is tree.TimerKind.TOF else 0


class Scope(Struct, frozen=True, kw_only=True):
    """Where names stand in the model: variables, what outputs really do, sensors, what timers show, first start values."""

    places: Mapping[str, int]
    types: Mapping[str, typed.Type]
    actual: Mapping[str, Expression]
    sensors: Mapping[str, int]
    q: Mapping[str, Expression]
    et: Mapping[str, Expression]
    starts: Mapping[str, int]

    @property
    def has_power(self) -> Expression:
        """The condition that the controller has power: always, unless loss of power is under study."""
        return Apply(Op.EQUAL, (Load(self.places[POWER]), Const(0))) if POWER in self.places else TRUE

    def powered(self, condition: tree.Condition) -> Guard:
        """Lower a condition of something that needs power to act."""
        guard = self.guard(condition)
        return replace(guard, test=conjunction(guard.test, self.has_power))

    def reset(self, names: Collection[str]) -> Program:
        """Return what gives variables and timers their start values."""
        places = tuple(self.places[name] for name in names)
        values = tuple(Const(self.starts[name]) for name in names)
        return (Assign(targets=places, values=values, bounded=True),) if places else ()

    def expression(self, written: typed.Expression) -> Expression:
        """Lower one expression."""
        match written:
            case typed.Literal():
                return Const(encode(written.value, written.type))
            case typed.Read():
                if written.commanded or written.variable not in self.actual:
                    return Load(self.places[written.variable])
                return self.actual[written.variable]
            case typed.ReadSensor():
                return Sense(self.sensors[written.sensor])
            case typed.ReadTimer():
                return (self.et if written.elapsed else self.q)[written.timer]
            case typed.Operation():
                operands = tuple(self.expression(operand) for operand in written.operands)
                return Apply(Op[written.operator.name], operands)
            case _:
                assert_never(written)

    def guard(self, condition: tree.Condition, *, name: str = "") -> Guard:
        """Lower a condition; *name* is a permissive's."""
        test = self.expression(condition.expression)
        return Guard(name=name, test=test, text=" ".join(condition.text.split()), line=condition.span.line)

    def program(self, effects: tree.Effects) -> Program:
        """Lower the assignments of one `then`."""
        if not effects:
            return ()
        return (
            Assign(
                targets=tuple(self.places[effect.target] for effect in effects),
                values=tuple(self.expression(effect.value) for effect in effects),
                bounded=all(self._stays(effect) for effect in effects),
            ),
        )

    def _stays(self, effect: tree.Assignment) -> bool:
        lowest, highest = bounds(self.types[effect.target])
        low, high = bounds(effect.value.type)
        return lowest <= low and high <= highest
