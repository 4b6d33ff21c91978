"""Turns a run into what a person sees after each step: every value in words, for the page's step-through replay."""

from collections.abc import Iterator, Mapping

from msgspec import Struct

from seqcheck.analyse.faults.noticing import has_no_value_somewhere
from seqcheck.analyse.record import SHOWN, visible
from seqcheck.analyse.verdict import StepAccount
from seqcheck.model.model import Model, State, Variable, VariableKind
from seqcheck.model.run import Run, Value, Values
from seqcheck.model.semantics import Failed, settle
from seqcheck.report.narrate import shown

GROUPS = {
    VariableKind.PANEL: "Panel",
    VariableKind.PART: "Parts",
    VariableKind.OUTPUT: "Outputs",
    VariableKind.MEMORY: "Memory",
}
SENSORS, TIMERS = "Sensors", "Timers"
UNKNOWN = "not known"


class Item(Struct, frozen=True, kw_only=True):
    """One value on the board: its name in the file, how it is read aloud, and the group that it stands in."""

    name: str
    spoken: str
    group: str


Frame = tuple[str, ...]
"""The value of each item, in words."""


def items(model: Model) -> tuple[Item, ...]:
    """Return what the board shows: panel, parts, outputs, memory, sensors that always have a value, timers."""
    of_kind = {kind: [v for v in model.variables if v.kind is kind] for kind in GROUPS}
    declared = [Item(name=v.name, spoken=v.spoken, group=GROUPS[kind]) for kind, found in of_kind.items() for v in found]
    without = sometimes_without(model)
    sensors = [Item(name=s.name, spoken=s.spoken, group=SENSORS) for s in model.sensors if s.name not in without]
    timers = [Item(name=f"{t.name}.Q", spoken=t.text or t.name.replace("_", " "), group=TIMERS) for t in model.timers]
    return (*declared, *sensors, *timers)


def sometimes_without(model: Model) -> frozenset[str]:
    """Return the names of sensors that have no value in some states, so that a run does not tell when they have one."""
    return frozenset(sensor.name for sensor in model.sensors if has_no_value_somewhere(model, sensor.value))


def frames(run: Run, accounts: tuple[StepAccount, ...], model: Model, board: tuple[Item, ...]) -> tuple[Frame, ...]:
    """Return what stands on the board (as `items` gives it) at the settled start and after each step."""
    now = dict(_start(run, model))
    seen = [_frame(board, now, ())]
    for step, account in zip(run.steps, accounts, strict=True):
        now.update(step.changes)
        seen.append(_frame(board, now, account.really))
    return tuple(seen)


def _start(run: Run, model: Model) -> Values:
    """Return the values at the settled start; those before it where it never settles."""
    raw = raw_start(model, run.start)
    try:
        return visible(model, settle(model, raw))
    except Failed:
        return run.start


def raw_start(model: Model, start: Values) -> State:
    """Return the start of a run as a state of a model."""
    given = dict(start)
    return tuple(_raw(variable, given) for variable in model.variables)


def _raw(variable: Variable, given: Mapping[str, Value]) -> int:
    if variable.kind not in SHOWN:
        return variable.starts[0]
    value = given[variable.name]
    return variable.labels.index(value) if variable.labels else int(value)


def _frame(board: tuple[Item, ...], now: Mapping[str, Value], really: Values) -> Frame:
    does = dict(really)
    return tuple(_words(item, now.get(item.name), does.get(item.name)) for item in board)


def _words(item: Item, value: Value | None, really: Value | None) -> str:
    if value is None:
        return UNKNOWN
    if item.group == TIMERS:
        return "on" if value else "off"
    return shown(value) if really is None else f"{shown(value)}, really {shown(really)}"


def differences(before: Frame, after: Frame) -> Iterator[tuple[int, str]]:
    """Yield the place and the new words of each value that differs."""
    for place, (one, other) in enumerate(zip(before, after, strict=True)):
        if one != other:
            yield place, other
