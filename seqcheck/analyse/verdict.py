"""What a verification finds out: verdicts with their runs, findings, assumptions."""

from enum import Enum
from fractions import Fraction

from msgspec import Struct

from seqcheck.model.model import Source
from seqcheck.model.run import Run, Values
from seqcheck.search.engine import Stop


class Verdict(Enum):
    """The answer to one question."""

    HOLDS = "holds"
    VIOLATED = "violated"
    UNDECIDED = "undecided"


class StepAccount(Struct, frozen=True, kw_only=True):
    """What stands behind one step of a run.

    *guards* are its permissives or its condition, *writes* the variables that its own effects write, *really* what outputs
    do after it where that is not what is commanded, *at_ticks* the time at which it begins.
    """

    guards: tuple[str, ...]
    writes: tuple[str, ...]
    really: Values
    at_ticks: int


class Result(Struct, frozen=True, kw_only=True):
    """The verdict on one hazard, requirement or built-in check, with the run that shows it.

    *clauses* are the parts of the violated condition that the last state meets, as the file would write them, *spoken* the
    same in words; *accounts* go with the steps of *run*. *reason* says in words why, where no run can.
    """

    id: str
    kind: str
    text: str
    verdict: Verdict
    faults: tuple[str, ...]
    run: Run | None
    accounts: tuple[StepAccount, ...]
    clauses: tuple[str, ...]
    spoken: tuple[str, ...]
    reason: str
    condition: str
    risk: str
    source: str
    line: int


class Finding(Struct, frozen=True, kw_only=True):
    """Something that a reader should know and that is no violation. *kind* is a word for programs."""

    kind: str
    about: str
    text: str
    line: int
    run: Run | None = None


class Observation(Struct, frozen=True, kw_only=True):
    """How a requirement on order or time was searched: on a machine of its own, with an observer."""

    id: str
    engine: str
    states: int
    transitions: int
    stopped: Stop | None
    complete_steps: int | None


class ProcedureResults(Struct, frozen=True, kw_only=True):
    """The verdicts on procedures, and what stopped the search for them."""

    results: tuple[Result, ...] = ()
    stopped: Stop | None = None


class Case(Struct, frozen=True, kw_only=True):
    """All verdicts with one set of faults under study."""

    faults: tuple[str, ...]
    engine: str
    states: int
    transitions: int
    stopped: Stop | None
    complete_steps: int | None
    seconds: float
    results: tuple[Result, ...]
    findings: tuple[Finding, ...]
    observed: tuple[Observation, ...] = ()
    procedures_stopped: Stop | None = None

    @property
    def complete(self) -> bool:
        """Whether every reachable state was visited, with each observer too."""
        return self.stopped is None and all(one.stopped is None for one in self.observed)

    @property
    def interrupted(self) -> bool:
        """Whether Ctrl-C came."""
        return Stop.INTERRUPTED in {self.stopped, self.procedures_stopped, *(one.stopped for one in self.observed)}


class Verification(Struct, frozen=True, kw_only=True):
    """A whole file's cases, the first without faults; *not_begun* are the sets of faults left out by an interruption."""

    machine: str
    revision: str
    tick_s: Fraction
    cases: tuple[Case, ...]
    assumptions: tuple[str, ...]
    sources: tuple[Source, ...]
    not_begun: tuple[tuple[str, ...], ...]

    def has(self, verdict: Verdict) -> bool:
        """Tell whether any result of any case has *verdict*."""
        return any(result.verdict is verdict for case in self.cases for result in case.results)
