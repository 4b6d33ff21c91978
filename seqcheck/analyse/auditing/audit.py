"""The audit of one machine: purposes, refusals without need, mends and margins, each as far as limits let it."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from enum import Enum
from fractions import Fraction
from typing import TypeVar

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.assumptions import assumptions
from seqcheck.analyse.auditing.margins import Margin, Rebuilt, margins
from seqcheck.analyse.auditing.mends import Mended, Violated, mends, violated
from seqcheck.analyse.auditing.purposes import Observing, Purposes, purposes
from seqcheck.analyse.auditing.removing import OVER, Removing, bare
from seqcheck.analyse.judge import is_true
from seqcheck.analyse.record import record
from seqcheck.analyse.verdict import StepAccount
from seqcheck.model.model import Elsewhere, Hazard, Model, Recoverable
from seqcheck.model.run import Run
from seqcheck.search.engine import Stop, Unfit
from seqcheck.search.planner.beside import Beside
from seqcheck.search.symbolic.diagrams import OutOfNodes
from seqcheck.search.symbolic.reaching import Halt
from seqcheck.search.symbolic.strictness import Refusals, refusals

Answered = TypeVar("Answered")


class Refused(Struct, frozen=True, kw_only=True):
    """Where a command is refused, with a run to a harmless situation, if there is one, and what refuses it there."""

    command: str
    refusals: Refusals
    refusing: tuple[str, ...]
    run: Run | None
    accounts: tuple[StepAccount, ...]


class Audit(Struct, frozen=True, kw_only=True):
    """The answers; None: that one was not come to. Where one is not whole, *missing* says why under its name.

    *unmet* are those of the *hazards* that are not met as it is, so that a refusal may keep them away (None: that was not come
    to), *recoverable* the requirements of that kind.
    """

    machine: str
    revision: str
    tick_s: Fraction
    hazards: tuple[str, ...]
    unmet: tuple[str, ...] | None
    recoverable: tuple[str, ...]
    purposes: Purposes | None
    refused: tuple[Refused, ...] | None
    mended: tuple[Mended, ...] | None
    margins: tuple[Margin, ...] | None
    missing: Mapping[str, str]
    stopped: Stop | None
    assumptions: tuple[str, ...]

    @property
    def complete(self) -> bool:
        """Whether every question has its whole answer."""
        return not self.missing


class Asked(Struct, frozen=True, kw_only=True):
    """What is asked of an audit besides the machine: those with observers, changed ones, whether people's conditions count.

    Without *pairs* parts are only taken out one at a time.
    """

    observing: Observing
    rebuilt: Rebuilt
    people: bool = False
    pairs: bool = True


class Question(Enum):
    """A question of an audit, by its name in `Audit.missing`. Mends are found more quickly where the purposes are known."""

    PURPOSES = "purposes"
    MENDS = "mends"
    REFUSALS = "refusals"
    MARGINS = "margins"


WITH_PURPOSES = (Question.PURPOSES, Question.MENDS)
BESIDE_THEM = (Question.REFUSALS, Question.MARGINS)
"""What can be asked in another process."""


class Answers(Struct, frozen=True, kw_only=True):
    """The answers to some of the questions: as in `Audit`."""

    purposes: Purposes | None = None
    refused: tuple[Refused, ...] | None = None
    mended: tuple[Mended, ...] | None = None
    margins: tuple[Margin, ...] | None = None
    missing: Mapping[str, str] = {}
    stopped: Stop | None = None


class Auditor:
    """Asks one question after the other and notes what could not be answered."""

    def __init__(self, model: Model, asked: Asked, removing: Removing) -> None:
        self._model = model
        self._asked = asked
        self._removing = removing
        self._missing: dict[str, str] = {}
        self._stopped: Stop | None = None
        self._purposes: Purposes | None = None

    def answers(self, questions: Collection[Question]) -> Answers:
        """Answer some questions. Raises `Disagreement`."""
        if Question.PURPOSES in questions:
            self._purposes = next(iter(self._answer("purposes", self._purposed()) or ()), None)
        mended = self._answer("mends", self._mended()) if Question.MENDS in questions else None
        refused = self._answer("refusals", self._refused()) if Question.REFUSALS in questions else None
        margins = self._answer("margins", self._margins()) if Question.MARGINS in questions else None
        return Answers(
            purposes=self._purposes,
            refused=refused,
            mended=mended,
            margins=margins,
            missing=self._missing,
            stopped=self._stopped,
        )

    def _answer(self, name: str, answers: Iterator[Answered]) -> tuple[Answered, ...] | None:
        """Return the answers to one question, as far as they come; None if there is none because something went wrong."""
        if self._stopped in OVER:
            self._missing[name] = f"not begun, because of {self._stopped.value}"
            return None
        found: list[Answered] = []
        try:
            found += answers
        except Unfit as unfit:
            self._missing[name] = str(unfit)
        except OutOfNodes:
            self._stop(name, Stop.MEMORY)
        except Halt as halt:
            self._stop(name, halt.why)
        return None if not found and name in self._missing else tuple(found)

    def _stop(self, name: str, why: Stop) -> None:
        self._stopped = why
        self._missing[name] = f"the search ended at {why.value}"

    def _purposed(self) -> Iterator[Purposes]:
        asked = self._asked
        found = purposes(self._model, asked.observing, self._removing, people=asked.people, pairs=asked.pairs)
        yield found
        if found.stopped is not None:
            raise Halt(found.stopped)
        if found.pairs_left:
            self._missing["pairs"] = f"{found.pairs_left:,} pairs, whose machines would have to be searched one by one"

    def _mended(self) -> Iterator[Mended]:
        known = self._purposes
        if known is None or not known.alone_known:
            yield from mends(self._model, violated(self._model, self._removing), self._removing)
            return
        ids = frozenset(need.id for need in known.already)
        hazards = [p.id for p in self._model.properties if isinstance(p.rule, Hazard)]
        runs = {need.id: need.run for need in known.already if need.run is not None and need.id in hazards}
        yield from mends(self._model, Violated(ids=ids, hazards=runs), self._removing)

    def _refused(self) -> Iterator[Refused]:
        for one in refusals(self._model, self._removing.limits(), self._removing.observer):
            yield self._one(one)

    def _one(self, one: Refusals) -> Refused:
        step = self._model.steps[one.step]
        if one.example is None:
            return Refused(command=step.name, refusals=one, refusing=(), run=None, accounts=())
        trace = bare(one.example, len(self._model.variables))
        refusing = tuple(guard.name for guard in step.guards if not is_true(self._model, guard.test, trace.states[-1]))
        run, accounts = record(self._model, trace)
        return Refused(command=step.name, refusals=one, refusing=refusing, run=run, accounts=accounts)

    def _margins(self) -> Iterator[Margin]:
        elsewhere = [p.id for p in self._model.properties if isinstance(p.rule, Elsewhere)]
        asked = (self._model, *(self._asked.observing(id_) for id_ in elsewhere))
        return margins(asked, self._asked.rebuilt, self._removing)


def answers(model: Model, asked: Asked, removing: Removing, questions: Collection[Question]) -> Answers:
    """Answer some of an audit's questions. Raises `Disagreement`."""
    return Auditor(model, asked, removing).answers(questions)


