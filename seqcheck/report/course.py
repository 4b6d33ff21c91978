"""A recorded run as the values of all signals: at its settled start and after each of its entries."""

from collections.abc import Iterator, Mapping
from enum import Enum

from msgspec import Struct

from seqcheck.analyse.record import Disagreement, visible
from seqcheck.model import semantics
from seqcheck.model.expression import FALLIBLE, Apply, walk
from seqcheck.model.idling import elapsed_matters, idle_ticks
from seqcheck.model.model import Model, State, VariableKind
from seqcheck.model.run import Run, RunStep, StepKind, Value


class Group(Enum):
    """What a signal is, in the words of the file."""

    PART = "parts"
    PANEL = "panel"
    OUTPUT = "outputs"
    MEMORY = "memory"
    SENSOR = "sensors"
    TIMER = "timers"


class Signal(Struct, frozen=True, kw_only=True):
    """What a run's changes may speak of. *labels* are the names of the values from 0 up; none for a number."""

    name: str
    group: Group
    lowest: int
    highest: int
    labels: tuple[Value, ...]

    @property
    def values(self) -> int:
        """How many values it may have."""
        return self.highest - self.lowest + 1

    def raw(self, value: Value) -> int:
        """Return the number that stands for a value."""
        return self.labels.index(value) if self.labels else int(value)


GROUPS = {
    VariableKind.PART: Group.PART,
    VariableKind.PANEL: Group.PANEL,
    VariableKind.OUTPUT: Group.OUTPUT,
    VariableKind.MEMORY: Group.MEMORY,
}


def signals(model: Model) -> tuple[Signal, ...]:
    """Return parts, panel, outputs and memory as declared, then sensors, then what timers give out (`TIMER.Q`)."""
    return tuple(_signals(model))


def _signals(model: Model) -> Iterator[Signal]:
    for group in GROUPS.values():
        for v in model.variables:
            if GROUPS.get(v.kind) is group:
                yield Signal(name=v.name, group=group, lowest=v.lowest, highest=v.highest, labels=v.labels)
    for s in model.sensors:
        yield Signal(name=s.name, group=Group.SENSOR, lowest=s.lowest, highest=s.highest, labels=s.labels)
    for timer in model.timers:
        yield Signal(name=f"{timer.name}.Q", group=Group.TIMER, lowest=0, highest=1, labels=(False, True))


def values_along(run: Run, model: Model) -> tuple[Mapping[str, Value], ...]:
    """Return the values of all signals at the settled start and after each entry of *run*, a run of *model*.

    A signal that has no value (a sensor that would divide by zero) is left out. A step that fails changes nothing.
    """
    start = _start(run, model)
    if any(isinstance(part, Apply) and part.op in FALLIBLE for value in model.sensor_values for part in walk(value)):
        return tuple(dict(visible(model, state)) for state in _states(run, model, start))
    values = dict(visible(model, start))
    along: list[Mapping[str, Value]] = [dict(values)]
    for step in run.steps:
        values.update(step.changes)
        along.append(dict(values))
    return tuple(along)


def _states(run: Run, model: Model, state: State) -> Iterator[State]:
    """Yield the settled states along a run: its changes do not tell of a sensor that ceases to have a value."""
    yield state
    idle = not elapsed_matters(model)
    for place, step in enumerate(run.steps):
        if run.failure is None or place < len(run.steps) - 1:
            state = (
                _waited(model, state, step.ticks, idle=idle) if step.by.kind is StepKind.WAIT else _taken(model, state, step)
            )
        yield state


def _taken(model: Model, state: State, step: RunStep) -> State:
    by = step.by
    taken = next(one for one in model.steps if (one.kind, one.name, one.to) == (by.kind, by.name, by.to))
    return semantics.take(model, taken, state)


def _waited(model: Model, state: State, ticks: int, *, idle: bool) -> State:
    """Let time pass, in one go where nothing but timers and clocks moves."""
    while ticks:
        after = semantics.tick(model, state)
        if after is None:
            raise Disagreement(f"time cannot pass in {state}")
        more = min(ticks - 1, idle_ticks(model, state, after)) if idle else 0
        state = tuple(value + more * (value != before) for before, value in zip(state, after, strict=True))
        ticks -= 1 + more
    return state


def _start(run: Run, model: Model) -> State:
    """Return the settled start; the start as it was given where it never settles."""
    given = dict(run.start)
    raw = tuple(
        variable.starts[0] if variable.kind not in GROUPS else _raw(variable.labels, given[variable.name])
        for variable in model.variables
    )
    try:
        return semantics.settle(model, raw)
    except semantics.Failed:
        return raw


def _raw(labels: tuple[Value, ...], value: Value) -> int:
    return labels.index(value) if labels else int(value)
