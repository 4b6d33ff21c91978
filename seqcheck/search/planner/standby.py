"""A process that begins before it is known what to search: it imports an engine while the file is read, and stands by."""

import os
import signal
from collections.abc import Callable
from contextlib import suppress
from multiprocessing.connection import Connection, wait
from multiprocessing.process import parent_process
from types import TracebackType
from typing import Self

from seqcheck.search.engine import Engine, Preparing
from seqcheck.search.engines import engine
from seqcheck.search.planner.child import Child, Task, starting, work


class Standby(Child):
    """One such process, for the first search by its engine. A context, at whose end the process is ended, used or not.

    Only for where processes begin by a fork and a second processor is there: `is_worth_it`.
    """

    def __init__(self, name: str, find: Callable[[str], Engine] = engine) -> None:
        self.engine = name
        self._is_free = True
        self._is_there = True
        self._begin(starting(), stand_by, name, find)

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None) -> None:
        """End the process, if it is there still."""
        self.end()

    def take(self, task: Task) -> bool:
        """Give the process its task; False if it has had one, is for another engine, has died, or the task cannot be sent."""
        if not self._is_free or task.engine != self.engine:
            return False
        self._is_free = False
        try:
            self.incoming.send(task)
        except (OSError, RecursionError):
            self.end()
            return False
        return True

    def end(self) -> None:
        """End the process and wait until it is gone; once."""
        if self._is_there:
            self._is_there = self._is_free = False
            super().end()


def is_worth_it() -> bool:
    """Tell whether a process begins quickly, and beside what this one does."""
    return starting().get_start_method() == "fork" and len(os.sched_getaffinity(0)) > 1


def stand_by(name: str, find: Callable[[str], Engine], connection: Connection) -> None:
    """Import an engine, wait for a task, and do it: all that the process does. Without a task it ends with its parent.

    What keeps the engine from being imported or prepared is told when it is asked for.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with suppress(Exception):
        found = find(name)
        if isinstance(found, Preparing):
            found.prepare()
    parent = parent_process()
    if connection in wait([connection] if parent is None else [connection, parent.sentinel]):
        with suppress(EOFError, OSError):
            work(connection.recv(), connection)
    os._exit(1)
