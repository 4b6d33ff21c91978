"""Whoever answers, the same is found: this process, others, a cluster; also where some of them die."""

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import TypeAlias, TypeVar

import pytest

from seqcheck.analyse.faults.asking import Question
from seqcheck.analyse.faults.crews import Cluster, Crew, Here, NoCrewError, Processes
from seqcheck.analyse.faults.desk import MOST_TRIES, Ended
from seqcheck.search.engine import Limits
from tests.analyse.faults.press import OWN, SOME_DERIVED
from tests.analyse.faults.studying import campaign_of, desk_of, rows_of, sets_of
from tests.outside.reading import machine_of

T = TypeVar("T")


def questions_in(about: tuple[object, ...]) -> list[Question]:
    """Return the questions that a piece of work is about."""
    return [question for part in about if isinstance(part, tuple) for question in part]


class Unlucky(Here):
    """Loses some questions, each so many times."""

    def __init__(self, losses: dict[tuple[str, ...], int]) -> None:
        self._losses = losses

    def submit(self, work: Callable[..., T], *about: object) -> "Future[T]":
        for question in questions_in(about):
            if self._losses.get(question.study, 0) > 0:
                self._losses[question.study] -= 1
                lost: Future[T] = Future()
                lost.set_exception(BrokenProcessPool("it died"))
                return lost
        return super().submit(work, *about)

    def is_loss(self, error: BaseException) -> bool:
        return isinstance(error, BrokenProcessPool)


def test_a_question_that_got_lost_is_asked_again() -> None:
    machine = machine_of(OWN)
    losses = {(): 1, ("gate switch stuck shut",): MOST_TRIES - 1}
    assert sets_of(rows_of(machine, 1, desk_of(lambda: Unlucky(losses)))) == sets_of(rows_of(machine, 1))
    assert set(losses.values()) == {0}


def test_a_question_that_nobody_survives_is_left_open() -> None:
    machine = machine_of(OWN)
    rows = rows_of(machine, 1, desk_of(lambda: Unlucky({("gate switch stuck shut",): MOST_TRIES})))
    (h1,) = [row for row in rows if row.subject.id == "H1"]
    assert [one.faults for one in h1.reached] == [("drive fails to stop",)]
    assert [(one.faults, one.reason) for one in h1.open] == [(("gate switch stuck shut",), "whoever searched it died, 3 times")]


def test_an_error_of_this_program_is_no_loss() -> None:
    class Broken(Here):
        def submit(self, work: Callable[..., T], *about: object) -> "Future[T]":  # noqa: ARG002
            failed: Future[T] = Future()
            failed.set_exception(ZeroDivisionError())
            return failed

    with pytest.raises(ZeroDivisionError):
        rows_of(machine_of(OWN), 0, desk_of(Broken))


def test_processes_find_the_same_and_are_gone_at_the_end() -> None:
    machine = machine_of(SOME_DERIVED)
    before = {child.pid for child in multiprocessing.active_children()}
    assert sets_of(rows_of(machine, 1, desk_of(lambda: Processes(2)))) == sets_of(rows_of(machine, 1))
    ends = time.monotonic() + 5
    while {child.pid for child in multiprocessing.active_children()} - before:
        assert time.monotonic() < ends
        time.sleep(0.05)


def test_processes_that_are_killed_lose_nothing() -> None:
    machine = machine_of(SOME_DERIVED)
    before = {child.pid for child in multiprocessing.active_children()}
    campaign = campaign_of(machine, 2, desk_of(lambda: Processes(2)))
    killed = 0
    with campaign.desk:
        for _ in campaign.run():
            children = [child.pid for child in multiprocessing.active_children() if child.pid not in before]
            if not killed and children and children[0] is not None:
                os.kill(children[0], signal.SIGKILL)
                killed += 1
    assert killed == 1
    assert sets_of(campaign.collector.rows()) == sets_of(rows_of(machine, 2))


# --- a cluster ---
Cast: TypeAlias = "tuple[str, list[subprocess.Popen[bytes]]]"
"""The address of a cluster, its scheduler and its workers."""


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cast]:
    """Start a scheduler and two workers, processes of their own; give the address and all three."""
    pytest.importorskip("distributed")
    file = tmp_path / "scheduler.json"
    options = ["--scheduler-file", str(file), "--no-dashboard"]
    started = [_dask("scheduler", *options, "--host", "127.0.0.1", "--port", "0", folder=tmp_path)]
    started += [_dask("worker", *options, "--no-nanny", "--nthreads", "1", folder=tmp_path) for _ in range(2)]
    try:
        ends = time.monotonic() + 20
        while not file.exists():
            assert time.monotonic() < ends
            time.sleep(0.05)
        import json

        address = str(json.loads(file.read_text(encoding="utf-8"))["address"])
        while _workers(address) < 2:
            assert time.monotonic() < ends
        yield address, started
    finally:
        for process in started:
            process.kill()
            process.wait()


def _dask(*arguments: str, folder: Path) -> "subprocess.Popen[bytes]":
    command = [sys.executable, "-W", "ignore", "-m", "dask", *arguments]
    return subprocess.Popen(command, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def _workers(address: str) -> int:
    crew = Cluster(address)
    try:
        return crew.workers
    finally:
        crew.dismiss()


def test_a_cluster_finds_the_same_with_a_worker_killed_midway(
    cluster: Cast,
) -> None:
    address, (_, *workers) = cluster
    machine = machine_of(SOME_DERIVED)
    campaign = campaign_of(machine, 2, desk_of(lambda: Cluster(address)))
    found = 0
    with campaign.desk:
        for _ in campaign.run():
            found += 1
            if found == 3:
                workers[0].kill()
    assert workers[0].wait(5) == -signal.SIGKILL
    assert workers[1].poll() is None
    assert sets_of(campaign.collector.rows()) == sets_of(rows_of(machine, 2))
    assert not any(row.open for row in campaign.collector.rows())


def test_a_cluster_that_goes_away_ends_the_work(cluster: Cast) -> None:
    """What was found stays found; the rest is not known."""
    address, processes = cluster
    campaign = campaign_of(machine_of(SOME_DERIVED), 2, desk_of(lambda: Cluster(address)))
    found = 0
    with campaign.desk:
        for _ in campaign.run():
            found += 1
            if found == 3:
                for process in processes:
                    process.kill()
    assert campaign.desk.ended is Ended.NOBODY
    assert found >= 3
    assert campaign.covered[-1].done < campaign.covered[-1].total


@pytest.mark.parametrize("address", ["127.0.0.1:1", "no such address", "tcp://"])
def test_a_cluster_that_is_not_there_is_said_so_soon(address: str) -> None:
    pytest.importorskip("distributed")
    began = time.monotonic()
    with pytest.raises(NoCrewError, match="there is no cluster at"):
        Cluster(address)
    assert time.monotonic() - began < 8


def test_a_cluster_needs_its_library(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(NoCrewError, match=r"pip install 'seqcheck\[cluster\]'"):
        Cluster("127.0.0.1:1")


def test_a_crew_that_is_never_called_is_not_needed() -> None:
    def call() -> Crew:
        raise AssertionError

    machine = machine_of(OWN)
    campaign = campaign_of(machine, 1)
    desk = desk_of(call)
    desk.orders = type(desk.orders)(engine="auto", limits=Limits(), crew=call, at_once=False, watch=lambda _: None)
    campaign.desk = desk
    with desk:
        assert list(campaign.run())
