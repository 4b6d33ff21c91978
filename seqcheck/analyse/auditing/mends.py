"""Offers additional permissives that keep a violated hazard away, each verified on the mended machine before it is offered."""

from collections.abc import Iterator

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.auditing.removing import Removing
from seqcheck.analyse.record import Disagreement, record
from seqcheck.model.expression import Expression
from seqcheck.model.model import Guard, Hazard, Model, Reachable
from seqcheck.model.run import Run, StepKind
from seqcheck.model.wording import wording
from seqcheck.search.engine import Exploration
from seqcheck.search.symbolic.mending import Mend, mendings

ADDED = "additional permissive"


class Offer(Struct, frozen=True, kw_only=True):
    """An additional permissive of a command in Structured Text; *also* are the hazards that it keeps away as well.

    *admitted* and *refused* count the situations, as the controller sees them, in which the command is then accepted or not.
    """

    command: str
    condition: str
    admitted: int
    refused: int
    also: tuple[str, ...]


class Blind(Struct, frozen=True, kw_only=True):
    """A command that could keep the hazard away if the controller saw more: the variables that it would have to see."""

    command: str
    parts: tuple[str, ...]


class Mended(Struct, frozen=True, kw_only=True):
    """What could keep away a hazard that is met: offers, commands that see too little, and whether any command plays a part.

    *commands* are those on the run; not *needs_command*: the hazard comes even if none of them is ever accepted, so that only a
    trip, or the hardware, can keep it away.
    """

    id: str
    run: Run
    commands: tuple[str, ...]
    offers: tuple[Offer, ...]
    blind: tuple[Blind, ...]
    needs_command: bool


def mends(model: Model, removing: Removing) -> tuple[Mended, ...]:
    """Return what could keep away each hazard that is met. Raises `Disagreement`, `Unfit`, `Halt` and `OutOfNodes`."""
    found = removing.engine.explore(model, (), removing.limits(), removing.observer)
    violated = [n for n, p in enumerate(model.properties) if isinstance(p.rule, Hazard) and n in found.found]
    return tuple(_mended(model, number, found, removing) for number in violated)


def _mended(model: Model, number: int, found: Exploration, removing: Removing) -> Mended:
    run, _ = record(model, found.found[number])
    commands = tuple(dict.fromkeys(step.by.name for step in run.steps if step.by.kind is StepKind.COMMAND))
    offers: list[Offer] = []
    blind: list[Blind] = []
    for mending in mendings(model, number, removing.limits(), removing.observer):
        command = model.steps[mending.step].name
        if command in commands:
            offers += _offers(model, mending.step, mending.mends, number, found, removing)
            if mending.needs:
                blind.append(Blind(command=command, parts=tuple(model.variables[n].name for n in mending.needs)))
    offers.sort(key=lambda offer: len(offer.condition))
    return Mended(
        id=model.properties[number].id,
        run=run,
        commands=commands,
        offers=tuple(offers),
        blind=tuple(blind),
        needs_command=bool(commands) and _needs_command(model, commands, number, removing),
    )


def with_permissive(model: Model, step: int, condition: Expression) -> Model:
    """Return a model in which a command has one more permissive."""
    added = Guard(name=ADDED, test=condition, text=wording(model, condition))
    steps = list(model.steps)
    steps[step] = replace(steps[step], guards=(*steps[step].guards, added))
    return replace(model, steps=tuple(steps))


def _offers(
    model: Model, step: int, offered: tuple[Mend, ...], number: int, found: Exploration, removing: Removing
) -> Iterator[Offer]:
    """Yield the mends that a search of the mended machine confirms. Raises `Disagreement` for one that lets the hazard be."""
    for mend in offered:
        mended = with_permissive(model, step, mend.condition)
        after = removing.engine.explore(mended, (), removing.limits(), removing.observer)
        if after.stopped is not None:
            continue
        if number in after.found:
            raise Disagreement(f"“{wording(model, mend.condition)}” does not keep {model.properties[number].id} away")
        kept = [n for n, p in enumerate(model.properties) if isinstance(p.rule, Reachable) and n in found.found]
        if all(n in after.found for n in kept):
            hazards = [n for n, p in enumerate(model.properties) if isinstance(p.rule, Hazard) and n != number]
            also = tuple(model.properties[n].id for n in hazards if n in found.found and n not in after.found)
            yield Offer(
                command=model.steps[step].name,
                condition=wording(model, mend.condition),
                admitted=mend.admitted,
                refused=mend.refused,
                also=also,
            )


def _needs_command(model: Model, commands: tuple[str, ...], number: int, removing: Removing) -> bool:
    """Tell whether the hazard stays away if some commands are never accepted."""
    steps = tuple(s for s in model.steps if s.kind is not StepKind.COMMAND or s.name not in commands)
    rules = (model.properties[number],)
    left = replace(model, steps=steps, properties=rules)
    return 0 not in removing.engine.explore(left, (), removing.limits(), removing.observer).found
