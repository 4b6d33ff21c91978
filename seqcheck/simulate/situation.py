"""All that a state is made of, and that changes: values, timers, plant clocks, faults. It has no rules of its own."""

from collections.abc import Collection, Mapping

from msgspec import Struct

from seqcheck.check.machine import Condition, Effects, Fault, Machine, PlantRule, Section, Variable
from seqcheck.check.typed import Expression, NumberType, Type, Value
from seqcheck.model.run import Beyond, Values
from seqcheck.simulate import timers
from seqcheck.simulate.cells import admits, make_cell
from seqcheck.simulate.errors import NoValueError, StepFailsError
from seqcheck.simulate.evaluate import evaluate
from seqcheck.simulate.timers import TimerState

SECTIONS = (Section.PART, Section.PANEL, Section.OUTPUT, Section.MEMORY)


class Snapshot(Struct, frozen=True, kw_only=True):
    """A state, to compare with another and to go back to."""

    values: tuple[Value, ...]
    timers: tuple[TimerState, ...]
    clocks: tuple[int, ...]
    occurred: tuple[str, ...]
    power_lost: bool = False


def in_order(machine: Machine) -> tuple[Variable, ...]:
    """Return the variables in the order of every listing: parts, panel, outputs, memory, each as declared."""
    return tuple(sorted(machine.variables, key=lambda variable: SECTIONS.index(variable.section)))


def longest_count(rule: PlantRule) -> int:
    """Return the ticks at which a plant rule's clock stops; 0: it has no clock."""
    interval = rule.interval
    return interval.earliest if interval.latest is None else interval.latest


