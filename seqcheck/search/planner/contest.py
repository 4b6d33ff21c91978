"""Lets engines search the same machine side by side, each in a process of its own, and takes the first whole answer."""

import time
from collections.abc import Sequence
from dataclasses import dataclass, field

from seqcheck.search.engine import Exploration, Progress, Stop
from seqcheck.search.limits import Allowance, resident_mb_of
from seqcheck.search.planner.child import Answered, Child, Message, Saved, Stopped, Task, Unable
from seqcheck.search.planner.job import Entry, Fate, Job
from seqcheck.search.planner.keeping import FileKeeper

HEARS_EVERY_S = 0.02
SOONER, SOONER_S = 0.12, 0.05
"""Engines in processes of their own are given less time by this share and so many seconds: an answer takes a while too."""

SHARED_ROOM = 0.1
"""Where less of the memory than this share is left, one engine is ended, so that the other need not stop for its sake."""

CANNOT = (Fate.UNFIT, Fate.NO_ROOM, Fate.BROKE, Fate.DIED)
"""What becomes of an engine that another may stand in for."""

GRACE_S = 3.0
GRACE_KEEPING_S = 30.0
"""How long an engine may take to answer after Ctrl-C; the second where it writes a snapshot."""


@dataclass(slots=True)
class Contest:
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
    _began: float = field(default_factory=time.monotonic)

    def run(self) -> Exploration | None:
        """Return the first whole answer; None if there is none, with what there is in *partial*, *fates* and *stopped*."""
        waiting = list(self.entries)
        while waiting or self._running:
            waiting = self._start(waiting)
            for child in self._heard():
                answer = self._take(child, child.hear())
                if answer is not None:
                    behind = [other.engine for other in self._running if other is not child]
                    self.fates.update(dict.fromkeys(behind, (Fate.BEHIND, "")))
                    return answer
            self._enforce()
            if self.stopped is not None:
                waiting = []
        return None

    def close(self) -> None:
        """End the engines that are still running."""
        while self._running:
            self._end(self._running.pop())

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
            self._running.append(Child(self._task(entry)))

    def _start(self, waiting: list[Entry]) -> list[Entry]:
        """Start the engines whose time has come, or the next if none is running; return those that still wait."""
        left = []
        for entry in waiting:
            late = time.monotonic() - self._began >= entry.after_s
            if (late and self._running and self._is_called_for(entry)) or not (self._running or entry.only_beside):
                self.start(entry)
            elif self._running:
                left.append(entry)
        return left

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
            limits=job.limits,
            deadline=None if seconds is None else self._began + seconds * (1 - SOONER) - SOONER_S,
            extras=job.extras,
        )

    def _heard(self) -> list[Child]:
        """Return the engines that have something to say, having waited for them a little."""
        from multiprocessing.connection import wait

        speaking = wait([child.incoming for child in self._running], min(HEARS_EVERY_S, self.seconds_left))
        return [child for child in self._running if child.incoming in speaking]

    def _take(self, child: Child, message: Message) -> Exploration | None:
        """Take in a message; return a whole answer."""
        match message:
            case Progress():
                self._show(message)
                return None
            case Saved(trouble):
                self._keep(child, trouble)
                return None
            case Answered(exploration) if exploration.stopped is None:
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

    def _show(self, progress: Progress) -> None:
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
        grace_s = GRACE_S if self.job.extras.keeper is None else GRACE_KEEPING_S
        if self._told_at is None:
            self._told_at = time.monotonic()
            for child in self._running:
                child.interrupt()
        elif time.monotonic() - self._told_at > grace_s:
            for child in list(self._running):
                self._cut(child, Stop.INTERRUPTED)

    def _end(self, child: Child) -> None:
        child.end()
        if isinstance(self.job.extras.keeper, FileKeeper):
            self.job.extras.keeper.tidy(child.engine)
