"""Limits on memory and time hold within a tenth, measured from outside."""

import subprocess
import sys
import time

import psutil
import pytest

from seqcheck.search.engine import Limits, Stop
from seqcheck.search.packed.packed import PackedEngine
from tests.analyse.asking import model_of, silent
from tests.cli.calling import counters
from tests.search.packed.wide import wide


def peak_mb(limit_mb: int) -> tuple[float, str]:
    """Search in a process of its own; return the most memory that its tree was seen to take, and what it printed."""
    command = [sys.executable, "-m", "tests.search.packed.wide", str(limit_mb)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        peak = 0.0
        while process.poll() is None:
            try:
                tree = [psutil.Process(process.pid), *psutil.Process(process.pid).children(recursive=True)]
                peak = max(peak, sum(one.memory_info().rss for one in tree) / 1e6)
            except psutil.Error:
                continue
            time.sleep(0.002)
        assert process.stdout is not None
        said = process.stdout.read()
    assert process.returncode == 0
    return peak, said


@pytest.fixture(scope="module")
def _compiled() -> None:
    """The first search after an installation compiles, in the memory that this takes."""
    PackedEngine().explore(model_of(counters(2, 2)), (), Limits(), silent)


@pytest.mark.slow
@pytest.mark.usefixtures("_compiled")
@pytest.mark.parametrize("limit_mb", [120, 160, 200, 260, 320, 400, 500, 600, 750, 900])
def test_a_limit_on_memory_holds(limit_mb: int) -> None:
    peak, said = peak_mb(limit_mb)
    assert peak <= 1.1 * limit_mb
    assert said.startswith("Stop.MEMORY")
    if limit_mb >= 200:
        assert int(said.split()[1]) > 100_000


@pytest.mark.usefixtures("_compiled")
@pytest.mark.parametrize("seconds", [0.6, 1.0, 2.0])
def test_a_limit_on_time_holds(seconds: float) -> None:
    model = wide()
    began = time.monotonic()
    found = PackedEngine().explore(model, (), Limits(seconds=seconds), silent)
    took = time.monotonic() - began
    assert found.stopped is Stop.SECONDS
    assert took <= 1.1 * seconds + 0.1, "a tenth of a second for a machine that does something else"
    assert took >= 0.4 * seconds, "it stops early only where a table cannot be made larger in the time that is left"
    assert found.states > 10_000


@pytest.mark.parametrize("most", [1, 10, 100, 5000, 60_000])
def test_a_limit_on_states_holds(most: int) -> None:
    """Within the successors of one state for each thread."""
    found = PackedEngine(2).explore(model_of(counters(7, 9)), (), Limits(states=most), silent)
    assert found.stopped is Stop.STATES
    assert most < found.states <= most + 2 * 10


def test_the_layers_said_to_be_complete_are() -> None:
    """A state with so many steps was judged, whichever limit ended the search."""
    for most in (20, 60, 200, 600):
        cut = PackedEngine().explore(model_of(counters(3, 9)), (), Limits(states=most), silent)
        deep = model_of(counters(3, 9).replace("c0 = 1", f"c0 + c1 + c2 = {cut.complete_steps}"))
        assert 0 in PackedEngine().explore(deep, (), Limits(states=most), silent).found
