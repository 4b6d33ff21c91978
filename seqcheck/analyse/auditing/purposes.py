"""Finds what each permissive, clause and trip is for: what becomes possible if it is taken out, alone or with another."""

from collections.abc import Callable, Iterator, Sequence
from typing import TypeAlias

from msgspec import Struct

from seqcheck.analyse.auditing.parts import ASKING, Part, PartKind, conjuncts, parts, without
from seqcheck.analyse.auditing.removing import Missing, Removals, Removing, removals
from seqcheck.analyse.judge import shows
from seqcheck.analyse.record import Disagreement, record
from seqcheck.analyse.verdict import StepAccount
from seqcheck.model.expression import TRUE, Expression, conjunction, negation
from seqcheck.model.model import Elsewhere, Model
from seqcheck.model.run import Run
from seqcheck.search.engine import Stop, Trace

PAIRS = 2


class Need(Struct, frozen=True, kw_only=True):
    """A hazard or requirement that is violated without a part; *run* shows it, if a run can."""

    id: str
    run: Run | None
    accounts: tuple[StepAccount, ...] = ()


class Cover(Struct, frozen=True, kw_only=True):
    """Another part that may go as well as this one, but not both: then a hazard or requirement is violated."""

    other: Part
    need: Need


class Purpose(Struct, frozen=True, kw_only=True):
    """What a part is for.

    *needs* are violated without it; where there are none, *covers* are violated without it and one other. *decisive*: some
    reachable situation is decided by it alone (a trip: it ever acts).
    """

    part: Part
    needs: tuple[Need, ...]
    covers: tuple[Cover, ...]
    decisive: bool


class Purposes(Struct, frozen=True, kw_only=True):
    """The purposes of all parts. *already* is violated as it is; *states* were searched, all machines together."""

    purposes: tuple[Purpose, ...]
    already: tuple[str, ...]
    states: int
    stopped: Stop | None


Observing: TypeAlias = Callable[[str], Model]


def purposes(model: Model, observing: Observing, removing: Removing, *, people: bool = False) -> Purposes:
    """Take out each part alone, then each pair of those that nothing needs alone. Raises `Disagreement`."""
    every = parts(model, people=people)
    asked = [model, *(observing(p.id) for p in model.properties if isinstance(p.rule, Elsewhere))]
    alone = [
        removals(one, every, 1, decisions(model, every) if number == 0 else (), removing) for number, one in enumerate(asked)
    ]
    needs: dict[Missing, list[Need]] = {}
    for one, found in zip(asked, alone, strict=True):
        _note(one, found, needs)
    spare = [part for part in every if frozenset({part}) not in needs]
    together = [removals(one, spare, PAIRS, (), removing) for one in asked] if len(spare) > 1 else []
    for one, found in zip(asked, together, strict=False):
        _note(one, found, needs)
    return Purposes(
        purposes=tuple(_purpose(model, number, every, needs, alone[0]) for number in range(len(every))),
        already=tuple(need.id for need in needs.get(frozenset(), ())),
        states=sum(found.states for found in (*alone, *together)),
        stopped=next((found.stopped for found in (*alone, *together) if found.stopped is not None), None),
    )


def _note(model: Model, found: Removals, needs: dict[Missing, list[Need]]) -> None:
    for number, sets in sorted(found.violated.items()):
        for missing, trace in sets:
            known = needs.setdefault(missing, [])
            if all(need.id != model.properties[number].id for need in known):
                known.append(_need(model, missing, number, trace))


def _need(model: Model, missing: Missing, number: int, trace: Trace | None) -> Need:
    """Return a need with the run of a trace, confirmed by the plain definition. Raises `Disagreement`."""
    changed, p = without(model, tuple(missing)), model.properties[number]
    if trace is None:
        return Need(id=p.id, run=None)
    run, accounts = record(changed, trace)
    if not shows(changed, p, trace, run):
        raise Disagreement(f"the run of {p.id} without {', '.join(sorted(part.name for part in missing))} does not show it")
    return Need(id=p.id, run=run, accounts=accounts)


def _purpose(model: Model, number: int, every: Sequence[Part], needs: dict[Missing, list[Need]], alone: Removals) -> Purpose:
    part = every[number]
    own = tuple(needs.get(frozenset({part}), ()))
    covers: tuple[Cover, ...] = ()
    if not own:
        covers = tuple(
            Cover(other=other, need=need)
            for other in every
            if other != part
            for need in needs.get(frozenset({part, other}), ())
        )
    return Purpose(part=part, needs=own, covers=covers, decisive=_is_decisive(model, number, part, alone))


def decisions(model: Model, every: Sequence[Part]) -> tuple[Expression, ...]:
    """Return for each permissive and clause the condition of the states that it alone decides; for a trip what is always so."""
    return tuple(TRUE if part.kind is PartKind.TRIP else conjunction(*_decided(model, part)) for part in every)


def _decided(model: Model, part: Part) -> Iterator[Expression]:
    step = next(s for s in model.steps if s.kind in ASKING and s.name == part.step)
    for guard in step.guards:
        if guard.name != part.name:
            yield guard.test
        elif part.clause is None:
            yield negation(guard.test)
        else:
            for number, clause in enumerate(conjuncts(guard.test)):
                yield negation(clause) if number == part.clause else clause


def _is_decisive(model: Model, number: int, part: Part, alone: Removals) -> bool:
    if part.kind is PartKind.TRIP:
        return any(r.is_trip and r.name == part.name and n in alone.acted for n, r in enumerate(model.reactions))
    return number not in alone.never
