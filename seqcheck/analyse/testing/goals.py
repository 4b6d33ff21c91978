"""Lists what is to be shown of a machine, and the situations in which it can be shown, as conditions to be searched for."""

from collections.abc import Iterator

from msgspec import Struct

from seqcheck.analyse.testing.foreseeing import (
    BY_PEOPLE,
    after_program,
    after_tick,
    may_tick,
    possible,
    rewritten,
    through_sensors,
)
from seqcheck.analyse.testing.records import Item
from seqcheck.model.expression import Apply, Expression, Load, Op, conjunction, negation
from seqcheck.model.model import Model, Reaction, Step
from seqcheck.model.run import StepKind

PERMISSIVE, COMMAND, TRIP = "permissive", "command", "trip"


class Goal(Struct, frozen=True, kw_only=True):
    """A situation in which an item can be shown, or for a trip the one before the step that sets it off."""

    item: Item
    test: Expression


def items(model: Model) -> tuple[Item, ...]:
    """Return all that is to be shown: each command accepted, each of its permissives, each variable that a trip writes."""
    return (*_of_commands(model), *_of_trips(model))


def _of_commands(model: Model) -> Iterator[Item]:
    for number, step in enumerate(model.steps):
        if step.kind is StepKind.COMMAND:
            yield Item(COMMAND, number)
            yield from (Item(PERMISSIVE, number, place) for place in range(len(step.guards)))


def _of_trips(model: Model) -> Iterator[Item]:
    for number, reaction in enumerate(model.reactions):
        if reaction.is_trip:
            yield from (Item(TRIP, number, target) for target in targets(reaction))


def targets(reaction: Reaction) -> tuple[int, ...]:
    """Return the variables that a trip writes."""
    return tuple(dict.fromkeys(target for assign in reaction.program for target in assign.targets))


def goals(model: Model) -> tuple[Goal, ...]:
    """Return the situations to search for; the later ones of an item are the wider ones."""
    return tuple(goal for item in items(model) for goal in _goals(model, item))


def _goals(model: Model, item: Item) -> Iterator[Goal]:
    if item.sort == TRIP:
        yield from _trip_goals(model, item)
        return
    step = model.steps[item.number]
    test = possible(step) if item.sort == COMMAND else alone(step, item.place)
    seen = would_be_seen(step)
    quiet = nothing_pending(model)
    if seen is not None and quiet:
        yield Goal(item=item, test=conjunction(test, seen, *quiet))
    if seen is not None:
        yield Goal(item=item, test=conjunction(test, seen))
    yield Goal(item=item, test=test)


def would_be_seen(step: Step) -> Expression | None:
    """Return when a step writes another value than is there; None if it writes nothing."""
    tests = [
        Apply(Op.UNEQUAL, (Load(target), value))
        for assign in step.program
        for target, value in zip(assign.targets, assign.values, strict=True)
    ]
    if not tests:
        return None
    return tests[0] if len(tests) == 1 else Apply(Op.OR, tuple(tests))


def alone(step: Step, place: int) -> Expression:
    """Return when one permissive alone refuses a command."""
    others = (guard.test for number, guard in enumerate(step.guards) if number != place)
    return conjunction(step.ready, *others, negation(step.guards[place].test))


def nothing_pending(model: Model) -> tuple[Expression, ...]:
    """Return when the machine does nothing by itself, whatever time passes."""
    pending = [clock.when for clock in model.clocks]
    clocked = {clock.rule for clock in model.clocks}
    plant = [step for step in model.steps if step.kind is StepKind.PLANT and step.name not in clocked]
    return tuple(negation(condition) for condition in (*pending, *(possible(step) for step in plant)))


def _trip_goals(model: Model, item: Item) -> Iterator[Goal]:
    """Yield from where a trip can be set off so that it changes a variable: by people and it alone, by anything, not alone."""
    found = list(_causes(model, item))
    sorts = [
        [conjunction(cause, alone_) for by_people, cause, alone_ in found if by_people],
        [conjunction(cause, alone_) for _, cause, alone_ in found],
        [cause for _, cause, _ in found],
    ]
    for tests in sorts:
        if tests:
            yield Goal(item=item, test=tests[0] if len(tests) == 1 else Apply(Op.OR, tuple(tests)))


def _causes(model: Model, item: Item) -> Iterator[tuple[bool, Expression, Expression]]:
    """Yield for each step, and the tick, that can set off a trip: by people or not, when that is so, when no other acts.

    Only direct causes: what they write, or a timer that runs out, is what the trip's condition reads.
    """
    reaction = model.reactions[item.number]
    read = through_sensors(model, reaction.when.test)
    for step in model.steps:
        written = after_program(model, step.program)
        if read & written.keys() and step.kind is not StepKind.FAULT:
            yield (step.kind in BY_PEOPLE, *_caused(model, item, possible(step), written))
    written = after_tick(model)
    if read & written.keys():
        yield (False, *_caused(model, item, may_tick(model), written))


def _caused(model: Model, item: Item, first: Expression, written: dict[int, Expression]) -> tuple[Expression, Expression]:
    reaction = model.reactions[item.number]
    values = after_program(model, reaction.program)
    changes = Apply(Op.UNEQUAL, (Load(item.place), rewritten(model, values[item.place], written)))
    others = [other for other in model.reactions if other is not reaction and item.place in targets(other)]
    quiet = [negation(rewritten(model, other.when.test, written)) for other in others]
    return conjunction(first, changes, rewritten(model, reaction.when.test, written)), conjunction(*quiet)
