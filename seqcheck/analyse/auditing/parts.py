"""Lists what an audit takes out of the logic, and makes the machines in which each of these may be missing."""

from collections.abc import Collection, Iterator, Sequence
from enum import Enum

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.model.expression import TRUE, Apply, Expression, Load, Op, conjunction, negation
from seqcheck.model.model import Guard, Model, Reaction, Step, Variable, VariableKind
from seqcheck.model.run import StepKind
from seqcheck.model.wording import wording


class PartKind(Enum):
    """What sort of thing is taken out."""

    PERMISSIVE = "permissive"
    BY_HAND = "condition by hand"
    CLAUSE = "clause"
    TRIP = "trip"


class Part(Struct, frozen=True, kw_only=True):
    """Something that can be taken out: a permissive, one of the clauses that it joins by AND, a trip, or what lets people act.

    *step* is the command or the person's action, empty for a trip; *name* the permissive's or trip's; *clause* its place among
    the clauses (from 0) with *text* as the file would write it, else the whole condition's.
    """

    kind: PartKind
    step: str
    name: str
    clause: int | None
    text: str
    line: int


def conjuncts(model: Model, test: Expression) -> tuple[Expression, ...]:
    """Split a condition into what all must hold, as the file has it: a timer's Q is one thing, whatever it is made of."""
    if isinstance(test, Apply) and test.op is Op.AND and all(test != timer.q for timer in model.timers):
        return tuple(part for operand in test.operands for part in conjuncts(model, operand))
    return (test,)


def parts(model: Model, *, people: bool = False) -> tuple[Part, ...]:
    """Return all that can be taken out: permissives, each followed by its clauses if it has several, then trips.

    With *people* the conditions of what people do by hand take part too.
    """
    kinds = {StepKind.COMMAND, StepKind.PERSON} if people else {StepKind.COMMAND}
    return (*_permissives(model, kinds), *_trips(model))


def _permissives(model: Model, kinds: Collection[StepKind]) -> Iterator[Part]:
    for step in model.steps:
        for guard in step.guards if step.kind in kinds else ():
            if guard.test == TRUE and step.kind is StepKind.PERSON:
                continue
            yield _permissive(step, guard)
            clauses = conjuncts(model, guard.test)
            for number, clause in enumerate(clauses) if len(clauses) > 1 else ():
                whole = _permissive(step, guard)
                yield replace(whole, kind=PartKind.CLAUSE, clause=number, text=wording(model, clause))


def _permissive(step: Step, guard: Guard) -> Part:
    kind = PartKind.PERMISSIVE if step.kind is StepKind.COMMAND else PartKind.BY_HAND
    return Part(kind=kind, step=step.name, name=guard.name, clause=None, text=guard.text, line=guard.line)


def _trips(model: Model) -> Iterator[Part]:
    for trip in model.reactions:
        if trip.is_trip:
            kind = PartKind.TRIP
            yield Part(kind=kind, step="", name=trip.name, clause=None, text=trip.when.text, line=trip.line)


ASKING = (StepKind.COMMAND, StepKind.PERSON)
"""What has conditions that can be taken out; a person's action has one, without a name."""


class Loosened(Struct, frozen=True, kw_only=True):
    """A model in which each of some parts is missing where the variable of *flags* at its place is 1, from the start on."""

    model: Model
    flags: tuple[int, ...]


def loosened(model: Model, missing: Sequence[Part]) -> Loosened:
    """Return the model in which each of some parts may be missing."""
    first = len(model.variables)
    flag_of = {part: Load(first + number) for number, part in enumerate(missing)}
    added = tuple(_flag(part) for part in missing)
    changed = replace(
        model,
        variables=(*model.variables, *added),
        steps=tuple(_step(model, step, flag_of) if step.kind in ASKING else step for step in model.steps),
        reactions=tuple(_reaction(reaction, flag_of) for reaction in model.reactions),
    )
    return Loosened(model=changed, flags=tuple(range(first, first + len(missing))))


def without(model: Model, missing: Sequence[Part]) -> Model:
    """Return the model from which some parts are taken out."""
    trips = {part.name for part in missing if part.kind is PartKind.TRIP}
    return replace(
        model,
        steps=tuple(
            replace(step, guards=tuple(_left(model, step, missing))) if step.kind in ASKING else step for step in model.steps
        ),
        reactions=tuple(r for r in model.reactions if not (r.is_trip and r.name in trips)),
    )


def _left(model: Model, step: Step, missing: Sequence[Part]) -> Iterator[Guard]:
    """Yield what is left of a command's permissives."""
    for guard in step.guards:
        gone = [p for p in missing if p.kind is not PartKind.TRIP and (p.step, p.name) == (step.name, guard.name)]
        if any(part.clause is None for part in gone):
            continue
        clauses = {part.clause for part in gone}
        kept = [clause for n, clause in enumerate(conjuncts(model, guard.test)) if n not in clauses]
        yield guard if not clauses else replace(guard, test=conjunction(*kept))


def _flag(part: Part) -> Variable:
    name = f"without {part.step} {part.name} {'' if part.clause is None else part.clause}".rstrip()
    kind = VariableKind.ABSENCE
    return Variable(name=name, kind=kind, lowest=0, highest=1, labels=(), starts=(0, 1), line=part.line)


def _step(model: Model, step: Step, flag_of: dict[Part, Load]) -> Step:
    return replace(step, guards=tuple(_guard(model, step, guard, flag_of) for guard in step.guards))


def _guard(model: Model, step: Step, guard: Guard, flag_of: dict[Part, Load]) -> Guard:
    whole: list[Expression] = []
    of_clause: dict[int, Expression] = {}
    for part, flag in flag_of.items():
        if part.step == step.name and part.name == guard.name and part.kind is not PartKind.TRIP:
            if part.clause is None:
                whole.append(flag)
            else:
                of_clause[part.clause] = flag
    test = guard.test
    if of_clause:
        test = conjunction(*(_or(clause, of_clause.get(n)) for n, clause in enumerate(conjuncts(model, test))))
    return replace(guard, test=_or(test, *whole))


def _or(test: Expression, *flags: Expression | None) -> Expression:
    there = tuple(flag for flag in flags if flag is not None)
    return Apply(Op.OR, (test, *there)) if there else test


def _reaction(reaction: Reaction, flag_of: dict[Part, Load]) -> Reaction:
    flags = [flag for part, flag in flag_of.items() if part.kind is PartKind.TRIP and part.name == reaction.name]
    if not reaction.is_trip or not flags:
        return reaction
    return replace(reaction, when=replace(reaction.when, test=conjunction(reaction.when.test, *map(negation, flags))))
