"""Lets engines search the same machine side by side, each in a process of its own, and takes the first whole answer."""

import time
from collections.abc import Sequence

from msgspec import Struct, field
from msgspec.structs import replace

from seqcheck.search.engine import Exploration, Limits, Progress, Stop
from seqcheck.search.limits import Allowance, memory_of_this_computer_mb, resident_mb_of
from seqcheck.search.planner.child import Ahead, Answered, Child, Message, Saved, Stopped, Task, Unable
from seqcheck.search.planner.job import Entry, Fate, Job
from seqcheck.search.planner.keeping import FileKeeper

HEARS_EVERY_S = 0.02
MEANWHILE_AFTER_S = 0.12
SOONER, SOONER_S = 0.12, 0.05
"""Engines in processes of their own are given less time by this share and so many seconds: an answer takes a while too."""

SHARED_ROOM = 0.1
"""Where less of the memory than this share is left, one engine is ended, so that the other need not stop for its sake."""

WHOLE = (None, Stop.FIRST)
"""What ends a search that has done all that was asked."""

CANNOT = (Fate.UNFIT, Fate.NO_ROOM, Fate.BROKE, Fate.DIED)
"""What becomes of an engine that another may stand in for."""

GRACE, GRACE_S = 0.08, 0.02
GRACE_KEEPING_S = 30.0
"""Engines may take this share of the time so far, and so long, to answer after Ctrl-C; longer if they keep snapshots."""


def limits_of(limits: Limits, entry: Entry) -> Limits:
    """Return the limits of an engine, which must not take all memory there is even where nobody has limited it."""
    if limits.memory_mb is not None or entry.share is None or (whole := memory_of_this_computer_mb()) is None:
        return limits
    return replace(limits, memory_mb=entry.share * whole)


