"""Watches a call of the tool from outside: its time, and the peak resident memory of its process tree."""

import json
import subprocess
import time
from dataclasses import dataclass

import psutil

from seqcheck.report.json_form import Json
from tests.cli.calling import command


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """What one call took and gave. *inside_s* is the time of its searches, *left_over* are processes that outlived it."""

    peak_mb: float
    seconds: float
    exit_code: int
    data: dict[str, Json]
    stderr: str
    processes: int
    left_over: int

    @property
    def inside_s(self) -> float:
        """The seconds that the call itself reports."""
        seconds = self.data["seconds"]
        assert isinstance(seconds, float)
        return seconds


def resident_mb(members: list[psutil.Process]) -> float:
    """Return the resident memory of some processes in megabytes (10^6 bytes)."""
    total = 0
    for member in members:
        try:
            total += member.memory_info().rss
        except psutil.NoSuchProcess:
            continue
    return total / 1e6


def watch(*arguments: str, every_s: float = 0.004) -> Watched:
    """Call `seqcheck verify … --json -` in a process of its own and look at its tree until it ends."""
    began = time.monotonic()
    peak, most = 0.0, 1
    with subprocess.Popen(
        command("verify", *arguments, "--json", "-"), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as running:
        root = psutil.Process(running.pid)
        members, listed = [root], began
        known = {root}
        while running.poll() is None:
            if time.monotonic() - listed > 0.03:
                try:
                    members, listed = [root, *root.children(recursive=True)], time.monotonic()
                except psutil.NoSuchProcess:
                    break
                known.update(members)
            peak, most = max(peak, resident_mb(members)), max(most, len(members))
            time.sleep(every_s)
        seconds = time.monotonic() - began
        said, aside = running.communicate(timeout=60)
    return Watched(
        peak_mb=peak,
        seconds=seconds,
        exit_code=running.returncode,
        data=json.loads(said) if said else {},
        stderr=aside,
        processes=most,
        left_over=sum(1 for member in known if member.is_running()),
    )
