"""Turns commands, people's actions, panel items, plant rules and faults into the model's steps, in file order."""

from collections.abc import Iterator, Sequence

from seqcheck.check import machine as tree
from seqcheck.compile.lower import POWER, Scope, bounds, clock_name, fault_name, labels
from seqcheck.diagnostics.span import Span
from seqcheck.model import model as m
from seqcheck.model.expression import TRUE, Apply, Const, Expression, Load, Op, conjunction, negation
from seqcheck.model.run import StepKind

HAS_POWER = "the controller has power"


def steps(machine: tree.Machine, scope: Scope, studied: Sequence[tree.Fault]) -> tuple[m.Step, ...]:
    """Return every step that is no tick, in the order in which the file has them."""
    found = [
        *_panel_steps(machine, scope),
        *(_command(command, scope) for command in machine.commands),
        *(_person(action, scope) for action in machine.people),
        *(_plant(rule, scope) for rule in machine.plant if not rule.interval.at_once),
        *(step for fault in studied for step in _fault(fault, scope, studied)),
    ]
    return tuple(step for _, step in sorted(found, key=lambda pair: (pair[0].line, pair[0].column)))


def _panel_steps(machine: tree.Machine, scope: Scope) -> Iterator[tuple[Span, m.Step]]:
    for item in machine.variables:
        if item.section is tree.Section.PANEL:
            lowest, highest = bounds(item.type)
            for value in range(lowest, highest + 1):
                yield item.span, _panel_step(item, value, scope)


def _panel_step(item: tree.Variable, value: int, scope: Scope) -> m.Step:
    place = scope.places[item.name]
    named = labels(item.type)
    return m.Step(
        kind=StepKind.PANEL,
        name=item.name,
        to=named[value] if named else value,
        ready=Apply(Op.UNEQUAL, (Load(place), Const(value))),
        guards=(),
        program=(m.Assign(targets=(place,), values=(Const(value),), bounded=True),),
        line=item.span.line,
    )


def _command(command: tree.Command, scope: Scope) -> tuple[Span, m.Step]:
    return command.span, m.Step(
        kind=StepKind.COMMAND,
        name=command.name,
        to=None,
        ready=TRUE,
        guards=(*(scope.guard(p.condition, name=p.name) for p in command.permissives), *_power_needed(command, scope)),
        program=scope.program(command.effects),
        line=command.span.line,
    )


def _power_needed(command: tree.Command, scope: Scope) -> tuple[m.Guard, ...]:
    """Return the condition that every command has where loss of power is under study.

    It stands with the permissives, which are evaluated without power too, as the conditions of trips and timers are.
    """
    if scope.has_power == TRUE:
        return ()
    return (m.Guard(name=HAS_POWER, test=scope.has_power, text=HAS_POWER, line=command.span.line),)


def _person(action: tree.PersonAction, scope: Scope) -> tuple[Span, m.Step]:
    return action.span, m.Step(
        kind=StepKind.PERSON,
        name=action.name,
        to=None,
        ready=TRUE,
        guards=(scope.guard(action.condition),),
        program=scope.program(action.effects),
        line=action.span.line,
    )


def _plant(rule: tree.PlantRule, scope: Scope) -> tuple[Span, m.Step]:
    place = scope.places.get(clock_name(rule))
    ready: Expression = TRUE
    program = scope.program(rule.effects)
    if place is not None:
        ready = Apply(Op.AT_LEAST, (Load(place), Const(rule.interval.earliest)))
        program = (*program, m.Assign(targets=(place,), values=(Const(0),), bounded=True))
    guard = scope.guard(rule.when)
    line = rule.span.line
    return rule.span, m.Step(
        kind=StepKind.PLANT, name=rule.name, to=None, ready=ready, guards=(guard,), program=program, line=line
    )


def _fault(fault: tree.Fault, scope: Scope, studied: Sequence[tree.Fault]) -> Iterator[tuple[Span, m.Step]]:
    flag = scope.places[fault_name(fault)]
    rivals = [
        other
        for other in studied
        if other.stuck is not None
        and fault.stuck is not None
        and (other.stuck.signal, other.stuck.is_sensor) == (fault.stuck.signal, fault.stuck.is_sensor)
    ]
    flags = {flag, *(scope.places[fault_name(other)] for other in rivals)}
    lost = () if fault.power is None else (_set(scope.places[POWER], 1),)
    yield (
        fault.span,
        m.Step(
            kind=StepKind.FAULT,
            name=fault.name,
            to=None,
            ready=conjunction(*(negation(Load(place)) for place in sorted(flags))),
            guards=(scope.guard(fault.condition),),
            program=(*scope.program(fault.effects), *scope.reset(fault.resets), _set(flag, 1), *lost),
            line=fault.span.line,
        ),
    )
    if fault.power is not None:
        yield fault.span, _return_of_power(fault.span, fault.power, scope)


def _return_of_power(span: Span, power: tree.PowerLoss, scope: Scope) -> m.Step:
    """Return the step that gives power back: no fault, but something that happens by itself at any time, or never."""
    place = scope.places[POWER]
    return m.Step(
        kind=StepKind.PLANT,
        name=power.returns,
        to=None,
        ready=Apply(Op.EQUAL, (Load(place), Const(1))),
        guards=(),
        program=(*scope.reset(power.resets), _set(place, 0)),
        line=span.line,
    )


def _set(place: int, value: int) -> m.Assign:
    return m.Assign(targets=(place,), values=(Const(value),), bounded=True)