class Situation:
    """The state of a machine, with what reads it and what writes it."""

    def __init__(self, machine: Machine, start: Mapping[str, Value]) -> None:
        self._machine = machine
        self._listed = in_order(machine)
        self.clocked_rules = tuple(rule for rule in machine.plant if longest_count(rule) > 0)
        self._types = {variable.name: variable.type for variable in machine.variables}
        self._cells = {v.name: make_cell(v.type, start[v.name]) for v in machine.variables}
        self._timers = {timer.name: timer for timer in machine.timers}
        self._timer_states = {timer.name: timers.initial(timer) for timer in machine.timers}
        self._clocks = {rule.name: 0 for rule in self.clocked_rules}
        self._sensors = {sensor.name: sensor.expression for sensor in machine.sensors}
        self._sensor_cache: dict[str, Value] = {}
        self._start = dict(start)
        self._unpowered = {v.name: v.unpowered for v in machine.variables if v.unpowered is not None}
        self._occurred: tuple[str, ...] = ()
        self._stuck: dict[str, Value] = {}
        self._power_lost = False

    # --- whole states ---
    def snapshot(self) -> Snapshot:
        """Return the state as a value."""
        return Snapshot(
            values=tuple([cell.value for cell in self._cells.values()]),
            timers=tuple(self._timer_states.values()),
            clocks=tuple(self._clocks.values()),
            occurred=self._occurred,
            power_lost=self._power_lost,
        )

    def put_back(self, snapshot: Snapshot) -> None:
        """Return to an earlier state."""
        for cell, value in zip(self._cells.values(), snapshot.values, strict=True):
            cell.put_back(value)
        self._timer_states = dict(zip(self._timer_states, snapshot.timers, strict=True))
        self._clocks = dict(zip(self._clocks, snapshot.clocks, strict=True))
        self._power_lost = snapshot.power_lost
        self._set_occurred(snapshot.occurred)

    # --- reading ---
    def commanded(self, variable: str) -> Value:
        """Return a variable's own value; of an output, what the controller asks for."""
        return self._cells[variable].value

    def real(self, variable: str) -> Value:
        """Return what a variable really is; an output may be stuck, or without power."""
        if variable in self._stuck:
            return self._stuck[variable]
        if self._power_lost and variable in self._unpowered:
            return self._unpowered[variable]
        return self._cells[variable].value

    def sensor(self, name: str) -> Value:
        """Return what a sensor reads, stuck or not."""
        if name in self._stuck:
            return self._stuck[name]
        if name not in self._sensor_cache:
            self._sensor_cache[name] = evaluate(self._sensors[name], self)
        return self._sensor_cache[name]

    def timer_output(self, name: str) -> bool:
        """Return a timer's Q."""
        return timers.output(self._timers[name], self._timer_states[name])

    def timer_elapsed(self, name: str) -> int:
        """Return a timer's ET in ticks."""
        return self._timer_states[name].elapsed

    def timer_state(self, name: str) -> TimerState:
        """Return all that a timer remembers."""
        return self._timer_states[name]

    def clock(self, rule: str) -> int:
        """Return for how many ticks a plant rule's `when` has held, up to its largest bound; 0 if it has no clock."""
        return self._clocks.get(rule, 0)

    @property
    def occurred(self) -> tuple[str, ...]:
        """The faults that have occurred, in file order."""
        return self._occurred

    @property
    def power_lost(self) -> bool:
        """Whether the controller and its outputs are without power."""
        return self._power_lost

    def is_stuck(self, signal: str) -> bool:
        """Tell whether a sensor or output is stuck."""
        return signal in self._stuck

    def holds(self, condition: Condition, rule: str) -> bool:
        """Tell whether a condition that *rule* evaluates is true; raise `StepFailsError` if it has no value."""
        return bool(self._value(condition.expression, rule))

    def shown(self) -> Values:
        """Return variables, sensors and `TIMER.Q`: what a step's changes are among.

        A sensor that has no value in this state (it divides by zero) is left out.
        """
        listed = [(variable.name, self.commanded(variable.name)) for variable in self._listed]
        for sensor in self._machine.sensors:
            try:
                listed.append((sensor.name, self.sensor(sensor.name)))
            except NoValueError:
                continue
        listed.extend((f"{timer.name}.Q", self.timer_output(timer.name)) for timer in self._machine.timers)
        return tuple(listed)

    # --- writing ---
    def apply(self, effects: Effects, rule: str) -> bool:
        """Apply a `then` of *rule*: read every value, then write. Return whether a value changed."""
        values = [(each.target, self._value(each.value, rule)) for each in effects]
        before = [self.commanded(target) for target, _ in values]
        for target, value in values:
            if not admits(self._types[target], value):
                problem = f"{target} would become {value}, and {_extent(self._types[target])}"
                raise StepFailsError(Beyond(rule=rule, variable=target, problem=problem))
            self.set(target, value)
        return before != [self.commanded(target) for target, _ in values]

    def set(self, variable: str, value: Value) -> None:
        """Give a variable one of its values."""
        self._cells[variable].move_to(value)
        self._sensor_cache.clear()

    def set_timer(self, name: str, state: TimerState) -> None:
        """Store what a timer remembers."""
        self._timer_states[name] = state
        self._sensor_cache.clear()

    def set_clock(self, rule: str, ticks: int) -> None:
        """Set a plant rule's clock; without effect if it has none."""
        if rule in self._clocks:
            self._clocks[rule] = ticks

    def add_fault(self, name: str) -> None:
        """Record that a fault has occurred; from now on what it holds is stuck."""
        self._set_occurred((*self._occurred, name))

    def set_power(self, *, lost: bool) -> None:
        """Take power away, or give it back."""
        self._power_lost = lost
        self._sensor_cache.clear()

    def start_anew(self, names: Collection[str]) -> None:
        """Give outputs, memory and timers the value that they have at the start."""
        for name in names:
            if name in self._timers:
                self.set_timer(name, timers.initial(self._timers[name]))
            else:
                self.set(name, self._start[name])

    def _set_occurred(self, names: tuple[str, ...]) -> None:
        faults: tuple[Fault, ...] = tuple(fault for fault in self._machine.faults if fault.name in names)
        self._occurred = tuple(fault.name for fault in faults)
        self._stuck = {fault.stuck.signal: fault.stuck.value for fault in faults if fault.stuck is not None}
        self._sensor_cache.clear()

    def _value(self, expression: Expression, rule: str) -> Value:
        try:
            return evaluate(expression, self)
        except NoValueError as error:
            raise StepFailsError(Beyond(rule=rule, variable=None, problem=error.problem)) from None


def _extent(variable_type: Type) -> str:
    if isinstance(variable_type, NumberType):
        return f"its range is {variable_type.lowest}..{variable_type.highest}"
    return "that is none of its states"
