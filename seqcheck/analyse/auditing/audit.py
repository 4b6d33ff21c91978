"""The audit of one machine: purposes, refusals without need, mends and margins, each as far as limits let it."""

from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import TypeAlias, TypeVar

from msgspec import Struct

from seqcheck.analyse.assumptions import assumptions
from seqcheck.analyse.auditing.margins import Margin, Rebuilt, margins
from seqcheck.analyse.auditing.mends import Mended, mends
from seqcheck.analyse.auditing.purposes import Observing, Purposes, purposes
from seqcheck.analyse.auditing.removing import Removing, bare
from seqcheck.analyse.judge import is_true
from seqcheck.analyse.record import record
from seqcheck.analyse.verdict import StepAccount
from seqcheck.model.model import Elsewhere, Hazard, Model
from seqcheck.model.run import Run
from seqcheck.search.engine import Stop, Unfit
from seqcheck.search.symbolic.diagrams import OutOfNodes
from seqcheck.search.symbolic.reaching import Halt
from seqcheck.search.symbolic.strictness import Refusals, refusals

Answered = TypeVar("Answered")


class Refused(Struct, frozen=True, kw_only=True):
    """Where a command is refused, with a run to a harmless situation, if there is one, and the permissives refusing it there."""

    command: str
    refusals: Refusals
    refusing: tuple[str, ...]
    run: Run | None
    accounts: tuple[StepAccount, ...]


class Audit(Struct, frozen=True, kw_only=True):
    """The answers; None: that one was not come to, for the reason in *missing* under its name."""

    machine: str
    revision: str
    tick_s: Fraction
    hazards: tuple[str, ...]
    purposes: Purposes | None
    refused: tuple[Refused, ...] | None
    mended: tuple[Mended, ...] | None
    margins: tuple[Margin, ...] | None
    missing: dict[str, str]
    stopped: Stop | None
    assumptions: tuple[str, ...]

    @property
    def complete(self) -> bool:
        """Whether every question has its whole answer."""
        return not self.missing


class Asked(Struct, frozen=True, kw_only=True):
    """What is asked of an audit besides the machine: those with observers, changed ones, whether people's conditions count."""

    observing: Observing
    rebuilt: Rebuilt
    people: bool = False


Question: TypeAlias = Callable[[], Answered]


class Auditor:
    """Asks one question after the other and notes what could not be answered."""

    def __init__(self, model: Model, asked: Asked, removing: Removing) -> None:
        self._model = model
        self._asked = asked
        self._removing = removing
        self._missing: dict[str, str] = {}
        self._stopped: Stop | None = None

    def audit(self) -> Audit:
        """Return the audit. Raises `Disagreement`."""
        model = self._model
        found = self._answer("purposes", self._purposes)
        return Audit(
            machine=model.name,
            revision=model.revision,
            tick_s=model.tick_s,
            hazards=tuple(p.id for p in model.properties if isinstance(p.rule, Hazard)),
            purposes=found,
            refused=self._answer("refusals", self._refused),
            mended=self._answer("mends", lambda: mends(model, self._removing)),
            margins=self._answer("margins", self._margins),
            missing=self._missing,
            stopped=self._stopped,
            assumptions=assumptions(model),
        )

    def _answer(self, name: str, question: "Question[Answered]") -> Answered | None:
        if self._stopped in {Stop.INTERRUPTED, Stop.SECONDS}:
            self._missing[name] = f"not begun, because of {self._stopped.value}"
            return None
        try:
            return question()
        except Unfit as unfit:
            self._missing[name] = str(unfit)
        except OutOfNodes:
            self._stop(name, Stop.MEMORY)
        except Halt as halt:
            self._stop(name, halt.why)
        return None

    def _stop(self, name: str, why: Stop) -> None:
        self._stopped = why
        self._missing[name] = f"the search ended at {why.value}"

    def _purposes(self) -> Purposes:
        found = purposes(self._model, self._asked.observing, self._removing, people=self._asked.people)
        if found.stopped is not None:
            self._stop("purposes", found.stopped)
        return found

    def _refused(self) -> tuple[Refused, ...]:
        found = refusals(self._model, self._removing.limits(), self._removing.observer)
        return tuple(self._one(one) for one in found)

    def _one(self, one: Refusals) -> Refused:
        step = self._model.steps[one.step]
        if one.example is None:
            return Refused(command=step.name, refusals=one, refusing=(), run=None, accounts=())
        trace = bare(one.example, len(self._model.variables))
        refusing = tuple(guard.name for guard in step.guards if not is_true(self._model, guard.test, trace.states[-1]))
        run, accounts = record(self._model, trace)
        return Refused(command=step.name, refusals=one, refusing=refusing, run=run, accounts=accounts)

    def _margins(self) -> tuple[Margin, ...]:
        elsewhere = [p.id for p in self._model.properties if isinstance(p.rule, Elsewhere)]
        asked: Sequence[Model] = (self._model, *(self._asked.observing(id_) for id_ in elsewhere))
        found, stopped = margins(asked, self._asked.rebuilt, self._removing)
        if stopped is not None:
            self._stop("margins", stopped)
        return found


def audit(model: Model, asked: Asked, removing: Removing) -> Audit:
    """Audit a machine. Raises `Disagreement`."""
    return Auditor(model, asked, removing).audit()