def audit(model: Model, asked: Asked, removing: Removing) -> Audit:
    """Audit a machine. Raises `Disagreement`."""
    quiet = replace(removing, observer=lambda _: None)
    with Beside(
        lambda: answers(model, asked, quiet, BESIDE_THEM), lambda: answers(model, asked, removing, BESIDE_THEM)
    ) as beside:
        found = answers(model, asked, removing, WITH_PURPOSES)
        return put_together(model, [found, beside.answer()])


def put_together(model: Model, parts: Sequence[Answers]) -> Audit:
    """Return the audit that some answers make, one of them to each question that was asked."""
    purposes = _only(part.purposes for part in parts)
    return Audit(
        machine=model.name,
        revision=model.revision,
        tick_s=model.tick_s,
        hazards=tuple(p.id for p in model.properties if isinstance(p.rule, Hazard)),
        unmet=_unmet(model, purposes),
        recoverable=tuple(p.id for p in model.properties if isinstance(p.rule, Recoverable)),
        purposes=purposes,
        refused=_only(part.refused for part in parts),
        mended=_only(part.mended for part in parts),
        margins=_only(part.margins for part in parts),
        missing={name: why for part in parts for name, why in part.missing.items()},
        stopped=next((part.stopped for part in parts if part.stopped is not None), None),
        assumptions=assumptions(model),
    )


def _only(found: Iterator[Answered | None]) -> Answered | None:
    return next((one for one in found if one is not None), None)


def _unmet(model: Model, purposes: Purposes | None) -> tuple[str, ...] | None:
    if purposes is None or not purposes.alone_known:
        return None
    met = {need.id for need in purposes.already}
    return tuple(p.id for p in model.properties if isinstance(p.rule, Hazard) and p.id not in met)
