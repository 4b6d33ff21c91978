"""An engine in a process of its own: it is asked there, and tells how far it is and what it found through a pipe."""

import gc
import multiprocessing
import os
import signal
import sys
import threading
import time
import traceback
from collections.abc import Callable
from contextlib import suppress
from multiprocessing.connection import Connection, wait
from multiprocessing.context import BaseContext
from multiprocessing.process import parent_process
from pathlib import Path
from typing import TypeAlias

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.search.engine import Engine, Exploration, Extras, Limits, Progress, Stop, Trace, Unfit
from seqcheck.search.planner.job import Fate
from seqcheck.search.planner.keeping import AsideKeeper, FileKeeper

TELLS_EVERY_S = 0.1
ENDS_WITHIN_S = 1.0
"""How long a process that is told to end may take before it is killed."""


class Task(Struct, frozen=True, kw_only=True):
    """What one engine is to do; *find* imports it by its name, where it runs.

    *deadline* is when its time is over, by the clock of the machine, which processes share. *ahead*: traces are to be told of
    as soon as they are known.
    """

    engine: str
    find: Callable[[str], Engine]
    model: Model
    watches: tuple[Expression, ...]
    limits: Limits
    deadline: float | None
    extras: Extras
    ahead: bool = False

    def limits_now(self) -> Limits:
        """Return the limits with the time that is left."""
        return replace(self.limits, seconds=None if self.deadline is None else max(0.0, self.deadline - time.monotonic()))


class Saved(Struct, frozen=True):
    """The engine has kept a snapshot beside the shelf, or says what hindered it."""

    trouble: str


class Ahead(Struct, frozen=True):
    """The engine will answer with this trace, among others."""

    trace: Trace


class Answered(Struct, frozen=True):
    """The engine has answered."""

    exploration: Exploration


class Stopped(Struct, frozen=True):
    """Ctrl-C came, or memory ran out, where the engine could not answer any more."""

    why: Stop


class Unable(Struct, frozen=True):
    """The engine has no answer: it is unfit, it broke off, or its process died."""

    why: str
    fate: Fate


Message: TypeAlias = Progress | Saved | Ahead | Answered | Stopped | Unable


class Child:
    """A process with an engine in it, as seen from the one that started it."""

    def __init__(self, task: Task) -> None:
        self.engine = task.engine
        self._begin(starting(), work, task)

    def _begin(self, context: BaseContext, target: Callable[..., None], *given: object) -> None:
        self._incoming, theirs = context.Pipe()
        self._process = context.Process(target=target, args=(*given, theirs), daemon=True)  # type: ignore[attr-defined]
        self._process.start()
        theirs.close()

    @property
    def incoming(self) -> Connection:
        """The end of the pipe that messages come out of."""
        return self._incoming

    @property
    def pid(self) -> int:
        """The number of the process."""
        return int(self._process.pid)

    def hear(self) -> Message:
        """Return the next message; that of a process that died is that it is unable."""
        try:
            message: Message = self._incoming.recv()
        except (EOFError, OSError, ValueError):
            self._process.join(ENDS_WITHIN_S)
            return Unable(death(self._process.exitcode), Fate.DIED)
        return message

    def interrupt(self) -> None:
        """Pass Ctrl-C on. On Windows the console has told every process already."""
        if sys.platform != "win32":
            with suppress(ProcessLookupError):
                os.kill(self.pid, signal.SIGINT)

    def end(self) -> None:
        """End the process and wait until it is gone."""
        self._process.terminate()
        self._process.join(ENDS_WITHIN_S)
        if self._process.is_alive():
            self._process.kill()
            self._process.join()
        self._process.close()
        self._incoming.close()


def death(exit_code: int | None) -> str:
    """Say how a process ended that gave no answer."""
    if exit_code is not None and exit_code < 0:
        name = signal.Signals(-exit_code).name
        return f"its process was ended by {name}" + (", as happens where memory runs out" if name == "SIGKILL" else "")
    return f"its process ended with code {exit_code} and no answer"


def starting() -> BaseContext:
    """Return how processes are started: by a fork where that is quick and sound, which it is not beside other threads."""
    tasks = Path("/proc/self/task")
    alone = threading.active_count() == 1 and (not tasks.is_dir() or len(list(tasks.iterdir())) == 1)
    by_fork = sys.platform not in {"win32", "darwin"} and alone
    return multiprocessing.get_context("fork" if by_fork else "spawn")


def work(task: Task, outgoing: Connection) -> None:
    """Do a task and tell what came of it: all that the process does."""
    signal.signal(signal.SIGINT, signal.default_int_handler)
    sys.unraisablehook = tell_unraisable
    gc.enable()
    threading.Thread(target=end_with_parent, daemon=True).start()
    told = outcome(task, outgoing)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with suppress(OSError):
        outgoing.send(told)
        outgoing.close()
    os._exit(0)


def tell_unraisable(unraisable: "sys.UnraisableHookArgs") -> None:
    """Tell what nobody could catch; but for Ctrl-C, which the process that started this one tells of."""
    if unraisable.exc_type is not KeyboardInterrupt:
        sys.__unraisablehook__(unraisable)


def end_with_parent() -> None:
    """Wait for the end of the process that started this one, then end this one, whatever it is doing."""
    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


def outcome(task: Task, outgoing: Connection) -> Answered | Stopped | Unable:
    """Ask the engine."""
    teller = Teller(outgoing)
    keeper = task.extras.keeper
    if isinstance(keeper, FileKeeper):
        keeper = AsideKeeper(keeper, task.engine, teller.saved)
    try:
        engine = task.find(task.engine)
        extras = replace(task.extras, keeper=keeper, ahead=teller.ahead if task.ahead else None)
        return Answered(engine.explore(task.model, task.watches, task.limits_now(), teller, extras))
    except Unfit as unfit:
        return Unable(str(unfit), Fate.UNFIT)
    except ModuleNotFoundError as missing:
        return Unable(f"the library {missing.name} is not installed", Fate.UNFIT)
    except KeyboardInterrupt:
        return Stopped(Stop.INTERRUPTED)
    except MemoryError:
        return Stopped(Stop.MEMORY)
    except Exception as error:  # noqa: BLE001 - another engine may still answer; this one's trouble is told
        where = traceback.extract_tb(error.__traceback__)[-1]
        said = f"{type(error).__name__} in {Path(where.filename).name}, line {where.lineno}"
        return Unable(f"{said}: {error}" if str(error) else said, Fate.BROKE)


class Teller:
    """Tells the process that started this one how far the engine is, now and then."""

    def __init__(self, outgoing: Connection) -> None:
        self._outgoing = outgoing
        self._due = 0.0

    def __call__(self, progress: Progress) -> None:
        """Tell how far the engine is, if it is time to."""
        now = time.monotonic()
        if now >= self._due:
            self._due = now + TELLS_EVERY_S
            self._outgoing.send(progress)

    def ahead(self, trace: Trace) -> None:
        """Tell of a trace."""
        self._outgoing.send(Ahead(trace))

    def saved(self, trouble: str) -> None:
        """Tell that a snapshot was kept, or what hindered it."""
        self._outgoing.send(Saved(trouble))
