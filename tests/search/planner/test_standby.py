"""A process that began before it was known what to search: its search is as any other, and nothing is left of it."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import nullcontext, suppress
from functools import partial
from pathlib import Path

import psutil
import pytest

from seqcheck.cli.beforehand import LARGE_BYTES, standby_for
from seqcheck.model.expression import TRUE, Apply, Expression, Op
from seqcheck.search.engine import NO_EXTRAS, Engine, Exploration, Limits
from seqcheck.search.engines import NAMES, engine
from seqcheck.search.planner import contest, trial
from seqcheck.search.planner.child import Task
from seqcheck.search.planner.planner import Alone, Planner
from seqcheck.search.planner.standby import Standby, is_worth_it
from tests.analyse.asking import model_of, silent
from tests.cli.calling import HOLDS, counters
from tests.search.planner import fakes

pytestmark = pytest.mark.skipif(not is_worth_it(), reason="no second processor, or no fork")

LARGE = model_of(counters(4, 17))
NO_LIMITS = Limits()
FIRST = "symbolic"


@pytest.fixture(autouse=True)
def others_are_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(trial, "TRIAL_STATES", 8_000)


@pytest.fixture(autouse=True)
def nobody_left() -> Iterator[None]:
    before = set(psutil.Process().children(recursive=True))
    yield
    assert set(psutil.Process().children(recursive=True)) == before


def searched(standby: Standby | None) -> Exploration:
    return Planner(standby=standby).explore(LARGE, (), NO_LIMITS, silent)


@pytest.mark.parametrize("name", ["symbolic", "packed"])
def test_an_engine_that_is_named_is_there_already(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    usual = Alone(name).explore(LARGE, (), NO_LIMITS, silent)
    monkeypatch.setattr(contest, "Child", begins_none)
    with Standby(name) as standby:
        assert Alone(name, standby=standby).explore(LARGE, (), NO_LIMITS, silent) == usual
    assert usual.engine == name


def begins_none(_task: Task) -> None:
    raise AssertionError


def test_it_takes_the_first_search_and_no_other(monkeypatch: pytest.MonkeyPatch) -> None:
    usual = searched(None)
    with Standby(FIRST) as standby:
        with monkeypatch.context() as patched:
            patched.setattr(contest, "Child", begins_none)
            assert searched(standby) == usual
            with pytest.raises(AssertionError):
                searched(standby)
        assert searched(standby) == usual
    assert usual.engine == FIRST


def test_it_is_for_one_engine() -> None:
    with Standby(FIRST) as standby:
        assert not standby.take(task("plain"))
        assert standby.take(task(FIRST))


def task(name: str, depth: int = 0) -> Task:
    """Return a task with a condition that is so many operators deep."""
    deep: Expression = TRUE
    for _ in range(depth):
        deep = Apply(Op.NOT, (deep,))
    return Task(engine=name, find=engine, model=LARGE, watches=(deep,), limits=NO_LIMITS, deadline=None, extras=NO_EXTRAS)


def test_a_task_that_cannot_be_sent_is_for_another() -> None:
    with Standby(FIRST) as standby:
        assert not standby.take(task(FIRST, depth=100_000))
        assert searched(standby).states == 18**4


@pytest.mark.parametrize("after_s", [0.0, 0.5])
def test_one_that_died_is_replaced(after_s: float) -> None:
    with Standby(FIRST) as standby:
        os.kill(standby.pid, signal.SIGKILL)
        time.sleep(after_s)
        found = searched(standby)
    assert found.states == 18**4


def test_an_engine_that_is_missing_is_told_when_it_is_asked_for() -> None:
    names = ("plain", FIRST)
    missing = partial(fakes.find, fakes.is_missing, fakes.is_unfit)
    with Standby(FIRST, missing) as standby:
        found = Planner(find=missing, names=names, standby=standby).explore(LARGE, (), NO_LIMITS, silent)
    assert (found.engine, found.states) == ("plain", 18**4)
    assert "the library diagrams is not installed" in found.reason


def cannot_be_found(name: str) -> Engine:
    raise ModuleNotFoundError(f"No module named {name!r}", name=name)


def test_an_engine_that_cannot_be_imported_does_not_end_it() -> None:
    """What it imports ahead is only ever a help."""
    with Standby(FIRST, cannot_be_found) as standby:
        assert searched(standby).engine == FIRST


def test_the_keyboard_is_for_the_search() -> None:
    with Standby(FIRST) as standby:
        for _ in range(20):
            os.kill(standby.pid, signal.SIGINT)
            time.sleep(0.01)
        assert searched(standby).states == 18**4


def test_nothing_is_left_of_one_that_was_not_needed() -> None:
    with Standby(FIRST) as standby:
        pid = standby.pid
    assert not psutil.pid_exists(pid)
    standby.end()


def test_it_ends_with_the_process_that_began_it() -> None:
    script = "import time\nfrom seqcheck.search.planner.standby import Standby\n"
    script += f"one = Standby({FIRST!r})\nprint(one.pid, flush=True)\ntime.sleep(60)"
    process = subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    child = psutil.Process(int(process.stdout.readline()))
    process.kill()
    process.communicate(timeout=20)
    with suppress(psutil.NoSuchProcess):
        child.wait(timeout=20)


@pytest.mark.parametrize(
    ("size", "name", "limits", "begins"),
    [
        (LARGE_BYTES, "auto", NO_LIMITS, True),
        (LARGE_BYTES - 1, "auto", NO_LIMITS, False),
        (LARGE_BYTES, "auto", Limits(seconds=1.0), False),
        (LARGE_BYTES, "auto", Limits(memory_mb=100.0), False),
        (LARGE_BYTES, "plain", NO_LIMITS, False),
        *((len(HOLDS), name, NO_LIMITS, True) for name in NAMES if name != "plain"),
        *((len(HOLDS), name, Limits(seconds=1.0), False) for name in NAMES),
    ],
)
def test_when_one_begins(size: int, name: str, limits: Limits, begins: bool, tmp_path: Path) -> None:
    file = tmp_path / "large.yaml"
    file.write_text(HOLDS + "#" * (size - len(HOLDS)), encoding="utf-8")
    found = standby_for(file, name, limits)
    assert isinstance(found, Standby if begins and is_worth_it() else nullcontext)
    with found:
        pass


def test_none_begins_for_what_is_no_file(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "absent.yaml"):
        assert isinstance(standby_for(path, "auto", NO_LIMITS), nullcontext)
