"""Who does the work: this process, processes of this computer, or the workers of a cluster; all behind one interface.

The only place that starts a pool or knows `distributed`.
"""

import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from typing import Protocol, TypeVar

T = TypeVar("T")

CLUSTER_ANSWERS_S = 4.0
"""A cluster that has not answered by then is not there."""

BATCH_FOR_A_CLUSTER = 8


class NoCrewError(Exception):
    """There is nobody to do the work; the text says why."""


class Crew(Protocol):
    """Does work, several pieces at a time."""

    @property
    def size(self) -> int:
        """How many pieces of work are done at a time."""

    @property
    def batch(self) -> int:
        """How many questions make a good batch."""

    def submit(self, work: Callable[..., T], *about: object) -> "Future[T]":
        """Hand over a piece of work, a function of this package and what it is called with."""

    def is_loss(self, error: BaseException) -> bool:
        """Tell whether an error means that whoever did a piece of work is gone, so that it can be handed over again.

        Raises `NoCrewError` if there is nobody left.
        """

    def dismiss(self) -> None:
        """End all work at once, finished or not."""


class Here:
    """Works in this process, one piece at a time."""

    size, batch = 1, 1

    def submit(self, work: Callable[..., T], *about: object) -> "Future[T]":
        """Do a piece of work."""
        future: Future[T] = Future()
        future.set_result(work(*about))
        return future

    def is_loss(self, error: BaseException) -> bool:  # noqa: ARG002 - nobody else is there to be lost
        """Nobody can be lost."""
        return False

    def dismiss(self) -> None:
        """Nothing goes on."""


class Processes:
    """Processes of this computer."""

    batch = 1

    def __init__(self, workers: int | None = None) -> None:
        self.size = workers or cores()
        self._before = {child.pid for child in multiprocessing.active_children()}
        self._executor: Executor = self._new()

    def _new(self) -> Executor:
        spawning = multiprocessing.get_context("spawn")
        return ProcessPoolExecutor(self.size, mp_context=spawning, initializer=leave_interruptions_to_the_caller)

    def submit(self, work: Callable[..., T], *about: object) -> "Future[T]":
        """Hand over a piece of work; a pool that broke, or is just breaking (its pipes are closed then), is replaced."""
        try:
            return self._submit(work, *about)
        except (BrokenExecutor, OSError):
            self.dismiss()
            self._executor = self._new()
            return self._submit(work, *about)

    def _submit(self, work: Callable[..., T], *about: object) -> "Future[T]":
        with interruptions_held():
            return self._executor.submit(work, *about)

    def is_loss(self, error: BaseException) -> bool:
        """A process that dies breaks the whole pool."""
        return isinstance(error, BrokenExecutor | CancelledError)

    def dismiss(self) -> None:
        """End the processes, then the pool, which sees that they are gone."""
        for child in multiprocessing.active_children():
            if child.pid not in self._before:
                child.terminate()
        self._executor.shutdown(wait=True, cancel_futures=True)


class Cluster:
    """The workers of a `dask.distributed` cluster, which looks itself after workers that are lost."""

    batch = BATCH_FOR_A_CLUSTER

    def __init__(self, address: str) -> None:
        try:
            from distributed import Client
        except ImportError:
            raise NoCrewError("a cluster needs the extra `seqcheck[cluster]`: pip install 'seqcheck[cluster]'") from None
        try:
            self._client = Client(address, timeout=CLUSTER_ANSWERS_S, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:
            raise NoCrewError(f"there is no cluster at {address}: {error}") from None
        threads = self._client.nthreads()
        self.workers, self.size = len(threads), max(1, sum(threads.values()))
        self._executor = self._client.get_executor(pure=False)

    def submit(self, work: Callable[..., T], *about: object) -> "Future[T]":
        """Hand over a piece of work. Raises `NoCrewError` if the cluster is gone."""
        if self._client.status != "running":
            raise NoCrewError("the cluster is gone")
        future: Future[T] = self._executor.submit(work, *about)
        return future

    def is_loss(self, error: BaseException) -> bool:
        """The cluster gives work up when several workers have died of it."""
        if isinstance(error, CancelledError) or self._client.status != "running":
            raise NoCrewError("the cluster is gone")
        return type(error).__name__ == "KilledWorker"

    def dismiss(self) -> None:
        """Give up what is not finished, and leave the cluster as it was."""
        self._executor.shutdown(wait=False)
        self._client.close(timeout=1)


def cores() -> int:
    """Return how many processors this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:
        return os.cpu_count() or 1


@contextmanager
def interruptions_held() -> Iterator[None]:
    """Hold Ctrl-C back, so that a process that is started meanwhile never gets it, not even before it can ignore it."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def leave_interruptions_to_the_caller() -> None:
    """Ignore Ctrl-C, which a terminal tells every process: the one that was called decides."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
