"""Tries `plain` in this process, other engines beside it: it ends when it is done, when one of them is, or after a while.

Nothing that processes need is imported before another engine is to begin.
"""

import time
from collections.abc import Sequence
from typing import TYPE_CHECKING

from msgspec import Struct, field
from msgspec.structs import replace

from seqcheck.model.model import Model
from seqcheck.search.engine import Exploration, Progress, Stop
from seqcheck.search.planner.job import Entry, Job, ask
from seqcheck.search.planner.reasons import bits

if TYPE_CHECKING:
    from seqcheck.search.planner.contest import Contest

FEW_BITS = 38
"""Machines with no more bits of state than this are seldom large."""

SMALL_STATES = 1_000
"""`plain` visits so many states in less time than another process takes to begin."""

TRIAL_S = 1.0
"""How long the trial may take. A processor has nothing better to do before `packed` joins in."""

TRIAL_STATES = 250_000
TRIAL_STATES_OF_MANY_BITS = 20_000
TRIAL_STATES_OF_LITTLE_MEMORY = 8_000
"""So many states the trial may visit; the last where memory is limited, and others need it."""


class Overtaken(Exception):  # noqa: N818 - it is no error
    """Another engine has answered."""

    def __init__(self, answer: Exploration) -> None:
        super().__init__()
        self.answer = answer


class Trial(Struct, kw_only=True):
    """One trial, which observes its own search. *contest* is that of the others, once they have begun."""

    job: Job
    entries: Sequence[Entry]
    contest: "Contest | None" = None
    _began: float = field(default_factory=time.monotonic)

    def begin_contest(self) -> "Contest":
        """Let the first of the others begin."""
        from seqcheck.search.planner.competing import contest_of

        limits = replace(self.job.limits, seconds=self._seconds_left())
        self.contest = contest_of(replace(self.job, limits=limits), self.entries)
        self.contest.start(self.entries[0])
        return self.contest

    def run(self) -> Exploration:
        """Return what `plain` found, or the answer of another. It may have been stopped by a limit of the trial only."""
        job = self.job
        left = [seconds for seconds in (self._seconds_left(), self._began + TRIAL_S - time.monotonic()) if seconds is not None]
        limits = replace(job.limits, states=most_states(job), seconds=max(0.0, min(left)))
        mine = replace(job, limits=limits, observer=self, extras=replace(job.extras, keeper=None))
        try:
            found = ask(mine, "plain", "the machine is small")
        except Overtaken as overtaken:
            return overtaken.answer
        except BaseException:
            if self.contest is not None:
                self.contest.close()
            raise
        if self.contest is not None and self.settles(found):
            self.contest.leave_behind()
        return found

    def __call__(self, progress: Progress) -> None:
        """Take note of how far `plain` is. Raises `Overtaken`."""
        if self.contest is None:
            self.job.observer(progress)
            if progress.states >= SMALL_STATES:
                self.begin_contest()
        else:
            self.contest.show(progress)
            answer = self.contest.go_on(0.0)
            if answer is not None:
                raise Overtaken(answer)

    def settles(self, found: Exploration) -> bool:
        """Tell whether there is no more to be done: all is found that was asked, or a limit of the job is reached."""
        match found.stopped:
            case Stop.STATES:
                return self.job.limits.states is not None and found.states > self.job.limits.states
            case Stop.SECONDS | Stop.MEMORY:
                return False
            case Stop.INTERRUPTED:
                return self.contest is None
            case _:
                return True

    def _seconds_left(self) -> float | None:
        seconds = self.job.limits.seconds
        return None if seconds is None else max(0.0, seconds - (time.monotonic() - self._began))


def has_few_bits(model: Model) -> bool:
    """Tell whether a machine is likely to be small."""
    return bits(model) <= FEW_BITS


def most_states(job: Job) -> int:
    """Return how many states the trial may visit."""
    most = TRIAL_STATES if has_few_bits(job.model) else TRIAL_STATES_OF_MANY_BITS
    if job.limits.memory_mb is not None:
        most = min(most, TRIAL_STATES_OF_LITTLE_MEMORY)
    return most if job.limits.states is None else min(most, job.limits.states)
