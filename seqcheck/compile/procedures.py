"""Turns procedures of the checked tree into those of the model: steps become numbers of steps, ticks and conditions."""

from collections.abc import Mapping
from typing import TypeAlias, assert_never

from seqcheck.check import machine as tree
from seqcheck.compile.lower import Scope, labels
from seqcheck.model import model as m
from seqcheck.model.run import StepKind, Value

Numbers: TypeAlias = Mapping[tuple[StepKind, str, Value | None], int]


def procedures(machine: tree.Machine, scope: Scope, steps: tuple[m.Step, ...]) -> tuple[m.Procedure, ...]:
    """Return the procedures in file order; *steps* are those of the model."""
    if not machine.procedures:
        return ()
    numbers = _numbers(steps)
    places = {procedure.name: place for place, procedure in enumerate(machine.procedures)}
    return tuple(
        m.Procedure(
            name=procedure.name,
            steps=tuple(_step(step, scope, numbers) for step in procedure.steps),
            ends_with=None if procedure.ends_with is None else scope.guard(procedure.ends_with),
            after=None if procedure.after is None else places[procedure.after],
            source=procedure.source,
            line=procedure.span.line,
        )
        for procedure in machine.procedures
    )


def emergency_stop(machine: tree.Machine, steps: tuple[m.Step, ...]) -> m.EmergencyStop | None:
    """Return the panel item that the file marks as the emergency stop; its first state is released, its other pressed."""
    for variable in machine.variables:
        if variable.is_emergency_stop:
            numbers = _numbers(steps)
            released = variable.starts[0]
            (pressed,) = (value for value in labels(variable.type) if value != released)
            return m.EmergencyStop(
                name=variable.name,
                press=numbers[StepKind.PANEL, variable.name, pressed],
                release=numbers[StepKind.PANEL, variable.name, released],
            )
    return None


def _numbers(steps: tuple[m.Step, ...]) -> Numbers:
    return {(step.kind, step.name, step.to): number for number, step in enumerate(steps)}


def _step(step: tree.ProcedureStep, scope: Scope, numbers: Numbers) -> m.ProcedureStep:
    match step:
        case tree.Act():
            kind = StepKind.COMMAND if step.is_command else StepKind.PERSON
            return m.Act(numbers[kind, step.name, None])
        case tree.SetPanel():
            return m.SetPanel(tuple(numbers[StepKind.PANEL, name, value] for name, value in step.values))
        case tree.Wait():
            return m.Wait(step.ticks)
        case tree.Until():
            return m.Until(scope.guard(step.condition))
        case _:
            assert_never(step)
