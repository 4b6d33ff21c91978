"""Runs one program and measures it: wall-clock time of the whole process and peak memory of it with all that it starts."""

import os
import resource
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

import psutil

BRIEF_S, OFTEN_S, SELDOM_S = 1.0, 0.02, 0.2
"""How long a process is watched closely, and the time between two looks then and later."""

MAXRSS_BYTES = 1 if sys.platform == "darwin" else 1024
ROOT = Path(__file__).parents[2]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """Where a run is ended from outside."""

    seconds: float
    memory_mb: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One run. *peak_mb* is None where the process was too short to be seen, *ended* says why it was ended, or is empty."""

    seconds: float
    peak_mb: float | None
    code: int
    out: str
    err: str
    ended: str


class Watch(threading.Thread):
    """Looks at a process and its descendants now and then; ends them all at a bound."""

    def __init__(self, pid: int, bounds: Bounds) -> None:
        super().__init__(daemon=True)
        self._pid = pid
        self._bounds = bounds
        self._over = threading.Event()
        self._began = time.perf_counter()
        self.peak_bytes = 0
        self.ended = ""

    def run(self) -> None:
        """Look until the process is over."""
        while not self._over.wait(OFTEN_S if self._elapsed() < BRIEF_S else SELDOM_S):
            self.peak_bytes = max(self.peak_bytes, resident(self._pid))
            if self._elapsed() > self._bounds.seconds:
                self._end(f"ended after {self._bounds.seconds:g} s")
            elif self.peak_bytes > self._bounds.memory_mb * 1e6:
                self._end(f"ended at {self._bounds.memory_mb:,.0f} MB")

    def stop(self) -> None:
        """Look no more."""
        self._over.set()
        self.join()

    def _elapsed(self) -> float:
        return time.perf_counter() - self._began

    def _end(self, why: str) -> None:
        self.ended = why
        try:
            os.killpg(self._pid, signal.SIGKILL)
        except ProcessLookupError:
            self.ended = ""
        self._over.set()


def resident(pid: int) -> int:
    """Return the resident bytes of a process and its descendants; pages they share are counted for each."""
    try:
        root = psutil.Process(pid)
        return sum(resident_alone(process) for process in (root, *root.children(recursive=True)))
    except psutil.Error:
        return 0


def resident_alone(process: psutil.Process) -> int:
    """Return the resident bytes of one process; 0 if it is gone."""
    try:
        return int(process.memory_info().rss)
    except psutil.Error:
        return 0


def measured(command: Sequence[str], bounds: Bounds) -> Measured:
    """Run a program in a session of its own, from the root of the project, and measure it."""
    with tempfile.TemporaryFile("w+", encoding="utf-8") as out, tempfile.TemporaryFile("w+", encoding="utf-8") as err:
        began = time.perf_counter()
        process = subprocess.Popen(command, stdout=out, stderr=err, cwd=ROOT, start_new_session=True)
        watch = Watch(process.pid, bounds)
        watch.start()
        _, status, usage = os.wait4(process.pid, 0)
        seconds = time.perf_counter() - began
        process.returncode = os.waitstatus_to_exitcode(status)
        watch.stop()
        return Measured(
            seconds=seconds,
            peak_mb=peak_mb(watch.peak_bytes, usage.ru_maxrss * MAXRSS_BYTES),
            code=process.returncode,
            out=whole(out),
            err=whole(err),
            ended=watch.ended,
        )


def peak_mb(seen: int, reported: int) -> float | None:
    """Return the peak in megabytes (10^6 bytes). What the system reports starts from this process's own peak: see fork."""
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * MAXRSS_BYTES
    peak = max(seen, reported if reported > own else 0)
    return peak / 1e6 if peak else None


def whole(file: TextIO) -> str:
    """Return all that was written to a file."""
    file.seek(0)
    return file.read()
