"""Changes a checked machine: takes a permissive, a clause or a trip out of it, or gives a duration another length."""

from collections.abc import Collection

from msgspec.structs import replace

from seqcheck.check.machine import Condition, Machine
from seqcheck.check.typed import Expression, Literal, Operation, Operator, TruthType


def without_permissive(machine: Machine, command: str, name: str) -> Machine:
    """Return the machine in which a command does without a permissive."""
    commands = tuple(
        replace(c, permissives=tuple(p for p in c.permissives if p.name != name)) if c.name == command else c
        for c in machine.commands
    )
    return replace(machine, commands=commands)


def without_clauses(machine: Machine, command: str, name: str, clauses: Collection[int]) -> Machine:
    """Return the machine in which a permissive does without some of the clauses that it joins by AND."""
    commands = tuple(
        replace(
            c,
            permissives=tuple(
                replace(p, condition=shortened(p.condition, clauses)) if p.name == name else p for p in c.permissives
            ),
        )
        if c.name == command
        else c
        for c in machine.commands
    )
    return replace(machine, commands=commands)


def without_condition(machine: Machine, action: str, clauses: Collection[int] | None) -> Machine:
    """Return the machine in which people may act without a condition, or without some of its clauses."""
    people = tuple(
        replace(a, condition=always(a.condition) if clauses is None else shortened(a.condition, clauses))
        if a.name == action
        else a
        for a in machine.people
    )
    return replace(machine, people=people)


def always(condition: Condition) -> Condition:
    """Return the condition TRUE, where another stood."""
    return replace(condition, expression=Literal(value=True, type=TruthType(), span=condition.span), text="TRUE")


def without_trip(machine: Machine, name: str) -> Machine:
    """Return the machine without a trip."""
    return replace(machine, trips=tuple(trip for trip in machine.trips if trip.name != name))


def shortened(condition: Condition, clauses: Collection[int]) -> Condition:
    """Return a condition without some of the clauses that it joins by AND; TRUE if none is left."""
    kept = [part for number, part in enumerate(joined(condition.expression)) if number not in clauses]
    whole = condition.expression
    if not kept:
        return always(condition)
    if len(kept) == 1 or not isinstance(whole, Operation):
        return replace(condition, expression=kept[0])
    return replace(condition, expression=replace(whole, operands=tuple(kept)))


def joined(expression: Expression) -> tuple[Expression, ...]:
    """Return the clauses that an expression joins by AND, from left to right; itself if it joins none."""
    if isinstance(expression, Operation) and expression.operator is Operator.AND:
        return tuple(part for operand in expression.operands for part in joined(operand))
    return (expression,)


def with_preset(machine: Machine, timer: str, ticks: int) -> Machine:
    """Return the machine in which a timer has another preset time."""
    return replace(machine, timers=tuple(replace(t, pt_ticks=ticks) if t.name == timer else t for t in machine.timers))


def with_latest(machine: Machine, rule: str, ticks: int | None) -> Machine:
    """Return the machine in which a plant rule happens by another latest time; None: at any time later, or never."""
    plant = tuple(replace(r, interval=replace(r.interval, latest=ticks)) if r.name == rule else r for r in machine.plant)
    return replace(machine, plant=plant)