class Contest(Struct):
    """One contest. *fates* tells in words what became of each engine."""

    job: Job
    entries: Sequence[Entry]
    allowance: Allowance
    fates: dict[str, tuple[Fate, str]] = field(default_factory=dict)
    partial: list[Exploration] = field(default_factory=list)
    stopped: Stop | None = None
    _running: list[Child] = field(default_factory=list)
    _shown: int = -1
    _told_at: float | None = None
    _used_the_time: bool = False
    _began: float = field(default_factory=time.monotonic)

    def run(self, most_s: float = float("inf")) -> Exploration | None:
        """Return the first whole answer; None if there is none, with what there is in *partial*, *fates* and *stopped*.

        None too after *most_s*, from when it can go on.
        """
        until = time.monotonic() + most_s
        while self.is_going_on and (self.stopped is not None or time.monotonic() < until):
            self._use_the_time()
            answer = self.go_on(HEARS_EVERY_S)
            if answer is not None:
                return answer
        return None

    def _use_the_time(self) -> None:
        """Do once what is to be done meanwhile; not at the beginning, when every processor is busy with beginning."""
        if not self._used_the_time and time.monotonic() - self._began > MEANWHILE_AFTER_S:
            self._used_the_time = True
            if self.job.meanwhile is not None:
                self.job.meanwhile()

    def go_on(self, wait_s: float) -> Exploration | None:
        """Start the engines that are due, hear what there is to hear within some time, and look at the limits."""
        self._start_those_due()
        for child in self._heard(wait_s):
            answer = self._take(child, child.hear())
            if answer is not None:
                self.leave_behind(child)
                return answer
        self._enforce()
        if self.stopped is not None:
            self.entries = []
        return None

    def leave_behind(self, winner: Child | None = None) -> None:
        """Note that all others were slower."""
        behind = [child.engine for child in self._running if child is not winner]
        self.fates.update(dict.fromkeys(behind, (Fate.BEHIND, "")))

    def close(self) -> None:
        """End the engines that are still running."""
        while self._running:
            self._end(self._running.pop())

    @property
    def is_going_on(self) -> bool:
        """Whether an engine is running or may yet begin."""
        return bool(self.entries or self._running)

    @property
    def seconds_left(self) -> float:
        """How long the job may still take; infinite without a limit."""
        if self.job.limits.seconds is None:
            return float("inf")
        return max(0.0, self.job.limits.seconds - (time.monotonic() - self._began))

    def start(self, entry: Entry) -> None:
        """Start an engine at once, before `run`, if there is memory for it."""
        self.entries = [other for other in self.entries if other != entry]
        if self.allowance.room_mb() < entry.needs_mb:
            self.fates[entry.engine] = (Fate.NO_ROOM, "")
        else:
            task, standby = self._task(entry), self.job.standby
            self._running.append(standby if standby is not None and standby.take(task) else Child(task))

    def _start_those_due(self) -> None:
        """Start the engines whose time has come, or the next if none is running."""
        for entry in self.entries:
            late = time.monotonic() - self._began >= entry.after_s
            if (late and self._running and self._is_called_for(entry)) or not (self._running or entry.only_beside):
                self.start(entry)
        if not self._running:
            self.entries = []

    def _is_called_for(self, entry: Entry) -> bool:
        """Tell whether the engine that another stands in for cannot take part."""
        return not entry.instead_of or self.fates.get(entry.instead_of, (None,))[0] in CANNOT

    def _task(self, entry: Entry) -> Task:
        job, seconds = self.job, self.job.limits.seconds
        return Task(
            engine=entry.engine,
            find=job.find,
            model=job.model,
            watches=job.watches,
            limits=limits_of(job.limits, entry),
            deadline=None if seconds is None else self._began + seconds * (1 - SOONER) - SOONER_S,
            extras=replace(job.extras, ahead=None),
            ahead=job.extras.ahead is not None,
        )

    def _heard(self, wait_s: float) -> list[Child]:
        """Return the engines that have something to say, having waited for them a little."""
        from multiprocessing.connection import wait

        speaking = wait([child.incoming for child in self._running], min(wait_s, self.seconds_left))
        return [child for child in self._running if child.incoming in speaking]

    def _take(self, child: Child, message: Message) -> Exploration | None:
        """Take in a message; return a whole answer."""
        match message:
            case Progress():
                self.show(message)
                return None
            case Saved(trouble):
                self._keep(child, trouble)
                return None
            case Ahead(trace):
                if self.job.extras.ahead is not None:
                    self.job.extras.ahead(trace)
                return None
            case Answered(exploration) if exploration.stopped in WHOLE:
                return exploration
            case Answered(exploration):
                self._note_stop(child, exploration)
            case Stopped(why):
                self.fates[child.engine] = (Fate.STOPPED, why.value)
            case Unable(why, fate):
                self.fates[child.engine] = (fate, why)
        self._running.remove(child)
        self._end(child)
        return None

    def _keep(self, child: Child, trouble: str) -> None:
        """Take in a snapshot that an engine has kept."""
        keeper = self.job.extras.keeper
        if isinstance(keeper, FileKeeper):
            keeper.take_in(child.engine)
            keeper.trouble = trouble or keeper.trouble

    def show(self, progress: Progress) -> None:
        """Pass on how far the engine is that has found most."""
        if progress.states >= self._shown:
            self._shown = progress.states
            self.job.observer(progress)

    def _note_stop(self, child: Child, exploration: Exploration) -> None:
        """Note an answer that a limit cut short. Where memory ran out another engine may go on with what is free again."""
        self.partial.append(exploration)
        if exploration.stopped is not None:
            self.fates[child.engine] = (Fate.STOPPED, exploration.stopped.value)
        if exploration.stopped is not Stop.MEMORY:
            self.stopped = self.stopped or exploration.stopped

    def _enforce(self) -> None:
        """Look at the limits, which engines keep on their own as a rule; pass on Ctrl-C."""
        stop = self.allowance.exceeded(0)
        if self._running and (stop is Stop.MEMORY or self._is_tight()):
            self._cut(max(self._running, key=lambda child: resident_mb_of(child.pid)), Stop.MEMORY)
        elif stop is Stop.SECONDS:
            self.stopped = stop
            for child in list(self._running):
                self._cut(child, stop)
        elif stop is Stop.INTERRUPTED:
            self._interrupt()

    def _is_tight(self) -> bool:
        """Tell whether several engines have nearly come to the limit on memory together."""
        most = self.job.limits.memory_mb
        return most is not None and len(self._running) > 1 and self.allowance.room_mb() < most * SHARED_ROOM

    def _cut(self, child: Child, stop: Stop) -> None:
        self.fates[child.engine] = (Fate.STOPPED, stop.value)
        self._running.remove(child)
        self._end(child)

    def _interrupt(self) -> None:
        """Tell every engine once; end those that give no answer in the time they have."""
        self.stopped = Stop.INTERRUPTED
        now = time.monotonic()
        if self._told_at is None:
            self._told_at = now
            for child in self._running:
                child.interrupt()
        grace_s = GRACE * (self._told_at - self._began) + GRACE_S if self.job.extras.keeper is None else GRACE_KEEPING_S
        if now - self._told_at > grace_s:
            for child in list(self._running):
                self._cut(child, Stop.INTERRUPTED)

    def _end(self, child: Child) -> None:
        child.end()
        if isinstance(self.job.extras.keeper, FileKeeper):
            self.job.extras.keeper.tidy(child.engine)
