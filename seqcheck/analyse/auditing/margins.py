"""Finds how much longer what the plant does may take, or how much shorter a timer may be, before a verdict turns."""

from collections.abc import Callable, Iterator, Sequence
from enum import Enum
from typing import TypeAlias

from msgspec import Struct

from seqcheck.analyse.auditing.removing import Removing
from seqcheck.model.model import Model
from seqcheck.search.engine import Stop
from seqcheck.search.symbolic.deciding import Decided, decide
from seqcheck.search.symbolic.symbolic import WIDEST

FARTHEST = 64
"""Times the duration that it is stretched to at most, where not every length does."""

MOST_TRIED = 40
"""Lengths of one timer that are tried, one tick after the other."""


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

    *turns_at*: with so many ticks the verdicts on *ids* turn (None: with none that was tried). *tried_to* ticks were tried at
    the end (None: any length, however long).
    """

    duration: Duration
    turns_at: int | None
    ids: tuple[str, ...]
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


def margins(asked: Sequence[Model], rebuilt: Rebuilt, removing: Removing) -> tuple[tuple[Margin, ...], Stop | None]:
    """Return the margins of a machine, given with those that are observed, and why the last ones are missing if they are."""
    now = _verdicts(asked, removing)
    found: list[Margin] = []
    if now.stopped is not None:
        return (), now.stopped
    for duration in durations(asked[0]):
        margin = Trying(duration, rebuilt, now.ids, removing).margin()
        if isinstance(margin, Stop):
            return tuple(found), margin
        found.append(margin)
    return tuple(found), None


def _verdicts(models: Sequence[Model], removing: Removing) -> Decided:
    """Return what is violated: the properties of the first model, and of each of the others the one that it observes."""
    ids: frozenset[str] = frozenset()
    for model in models:
        found = decide(model, removing.limits(), removing.observer)
        ids |= found.ids
        if found.stopped is not None:
            return Decided(ids=ids, stopped=found.stopped)
    return Decided(ids=ids, stopped=None)


class Trying:
    """Tries other lengths of one duration."""

    def __init__(self, duration: Duration, rebuilt: Rebuilt, now: frozenset[str], removing: Removing) -> None:
        self._duration = duration
        self._rebuilt = rebuilt
        self._now = now
        self._removing = removing
        self._turned: dict[int | None, frozenset[str]] = {}

    def margin(self) -> Margin | Stop:
        """Return the margin."""
        try:
            return self._longer() if self._duration.bound is Bound.LATEST else self._shorter()
        except _StoppedError as stopped:
            return stopped.why

    def _turns(self, ticks: int | None) -> bool:
        if ticks not in self._turned:
            found = _verdicts(self._rebuilt(self._duration, ticks), self._removing)
            if found.stopped is not None:
                raise _StoppedError(found.stopped)
            self._turned[ticks] = found.ids ^ self._now
        return bool(self._turned[ticks])

    def _told(self, turns_at: int | None, tried_to: int | None) -> Margin:
        ids = tuple(sorted(self._turned[turns_at])) if turns_at is not None else ()
        return Margin(duration=self._duration, turns_at=turns_at, ids=ids, tried_to=tried_to)

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


class _StoppedError(Exception):
    def __init__(self, why: Stop) -> None:
        super().__init__(why)
        self.why = why
