"""Offers additional permissives that keep a violated hazard away, each verified on the mended machine before it is offered."""

from collections.abc import Iterator, Mapping, Sequence, Set

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.auditing.removing import Removing, violations
from seqcheck.analyse.record import Disagreement, record
from seqcheck.model.expression import Expression
from seqcheck.model.model import Guard, Hazard, Model, Reachable, Recoverable
from seqcheck.model.run import Run, StepKind
from seqcheck.model.wording import wording
from seqcheck.search.limits import Allowance
from seqcheck.search.symbolic.budget import Budget
from seqcheck.search.symbolic.mending import Mend, Menders, Mending, Mendings
from seqcheck.search.symbolic.reaching import Halt

ADDED = "additional permissive"


class Offer(Struct, frozen=True, kw_only=True):
    """An additional permissive of a command in Structured Text; *also* are the hazards that it keeps away as well.

    *admitted* and *refused* count the situations, as the controller sees them, in which the command is then accepted or not.
    *broken* are `recoverable` requirements that hold as it is and would be violated then.
    """

    command: str
    condition: str
    admitted: int
    refused: int
    also: tuple[str, ...]
    broken: tuple[str, ...]


class Unable(Struct, frozen=True, kw_only=True):
    """A command of which no additional permissive is offered.

    *without*: the hazard comes even if it is never accepted. *lost*: even if everything were seen, these requirements could not
    be reached any more. *parts*: the controller would have to see these. *never*: with what it sees it must never accept the
    command. None of all that: no short condition was found.
    """

    command: str
    without: bool
    lost: tuple[str, ...]
    parts: tuple[str, ...]
    never: bool


class Mended(Struct, frozen=True, kw_only=True):
    """What could keep away a hazard that is met: offers for the commands of its run, and why the others have none.

    *helpless*: it comes even if no command is ever accepted. *lost*: whatever is asked of commands in addition, these
    requirements could not be reached any more. In both cases only a trip, or the hardware, can keep it away.
    """

    id: str
    run: Run
    commands: tuple[str, ...]
    offers: tuple[Offer, ...]
    unable: tuple[Unable, ...]
    helpless: bool
    lost: tuple[str, ...]


class Violated(Struct, frozen=True, kw_only=True):
    """What is violated as it is: the ids, and a run for each of them that is a hazard."""

    ids: frozenset[str]
    hazards: Mapping[str, Run]


def violated(model: Model, removing: Removing) -> Violated:
    """Search for what is violated. Raises `Halt` and `Disagreement`."""
    found = removing.engine.explore(model, (), removing.limits(), removing.observer)
    if found.stopped is not None:
        raise Halt(found.stopped)
    hazards = {p.id: n for n, p in enumerate(model.properties) if isinstance(p.rule, Hazard) and n in found.found}
    ids = frozenset(model.properties[number].id for number, _ in violations(model, found))
    return Violated(ids=ids, hazards={id_: record(model, found.found[n])[0] for id_, n in hazards.items()})


def mends(model: Model, known: Violated, removing: Removing) -> Iterator[Mended]:
    """Yield what could keep away each hazard that is met. Raises `Disagreement`, `Unfit`, `Halt` and `OutOfNodes`."""
    if not known.hazards:
        return
    limits = removing.limits()
    with Allowance(limits) as allowance:
        menders = Menders(model, Budget(allowance, limits, removing.observer))
        for number, p in enumerate(model.properties):
            if p.id in known.hazards:
                yield _mended(model, number, known, menders, removing)


def _mended(model: Model, number: int, known: Violated, menders: Menders, removing: Removing) -> Mended:
    id_ = model.properties[number].id
    run = known.hazards[id_]
    names = tuple(dict.fromkeys(step.by.name for step in run.steps if step.by.kind is StepKind.COMMAND))
    numbers = [n for n, step in enumerate(model.steps) if step.kind is StepKind.COMMAND and step.name in names]
    found = menders.mendings(number, numbers)
    verifying = Verifying(model, id_, known, removing)
    offers = [offer for one in found.mendings for offer in verifying.offers(one)]
    return Mended(
        id=id_,
        run=run,
        commands=names,
        offers=tuple(sorted(offers, key=lambda offer: (len(offer.broken), len(offer.condition)))),
        unable=tuple(_unable(model, found)),
        helpless=found.helpless,
        lost=_ids(model, found.lost),
    )


def _unable(model: Model, found: Mendings) -> Iterator[Unable]:
    for one in found.mendings:
        if not one.mends:
            yield Unable(
                command=model.steps[one.step].name,
                without=one.without,
                lost=_ids(model, one.lost),
                parts=tuple(model.variables[n].name for n in one.needs),
                never=one.never,
            )


def _ids(model: Model, numbers: Sequence[int]) -> tuple[str, ...]:
    return tuple(model.properties[number].id for number in numbers)


def with_permissive(model: Model, step: int, condition: Expression) -> Model:
    """Return a model in which a command has one more permissive."""
    added = Guard(name=ADDED, test=condition, text=wording(model, condition))
    steps = list(model.steps)
    steps[step] = replace(steps[step], guards=(*steps[step].guards, added))
    return replace(model, steps=tuple(steps))


class Verifying:
    """Verifies the mends of one hazard on the mended machine, by an engine that did not find them."""

    def __init__(self, model: Model, id_: str, known: Violated, removing: Removing) -> None:
        self._model = model
        self._id = id_
        self._known = known
        self._removing = removing

    def offers(self, mending: Mending) -> Iterator[Offer]:
        """Yield the mends of one command. Raises `Halt`, and `Disagreement` for one that is none."""
        for mend in mending.mends:
            mended = with_permissive(self._model, mending.step, mend.condition)
            found = self._removing.engine.explore(mended, (), self._removing.limits(), self._removing.observer)
            if found.stopped is not None:
                raise Halt(found.stopped)
            after = frozenset(mended.properties[number].id for number, _ in violations(mended, found))
            yield self._offer(mending.step, mend, after)

    def _offer(self, step: int, mend: Mend, after: frozenset[str]) -> Offer:
        condition = wording(self._model, mend.condition)
        if self._id in after:
            raise Disagreement(f"“{condition}” does not keep {self._id} away")
        if lost := self._ids(Reachable, after - self._known.ids):
            raise Disagreement(f"“{condition}” takes away {', '.join(lost)}")
        return Offer(
            command=self._model.steps[step].name,
            condition=condition,
            admitted=mend.admitted,
            refused=mend.refused,
            also=self._ids(Hazard, self._known.hazards.keys() - after - {self._id}),
            broken=self._ids(Recoverable, after - self._known.ids),
        )

    def _ids(self, kind: type, among: Set[str]) -> tuple[str, ...]:
        return tuple(p.id for p in self._model.properties if isinstance(p.rule, kind) and p.id in among)
