"""Tells a search when to stop: limits on states, time and memory, and Ctrl-C.

Memory is the resident memory of the process tree: that of the process that was called and of all it started. Memory that
two of them share counts for both. A process started by `multiprocessing` looks at the tree of the one that started it.
"""

import os
import signal
import sys
import threading
import time
from types import FrameType, TracebackType
from typing import Self

from seqcheck.search.engine import Limits, Stop

LOOKS_EVERY_S = 0.004
"""A look at the memory of one process takes 0.02 ms."""

LISTS_EVERY_S = 0.25
"""Listing the processes of a tree takes some milliseconds."""

SAME_PRESS_S = 0.5
"""Two interruptions closer than that are one: a terminal tells every process, and a process tells those it started."""

AFTERWARDS = 0.05
AFTERWARDS_MB = 4.0
"""Memory kept back for what comes after a search: a share of the limit, and at least so much."""


class Tree:
    """The processes whose memory is counted."""

    def __init__(self, root: int | None = None) -> None:
        import psutil

        self._gone = psutil.NoSuchProcess
        self._root = psutil.Process(root or root_pid())
        self._members = [self._root]
        self._listed_at = -LISTS_EVERY_S

    def resident_mb(self) -> float:
        """Return the resident memory of all processes together, in megabytes (10^6 bytes)."""
        now = time.monotonic()
        if now - self._listed_at >= LISTS_EVERY_S:
            self.list_again()
        total = 0
        for member in self._members:
            try:
                total += member.memory_info().rss
            except self._gone:
                self._listed_at = -LISTS_EVERY_S
        return total / 1e6

    def list_again(self) -> None:
        """Look which processes there are."""
        try:
            self._members = [self._root, *self._root.children(recursive=True)]
        except self._gone:
            self._members = []
        self._listed_at = time.monotonic()


def resident_mb_of(pid: int) -> float:
    """Return the resident memory of one process in megabytes (10^6 bytes); 0 if it has gone."""
    import psutil

    try:
        return float(psutil.Process(pid).memory_info().rss) / 1e6
    except psutil.NoSuchProcess:
        return 0.0


def memory_of_this_computer_mb() -> float | None:
    """Return how much memory there is, in megabytes (10^6 bytes); None where the system does not tell."""
    try:
        return float(os.sysconf("SC_PHYS_PAGES")) * os.sysconf("SC_PAGE_SIZE") / 1e6
    except (AttributeError, ValueError, OSError):
        return None


def root_pid() -> int:
    """Return the process that was called from outside: this one, or the one that started it by `multiprocessing`."""
    starting = sys.modules.get("multiprocessing.process")
    parent = starting.parent_process() if starting is not None else None
    return os.getpid() if parent is None else int(parent.pid)


class Interruption:
    """Ctrl-C while a search goes on: noted at first, so that the search can stop where it is whole; the second is raised.

    A context; one inside another knows what that has noted. Outside the main thread it notes nothing, and Ctrl-C is raised at
    once, as ever.
    """

    def __init__(self) -> None:
        self._noted = False
        self._outer: Interruption | None = None
        self._at = 0.0
        self._hooked = False

    def __enter__(self) -> Self:
        """Begin to note."""
        if threading.current_thread() is threading.main_thread():
            before = signal.getsignal(signal.SIGINT)
            if before is signal.default_int_handler:
                signal.signal(signal.SIGINT, self._note)
                self._hooked = True
            around = getattr(before, "__self__", None)
            self._outer = around if isinstance(around, Interruption) and around is not self else None
        return self

    @property
    def noted(self) -> bool:
        """Whether Ctrl-C has come."""
        return self._noted or (self._outer is not None and self._outer.noted)

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None) -> None:
        """Leave Ctrl-C as it was."""
        if self._hooked:
            signal.signal(signal.SIGINT, signal.default_int_handler)
            self._hooked = False

    def _note(self, _number: int, _frame: FrameType | None) -> None:
        now = time.monotonic()
        if self._noted and now - self._at > SAME_PRESS_S:
            raise KeyboardInterrupt
        if not self._noted:
            self._noted, self._at = True, now


class Allowance:
    """What one search may take. A context, within which Ctrl-C counts as a limit; its time begins when it is made."""

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        self._began = time.monotonic()
        self._interruption = Interruption()
        self._tree = Tree() if limits.memory_mb is not None else None
        self._look_at = 0.0
        self._resident_mb = 0.0

    def __enter__(self) -> Self:
        """Begin to note interruptions."""
        self._interruption.__enter__()
        return self

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None) -> None:
        """Leave Ctrl-C as it was."""
        self._interruption.__exit__(kind, value, trace)

    def exceeded(self, states: int, finishing_s: float = 0.0) -> Stop | None:
        """Return what a search has come to that found so many states and needs so long to finish; None: it may go on.

        Cheap enough to be asked a thousand times a second.
        """
        if self._interruption.noted:
            return Stop.INTERRUPTED
        limits, now = self._limits, time.monotonic()
        if limits.states is not None and states > limits.states:
            return Stop.STATES
        if limits.seconds is not None and now - self._began + finishing_s > limits.seconds:
            return Stop.SECONDS
        if now >= self._look_at and self.room_mb() <= 0:
            return Stop.MEMORY
        return None

    def room_mb(self) -> float:
        """Return how much more memory may be taken, in megabytes; infinite without a limit. Ask before a table grows."""
        if self._tree is None or self._limits.memory_mb is None:
            return float("inf")
        self._resident_mb = self._tree.resident_mb()
        self._look_at = time.monotonic() + LOOKS_EVERY_S
        most = self._limits.memory_mb
        return most - max(AFTERWARDS * most, AFTERWARDS_MB) - self._resident_mb
