"""Finds what each permissive, clause and trip is for: what becomes possible if it is taken out, alone or with another."""

from collections.abc import Callable, Collection, Iterator, Sequence
from typing import TypeAlias

from msgspec import Struct

from seqcheck.analyse.auditing.parts import ASKING, Part, PartKind, conjuncts, parts, without
from seqcheck.analyse.auditing.removing import OVER, Missing, Removals, Removing, removals
from seqcheck.analyse.judge import described, shows
from seqcheck.analyse.observed import failing_observer, unobserved
from seqcheck.analyse.record import Disagreement, record
from seqcheck.analyse.verdict import StepAccount
from seqcheck.model.expression import TRUE, Expression, conjunction, negation
from seqcheck.model.model import Elsewhere, Model
from seqcheck.model.run import Run
from seqcheck.search.engine import Stop, Trace

PAIRS = 2


class Need(Struct, frozen=True, kw_only=True):
    """A hazard, requirement or built-in check that is violated without a part; *run* shows it, if a run can.

    *failing* says in words what fails, where that is a built-in check.
    """

    id: str
    run: Run | None
    accounts: tuple[StepAccount, ...] = ()
    failing: str = ""


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
    """The purposes of all parts. *already* is violated as it is; *states* were searched, all machines together.

    Not *alone_known*: the search of the machines that lack one part was *stopped*, so that where nothing is listed there may be
    something yet, nor is it known what decides. Not *pairs_known*: the same of those that lack two; *pairs_left* of these were
    not to be searched.
    """

    purposes: tuple[Purpose, ...]
    already: tuple[Need, ...]
    states: int
    stopped: Stop | None
    alone_known: bool
    pairs_known: bool
    pairs_left: int


Observing: TypeAlias = Callable[[str], Model]


def purposes(model: Model, observing: Observing, removing: Removing, *, people: bool = False, pairs: bool = True) -> Purposes:
    """Take out each part alone, then each of the *pairs* of those that nothing needs alone. Raises `Disagreement`."""
    every = parts(model, people=people)
    asked = [model, *(observing(p.id) for p in model.properties if isinstance(p.rule, Elsewhere))]
    alone = list(_searched(asked, every, 1, decisions(model, every), removing))
    needs = Needs()
    for one, found in zip(asked, alone, strict=False):
        needs.note(model, one, found)
    alone_known = _is_whole(alone, asked)
    spare = [part for part in every if not needs.of({part})]
    asked_together = asked if pairs and alone_known and len(spare) > 1 else []
    together = list(_searched(asked_together, spare, PAIRS, (), removing))
    for one, found in zip(asked, together, strict=False):
        needs.note(model, one, found)
    return Purposes(
        purposes=tuple(_purpose(model, number, every, needs, alone[0]) for number in range(len(every))),
        already=needs.of(()),
        states=sum(found.states for found in (*alone, *together)),
        stopped=next((found.stopped for found in (*alone, *together) if found.stopped is not None), None),
        alone_known=alone_known,
        pairs_known=alone_known and (len(spare) < PAIRS or _is_whole(together, asked)),
        pairs_left=sum(found.left for found in together),
    )


def _searched(
    asked: Sequence[Model], taken: Sequence[Part], at_most: int, watches: tuple[Expression, ...], removing: Removing
) -> Iterator[Removals]:
    """Yield what each machine comes to without some parts; none after one that was stopped for good."""
    for number, one in enumerate(asked):
        found = removals(one, taken, at_most, () if number else watches, removing)
        yield found
        if found.stopped in OVER:
            return


def _is_whole(found: Sequence[Removals], asked: Sequence[Model]) -> bool:
    return len(found) == len(asked) and all(one.stopped is None and not one.left for one in found)


class Needs:
    """Gathers what is violated without which sets of parts, none of them known without a part of its set."""

    def __init__(self) -> None:
        self._of: dict[Missing, list[Need]] = {}

    def of(self, missing: Collection[Part]) -> tuple[Need, ...]:
        """Return what is violated without a set of parts."""
        return tuple(self._of.get(frozenset(missing), ()))

    def note(self, base: Model, model: Model, found: Removals) -> None:
        """Add what the searches of one model found, *base* with an observer or as it is. Raises `Disagreement`."""
        for number, shown in sorted(found.violated.items()):
            for missing, trace in shown:
                self._add(missing, _need(model, missing, number, trace))
        for missing, trace in sorted(found.failed, key=lambda pair: len(pair[0])):
            changed = without(model, tuple(missing))
            run, accounts = record(changed, trace)
            _, id_, text = described(run)
            if failing_observer(changed, run):
                machine = without(base, tuple(missing))
                run, accounts = record(machine, unobserved(machine, trace))
                text = f"a condition of {changed.properties[0].id} has no value"
            self._add(missing, Need(id=id_, run=run, accounts=accounts, failing=text))
        for missing, number, trace in sorted(found.unjudged, key=lambda one: len(one[0])):
            run, accounts = record(without(model, tuple(missing)), trace)
            id_ = model.properties[number].id
            text = f"the condition of {id_} has no value"
            self._add(missing, Need(id=f"range: {id_}", run=run, accounts=accounts, failing=text))

    def _add(self, missing: Missing, need: Need) -> None:
        known = (other for smaller, needs in self._of.items() if smaller <= missing for other in needs)
        if all(other.id != need.id for other in known):
            self._of.setdefault(missing, []).append(need)


def _need(model: Model, missing: Missing, number: int, trace: Trace | None) -> Need:
    """Return a need with the run of a trace, confirmed by the plain definition. Raises `Disagreement`."""
    changed, p = without(model, tuple(missing)), model.properties[number]
    if trace is None:
        return Need(id=p.id, run=None)
    run, accounts = record(changed, trace)
    if not shows(changed, p, trace, run):
        raise Disagreement(f"the run of {p.id} without {', '.join(sorted(part.name for part in missing))} does not show it")
    return Need(id=p.id, run=run, accounts=accounts)


def _purpose(model: Model, number: int, every: Sequence[Part], needs: Needs, alone: Removals) -> Purpose:
    part = every[number]
    own = needs.of({part})
    covers: tuple[Cover, ...] = ()
    if not own:
        covers = tuple(Cover(other=other, need=need) for other in every if other != part for need in needs.of({part, other}))
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
            for number, clause in enumerate(conjuncts(model, guard.test)):
                yield negation(clause) if number == part.clause else clause


def _is_decisive(model: Model, number: int, part: Part, alone: Removals) -> bool:
    if part.kind is PartKind.TRIP:
        return any(r.is_trip and r.name == part.name and n in alone.acted for n, r in enumerate(model.reactions))
    return number not in alone.never
