"""Limits on memory and time hold within a tenth, measured from outside on the whole process tree."""

import signal
import time
from pathlib import Path

import psutil
import pytest

from seqcheck.search import limits as module
from seqcheck.search.engine import Limits, Stop
from seqcheck.search.limits import Allowance, Interruption, Tree, resident_mb_of
from tests.benchmarks.cells import cells
from tests.benchmarks.lines import lines
from tests.cli.calling import counters, mixer, put
from tests.search.planner.outside import watch

FAT = counters(2, 999).replace("parts:\n", "parts:\n" + "".join(f"  idle{n}: [a, b]\n" for n in range(200)))
"""A million states; one takes some 1,700 bytes in `plain`, so that memory is soon taken."""

MIXER = mixer(9, 13)
LINE = lines(4)
"""Machines that `plain` or `symbolic` do not come to the end of within seconds."""

SLACK_S = 0.25
"""What a call takes outside its searches: to start, to read the file, to show that it ends."""

BUSY_S = 0.08
"""How much later a process may wake up on a busy machine than it asked to."""


@pytest.mark.parametrize(
    ("engine", "most_mb"),
    [
        *(("plain", 80), ("plain", 130), ("plain", 220), ("plain", 400)),
        *(("symbolic", 70), ("symbolic", 80), ("symbolic", 95), ("symbolic", 110)),
    ],
)
def test_memory_is_kept_and_used(engine: str, most_mb: int, tmp_path: Path) -> None:
    text = FAT if engine == "plain" else MIXER
    watched = watch(*put(tmp_path, text=text), "--engine", engine, "--max-memory", str(most_mb))
    assert watched.data["stopped_by"] == "memory"
    assert 0.6 * most_mb < watched.peak_mb < 1.1 * most_mb
    assert watched.left_over == 0


@pytest.mark.parametrize("most_mb", [150, 420])
def test_memory_of_all_processes_together_is_kept(most_mb: int, tmp_path: Path) -> None:
    watched = watch(*put(tmp_path, mixer=MIXER), "--max-memory", str(most_mb), "--max-seconds", "2.5")
    assert watched.data["stopped_by"] in {"memory", "seconds"}
    assert watched.processes > 1
    assert watched.peak_mb < 1.1 * most_mb
    assert watched.left_over == 0


@pytest.mark.parametrize("engine", ["plain", "symbolic", "auto"])
@pytest.mark.parametrize("most_s", [0.3, 0.6, 1.0, 1.6])
def test_time_is_kept_and_used(engine: str, most_s: float, tmp_path: Path) -> None:
    text = LINE if engine == "symbolic" else MIXER
    watched = watch(*put(tmp_path, text=text), "--engine", engine, "--max-seconds", str(most_s))
    assert watched.data["stopped_by"] == "seconds"
    assert 0.6 * most_s < watched.inside_s < 1.1 * most_s + BUSY_S
    assert watched.seconds < 1.1 * most_s + SLACK_S + 2 * startup_s()
    assert watched.left_over == 0


def startup_s() -> float:
    """Return how long a call takes that has nothing to search, on this machine and as busy as it is now."""
    began = time.monotonic()
    watch("absent.yaml")
    return time.monotonic() - began


@pytest.mark.parametrize("most", [100, 30_000])
def test_states_are_kept(most: int, tmp_path: Path) -> None:
    """To within the successors of one state, where states are counted one by one."""
    watched = watch(*put(tmp_path, mixer=MIXER), "--max-states", str(most), "--engine", "plain")
    states = watched.data["states"]
    assert isinstance(states, int)
    assert most <= states <= most + 18


@pytest.mark.parametrize("most", [30_000, 10**12])
def test_states_are_kept_by_sets_of_states(most: int, tmp_path: Path) -> None:
    """A set grows by many states at a time; what is found in it stands."""
    watched = watch(*put(tmp_path, cells=cells(8)), "--max-states", str(most), "--engine", "symbolic")
    assert watched.data["stopped_by"] == "states"
    assert most < int(str(watched.data["states"])) < 1000 * most


class Clock:
    """A clock that tests move."""

    def __init__(self) -> None:
        self.now = 100.0

    def monotonic(self) -> float:
        return self.now


def test_which_limit_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = Clock()
    monkeypatch.setattr(module, "time", clock)
    allowance = Allowance(Limits(states=10, seconds=5))
    assert allowance.exceeded(10) is None
    assert allowance.exceeded(11) is Stop.STATES
    clock.now += 4.5
    assert allowance.exceeded(10) is None
    assert allowance.exceeded(10, finishing_s=0.6) is Stop.SECONDS
    clock.now += 1
    assert allowance.exceeded(10) is Stop.SECONDS
    assert allowance.room_mb() == float("inf")
    assert Allowance(Limits(memory_mb=1)).exceeded(0) is Stop.MEMORY


def test_room_is_what_is_left_of_the_limit() -> None:
    here = psutil.Process().memory_info().rss / 1e6
    room = Allowance(Limits(memory_mb=here + 1000)).room_mb()
    assert 850 < room < 1000
    assert abs(Tree().resident_mb() - here) < 40
    assert abs(resident_mb_of(psutil.Process().pid) - here) < 40
    assert resident_mb_of(2**22 + 5) == 0


def test_the_first_interruption_is_noted_and_the_second_raised(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = Clock()
    monkeypatch.setattr(module, "time", clock)
    with Interruption() as interruption:
        assert not interruption.noted
        signal.raise_signal(signal.SIGINT)
        assert interruption.noted
        clock.now += 0.3
        signal.raise_signal(signal.SIGINT)
        clock.now += 0.3
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
    with pytest.raises(KeyboardInterrupt):
        signal.raise_signal(signal.SIGINT)


def test_another_handler_is_left_alone() -> None:
    heard: list[int] = []
    before = signal.signal(signal.SIGINT, lambda number, _frame: heard.append(number))
    try:
        with Interruption() as interruption:
            signal.raise_signal(signal.SIGINT)
        assert (interruption.noted, heard) == (False, [signal.SIGINT])
    finally:
        signal.signal(signal.SIGINT, before)
