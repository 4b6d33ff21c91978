"""Finds how much longer what the plant does may take, or how much shorter a timer may be, before a verdict turns."""

from collections.abc import Callable, Collection, Iterator, Sequence
from enum import Enum
from typing import TypeAlias

from msgspec import Struct

from seqcheck.analyse.auditing.purposes import Need
from seqcheck.analyse.auditing.removing import Removing
from seqcheck.analyse.judge import confirm
from seqcheck.analyse.record import record
from seqcheck.model.model import Elsewhere, Model
from seqcheck.search.symbolic.deciding import RANGE, SETTLING, Decided, decide
from seqcheck.search.symbolic.reaching import Halt
from seqcheck.search.symbolic.symbolic import WIDEST

FARTHEST = 64
"""Times the duration that it is stretched to at most, where not every length does."""

MOST_TRIED = 40
"""Lengths of one timer that are tried, one tick after the other."""


FAILING = {RANGE: "a step leaves a range or divides by zero", SETTLING: "settling never ends"}


class Bound(Enum):
    """Which duration is changed, and which way."""

    LATEST = "latest"
    PRESET = "pt"


class Duration(Struct, frozen=True, kw_only=True):
    """A duration of the file: of a plant rule (its latest time), or of a timer (its preset time), in ticks."""

    name: str
    bound: Bound
    ticks: int
    line: int


class Margin(Struct, frozen=True, kw_only=True):
    """How far a duration may change.

    *turns_at*: with so many ticks *violated* are violated that hold now, and *restored* hold that are violated now (None: no
    verdict turns with any length that was tried). *tried_to* ticks were tried at the end (None: any length, however long).
    """

    duration: Duration
    turns_at: int | None
    violated: tuple[Need, ...]
    restored: tuple[str, ...]
    tried_to: int | None


Rebuilt: TypeAlias = Callable[[Duration, int | None], Sequence[Model]]
"""Gives the machine with another length of a duration, in ticks (None: however long), and after it those that are observed."""


def durations(model: Model) -> Iterator[Duration]:
    """Yield the durations that have a margin."""
    lines = {step.name: step.line for step in model.steps}
    for clock in model.clocks:
        if clock.latest is not None:
            yield Duration(name=clock.rule, bound=Bound.LATEST, ticks=clock.latest, line=lines.get(clock.rule, 1))
    for timer in model.timers:
        yield Duration(name=timer.name, bound=Bound.PRESET, ticks=timer.pt, line=timer.input.line)


def margins(asked: Sequence[Model], rebuilt: Rebuilt, removing: Removing) -> Iterator[Margin]:
    """Yield the margins of a machine, given with those that are observed. Raises `Unfit` and `Halt`."""
    now = decided(asked, removing).ids
    for duration in durations(asked[0]):
        yield Trying(duration, rebuilt, now, removing).margin()


def decided(models: Sequence[Model], removing: Removing, shown: Collection[str] = ()) -> Decided:
    """Return what is violated: the properties of the first model, and of each of the others the one that it observes.

    Raises `Halt`.
    """
    found = [decide(model, removing.limits(), removing.observer, shown) for model in models]
    for one in found:
        if one.stopped is not None:
            raise Halt(one.stopped)
    traces = {id_: trace for one in found for id_, trace in one.traces.items()}
    return Decided(ids=frozenset[str]().union(*(one.ids for one in found)), stopped=None, traces=traces)


class Trying:
    """Tries other lengths of one duration."""

    def __init__(self, duration: Duration, rebuilt: Rebuilt, now: frozenset[str], removing: Removing) -> None:
        self._duration = duration
        self._rebuilt = rebuilt
        self._now = now
        self._removing = removing
        self._violated: dict[int | None, frozenset[str]] = {}

    def margin(self) -> Margin:
        """Return the margin. Raises `Unfit` and `Halt`."""
        return self._longer() if self._duration.bound is Bound.LATEST else self._shorter()

    def _turns(self, ticks: int | None) -> bool:
        if ticks not in self._violated:
            self._violated[ticks] = decided(self._rebuilt(self._duration, ticks), self._removing).ids
        return self._violated[ticks] != self._now

    def _told(self, turns_at: int | None, tried_to: int | None) -> Margin:
        found = self._now if turns_at is None else self._violated[turns_at]
        return Margin(
            duration=self._duration,
            turns_at=turns_at,
            violated=tuple(self._needs(turns_at, found - self._now)) if turns_at is not None else (),
            restored=tuple(sorted(self._now - found)),
            tried_to=tried_to,
        )

    def _needs(self, ticks: int, ids: frozenset[str]) -> Iterator[Need]:
        """Yield what is violated with a length, with runs of the machine that has it. Raises `Disagreement`."""
        models = self._rebuilt(self._duration, ticks)
        traces = decided(models, self._removing, ids).traces
        model_of = {p.id: (model, p) for model in models for p in model.properties if not isinstance(p.rule, Elsewhere)}
        for id_ in sorted(ids):
            if id_ not in traces:
                yield Need(id=id_, run=None, failing=FAILING.get(id_, ""))
                continue
            model, p = model_of[id_]
            run, accounts = record(model, traces[id_])
            confirm(model, p, traces[id_], run)
            yield Need(id=id_, run=run, accounts=accounts)

    def _longer(self) -> Margin:
        """Close in upon the first length at which a verdict turns: a longer latest time only adds to what can happen.

        So what is once violated stays so, and what is once reachable; only a `recoverable` may turn, and turn back, between two
        lengths that are tried.
        """
        if not self._turns(None):
            return self._told(None, None)
        low, high = self._duration.ticks, self._duration.ticks + 1
        most = min(max(1, self._duration.ticks) * FARTHEST, WIDEST - 1)
        while not self._turns(high):
            if high >= most:
                return self._told(None, high)
            low, high = high, min(most, 2 * high)
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if self._turns(middle) else (middle, high)
        return self._told(high, high)

    def _shorter(self) -> Margin:
        """A shorter timer may do anything: one length after the other is tried."""
        for ticks in range(self._duration.ticks - 1, max(0, self._duration.ticks - 1 - MOST_TRIED), -1):
            if self._turns(ticks):
                return self._told(ticks, ticks)
        return self._told(None, max(1, self._duration.ticks - MOST_TRIED))
