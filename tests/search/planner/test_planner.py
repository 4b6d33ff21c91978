"""Which engine answers and why, and what the planner makes of engines that hang, die or are not made for a machine."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import psutil
import pytest
from msgspec.structs import replace

from seqcheck.search.engine import Extras, Limits, Progress, Stop, Unfit
from seqcheck.search.engines import NAMES
from seqcheck.search.limits import memory_of_this_computer_mb
from seqcheck.search.plain.plain import PlainEngine
from seqcheck.search.planner import child, contest, trial
from seqcheck.search.planner.container import Binding
from seqcheck.search.planner.contest import limits_of
from seqcheck.search.planner.job import NoAnswerError
from seqcheck.search.planner.keeping import FileKeeper, Shelf
from seqcheck.search.planner.planner import ENTRIES, Alone, Planner, entries_of
from tests.analyse.asking import model_of, silent
from tests.cli.calling import HOLDS, counters
from tests.search.planner import fakes
from tests.search.planner.fakes import planner

SMALL = model_of(HOLDS)
MIDDLING = model_of(counters(3, 12))
LARGE = model_of(counters(4, 17))
"""2, 2,197 and 104,976 states."""

NO_LIMITS = Limits()
PRESS_S = 1.2
BUSY_S = 0.15
"""How much later something may be done on a busy machine."""


@pytest.fixture(autouse=True)
def a_short_trial(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is large here is not so for `plain`, which would answer on trial."""
    monkeypatch.setattr(trial, "TRIAL_STATES", 8_000)
    monkeypatch.setattr(trial, "TRIAL_STATES_OF_MANY_BITS", 8_000)


@pytest.fixture(autouse=True)
def nobody_left() -> Iterator[None]:
    """No process outlives a search, not even as a zombie."""
    before = set(psutil.Process().children(recursive=True))
    yield
    left = [one for one in psutil.Process().children(recursive=True) if one not in before]
    assert [one for one in left if "resource_tracker" not in " ".join(one.cmdline())] == []


def test_a_small_machine_is_done_here_by_plain() -> None:
    found = planner(fakes.breaks).explore(SMALL, (), NO_LIMITS, silent)
    assert (found.engine, found.reason, found.states) == ("plain", "the machine is small", 2)


def test_small_machines_start_no_process_and_import_no_engine() -> None:
    told = (
        "import sys; from seqcheck.cli.main import run; run(['verify', 'sequences/lift_gate.yaml'])\n"
        "heavy = {'multiprocessing', 'psutil', 'numpy', 'numba', 'oxidd', 'z3'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
        "assert not [name for name in sys.modules if name.startswith(('seqcheck.search.symbolic', 'seqcheck.search.packed'))]"
    )
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=False)
    assert done.stderr == ""
    assert done.returncode == 0


def test_the_first_whole_answer_counts() -> None:
    whole = PlainEngine().explore(LARGE, (), NO_LIMITS, silent)
    found = planner(fakes.answers, fakes.hangs).explore(LARGE, (), NO_LIMITS, silent)
    assert found == replace(whole, engine="symbolic", reason=found.reason)
    assert found.reason in {"the machine has 20 bits of state", "the machine has 20 bits of state; it was ahead of packed"}


@pytest.mark.parametrize(("after_s", "times"), [(0.1, 1), (60.0, 0)])
def test_a_while_of_waiting_is_used_once(after_s: float, times: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """An answer that comes sooner waits for nothing."""
    monkeypatch.setattr(contest, "MEANWHILE_AFTER_S", after_s)
    done: list[int] = []
    asked = replace(planner(fakes.answers_late, fakes.hangs), meanwhile=lambda: done.append(os.getpid()))
    assert asked.explore(LARGE, (), NO_LIMITS, silent).engine == "symbolic"
    assert done == [os.getpid()] * times


def test_packed_joins_later_and_may_be_first() -> None:
    began = time.monotonic()
    found = planner(fakes.hangs, fakes.answers).explore(LARGE, (), NO_LIMITS, silent)
    assert (found.engine, found.reason) == ("packed", "the machine has 20 bits of state; it was ahead of symbolic")
    assert time.monotonic() - began > 1.0


def test_a_middling_machine_may_be_done_by_plain_beside() -> None:
    found = planner(fakes.hangs, fakes.hangs).explore(MIDDLING, (), NO_LIMITS, silent)
    assert (found.engine, found.states) == ("plain", 2197)


@pytest.mark.parametrize(
    ("symbolic", "said"),
    [
        (fakes.is_unfit, "symbolic is not made for this machine: its numbers are too wide"),
        (fakes.is_missing, "symbolic is not made for this machine: the library diagrams is not installed"),
        (fakes.dies, "symbolic died: its process was ended by SIGKILL, as happens where memory runs out"),
        (fakes.leaves, "symbolic died: its process ended with code 5 and no answer"),
        (fakes.breaks, "symbolic broke off: ZeroDivisionError in fakes.py, line "),
        (fakes.runs_out, f"symbolic came to {Stop.MEMORY.value}"),
        (fakes.is_full, f"symbolic came to {Stop.MEMORY.value}"),
    ],
)
def test_where_one_has_no_answer_the_other_goes_on_at_once(symbolic: fakes.Behaviour, said: str) -> None:
    found = planner(symbolic, fakes.answers).explore(LARGE, (), NO_LIMITS, silent)
    assert (found.engine, found.states, found.stopped) == ("packed", 104976, None)
    assert found.reason.startswith(f"the machine has 20 bits of state; {said}")


def test_plain_takes_what_no_other_is_made_for() -> None:
    found = planner(fakes.is_unfit, fakes.is_missing).explore(LARGE, (), NO_LIMITS, silent)
    assert (found.engine, found.states, found.stopped) == ("plain", 104976, None)
    assert "symbolic is not made for this machine" in found.reason
    assert "packed is not made for this machine" in found.reason


def test_where_there_is_no_other_engine_plain_searches() -> None:
    found = Planner(find=planner(fakes.breaks).find, names=("plain",)).explore(LARGE, (), NO_LIMITS, silent)
    assert (found.engine, found.reason, found.states) == ("plain", "there is no other", 104976)


@pytest.mark.parametrize("packed", [fakes.is_unfit, fakes.breaks, fakes.dies, None])
def test_plain_stands_in_for_packed_beside_an_engine_that_takes_long(packed: fakes.Behaviour | None) -> None:
    found = planner(fakes.hangs, packed).explore(LARGE, (), NO_LIMITS, silent)
    assert (found.engine, found.states) == ("plain", 104976)
    assert "it was ahead of symbolic" in found.reason
    assert ("packed" in found.reason) is (packed is not None)


def test_what_breaks_off_does_not_keep_plain_from_answering() -> None:
    found = planner(fakes.breaks, fakes.breaks).explore(LARGE, (), NO_LIMITS, silent)
    assert (found.engine, found.states) == ("plain", 104976)
    assert "symbolic broke off: ZeroDivisionError in fakes.py" in found.reason


def test_all_broken_is_no_answer_and_says_why() -> None:
    with pytest.raises(NoAnswerError, match=r"symbolic died: .*SIGKILL.*; packed broke off: ZeroDivisionError"):
        planner(fakes.dies, fakes.breaks).explore(LARGE, (), NO_LIMITS, silent)
    with pytest.raises(NoAnswerError):
        Alone("packed", planner(fakes.is_unfit, fakes.dies).find).explore(LARGE, (), NO_LIMITS, silent)


def test_where_memory_runs_out_what_was_found_stands() -> None:
    found = planner(fakes.runs_out, fakes.breaks).explore(LARGE, (), NO_LIMITS, silent)
    assert (found.engine, found.stopped) == ("plain", Stop.MEMORY)
    assert 500 < found.states < 20_000


def test_where_others_take_too_much_memory_plain_uses_it_instead() -> None:
    here_mb = psutil.Process().memory_info().rss / 1e6
    found = planner(fakes.runs_out, fakes.runs_out).explore(LARGE, (), Limits(memory_mb=2 * here_mb + 500), silent)
    assert (found.engine, found.stopped, found.states) == ("plain", None, 104976)
    assert (
        found.reason
        == f"the machine has 20 bits of state; symbolic came to {Stop.MEMORY.value}; packed came to {Stop.MEMORY.value}"
    )


def test_few_states_asked_for_are_counted_one_by_one() -> None:
    found = planner(fakes.answers, fakes.answers).explore(LARGE, (), Limits(states=5000), silent)
    assert (found.engine, found.stopped) == ("plain", Stop.STATES)
    assert 5000 <= found.states <= 5004


@pytest.mark.parametrize("bad", [fakes.hangs, fakes.is_deaf])
def test_an_engine_that_looks_at_no_limit_is_ended(bad: fakes.Behaviour) -> None:
    """What `plain` found on trial stands: its steps, its hazards."""
    began = time.monotonic()
    found = planner(bad, bad).explore(LARGE, (), Limits(seconds=1.5), silent)
    assert 1.4 < time.monotonic() - began < 1.65 + 0.3
    assert (found.stopped, found.engine) == (Stop.SECONDS, "plain")
    assert found.complete_steps is not None
    assert found.complete_steps > 3
    assert set(found.found) == {0}
    assert "symbolic came to the limit on time; packed came to the limit on time" in found.reason


HOARDED = """
from seqcheck.search.engine import Limits
from tests.analyse.asking import model_of, silent
from tests.cli.calling import counters
from tests.search.planner import fakes
from seqcheck.search.planner import trial
trial.TRIAL_STATES = 8_000
planner = fakes.planner(fakes.hoards, fakes.answers_when_alone)
found = planner.explore(model_of(counters(4, 17)), (), Limits(memory_mb=600), silent)
print(found.engine, found.stopped, found.states, found.reason)
"""


def test_an_engine_that_takes_all_memory_is_ended_and_the_other_goes_on() -> None:
    """In a process of its own: what this one holds by now would count too."""
    done = subprocess.run([sys.executable, "-c", HOARDED], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("packed None 104976 ")
    assert f"symbolic came to {Stop.MEMORY.value}" in done.stdout


def test_where_there_is_no_memory_for_another_process_plain_searches() -> None:
    here_mb = psutil.Process().memory_info().rss / 1e6
    found = planner(fakes.answers, fakes.answers).explore(LARGE, (), Limits(memory_mb=here_mb + 110), silent)
    assert found.engine == "plain"
    assert "there was not the memory to start symbolic; there was not the memory to start packed" in found.reason


def after(seconds: float, act: Callable[[], None]) -> None:
    threading.Timer(seconds, act).start()


def press(pid: int) -> Callable[[], None]:
    return lambda: os.kill(pid, signal.SIGINT)


@pytest.mark.parametrize("other", [fakes.hangs, fakes.answers_late, fakes.is_deaf])
def test_an_interruption_reaches_every_engine(other: fakes.Behaviour) -> None:
    model = model_of(counters(7, 9))
    after(PRESS_S, press(os.getpid()))
    began = time.monotonic()
    found = planner(fakes.hangs, other).explore(model, (), NO_LIMITS, silent)
    assert time.monotonic() - began < PRESS_S * 1.1 + 0.1 + BUSY_S
    assert found.stopped is Stop.INTERRUPTED
    assert found.complete_steps is not None
    assert found.complete_steps >= 4
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_a_second_interruption_does_not_wait(tmp_path: Path) -> None:
    """Where snapshots are kept engines are given time to write one."""
    shelf = Shelf(path=tmp_path / "kept", binding=Binding(version="1", sequence_sha256=""))
    model = model_of(counters(7, 9))
    after(1.5, press(os.getpid()))
    after(2.5, press(os.getpid()))
    began = time.monotonic()
    with pytest.raises(KeyboardInterrupt):
        planner(fakes.is_deaf, fakes.is_deaf).explore(model, (), NO_LIMITS, silent, Extras(keeper=FileKeeper(shelf, ())))
    assert time.monotonic() - began < 3.2


def test_progress_comes_from_the_engine_that_has_found_most() -> None:
    heard: list[Progress] = []
    planner(fakes.hangs, fakes.answers_late).explore(LARGE, (), NO_LIMITS, heard.append)
    states = [progress.states for progress in heard]
    far = states.index(10**12)
    assert set(states[far:]) == {10**12}


def test_one_engine_alone_in_a_process_of_its_own() -> None:
    alone = Alone("symbolic", planner(fakes.answers).find).explore(LARGE, (), NO_LIMITS, silent)
    assert alone == replace(PlainEngine().explore(LARGE, (), NO_LIMITS, silent), engine="symbolic")
    with pytest.raises(Unfit, match="its numbers are too wide"):
        Alone("symbolic", planner(fakes.is_unfit).find).explore(LARGE, (), NO_LIMITS, silent)
    cut = Alone("symbolic", planner(fakes.is_deaf).find).explore(LARGE, (), Limits(seconds=0.5), silent)
    assert (cut.stopped, cut.engine, cut.complete_steps, cut.states) == (Stop.SECONDS, "symbolic", -1, 0)


def test_what_is_asked_besides_is_passed_on() -> None:
    found = planner(fakes.answers, fakes.hangs).explore(LARGE, (), NO_LIMITS, silent, Extras(evidence=True))
    assert found.evidence == PlainEngine().explore(LARGE, (), NO_LIMITS, silent, Extras(evidence=True)).evidence


def test_by_spawn_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where forks are not to be had: everything must come through a pipe."""
    import multiprocessing

    monkeypatch.setattr(child, "starting", lambda: multiprocessing.get_context("spawn"))
    found = planner(fakes.answers, fakes.hangs).explore(LARGE, (), NO_LIMITS, silent)
    assert found.states == 104976
    assert found.engine in {"symbolic", "packed"}


def test_no_fork_beside_another_thread() -> None:
    done = threading.Event()
    other = threading.Thread(target=done.wait)
    other.start()
    try:
        assert child.starting().get_start_method() == "spawn"
    finally:
        done.set()
        other.join()


def test_processes_end_with_the_one_that_started_them() -> None:
    """Even if that one is killed and can end nobody."""
    told = (
        "from tests.search.planner import fakes, test_planner as t\n"
        "fakes.planner(fakes.is_deaf, fakes.is_deaf).explore(t.model_of(t.counters(7, 9)), (), t.NO_LIMITS, t.silent)\n"
    )
    with subprocess.Popen([sys.executable, "-c", told]) as running:
        root = psutil.Process(running.pid)
        deadline = time.monotonic() + 20
        while len(children := root.children(recursive=True)) < 2 and time.monotonic() < deadline:
            time.sleep(0.05)
        assert len(children) == 2
        running.kill()
    gone, alive = psutil.wait_procs(children, timeout=5)
    assert (len(gone), alive) == (2, [])


def test_how_large_a_machine_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """With many bits of state the second engine begins beside the trial; what it is asked is the same."""
    monkeypatch.setattr(trial, "FEW_BITS", 4)
    found = planner(fakes.answers, fakes.hangs).explore(LARGE, (), NO_LIMITS, silent)
    assert (found.engine, found.states) == ("symbolic", 104976)


def test_an_engine_must_not_take_all_memory_there_is() -> None:
    """Where nobody has limited it, `packed` stops at a part of this computer's memory."""
    entry = next(entry for entry in ENTRIES if entry.engine == "packed")
    limited = limits_of(Limits(), entry)
    whole = memory_of_this_computer_mb()
    assert whole is not None
    assert limited.memory_mb is not None
    assert 0.5 * whole < limited.memory_mb < whole
    assert limits_of(Limits(memory_mb=100), entry) == Limits(memory_mb=100)


def test_packed_waits_on_very_wide_machines() -> None:
    """It begins there only when nobody else is left, or with its own snapshot."""
    wide = {entry.engine: entry.after_s for entry in entries_of(NAMES, (), wide=True)}
    narrow = {entry.engine: entry.after_s for entry in entries_of(NAMES, (), wide=False)}
    assert wide["packed"] == float("inf")
    assert narrow["packed"] == 1.0
    assert {entry.engine: entry.after_s for entry in entries_of(NAMES, ("packed",), wide=True)}["packed"] == 0.0


def test_a_steady_planner_asks_one_after_the_other() -> None:
    """Whose runs are shown hangs on the machine, not on who is quicker: here `plain` would be."""
    steady = replace(planner(fakes.answers_soon), steady=True)
    assert steady.explore(SMALL, (), NO_LIMITS, silent).engine == "plain"
    assert steady.explore(MIDDLING, (), NO_LIMITS, silent).engine == "plain"
    assert steady.explore(LARGE, (), NO_LIMITS, silent).engine == "symbolic"


def test_a_steady_planner_keeps_the_limits_and_has_others_to_ask() -> None:
    began = time.monotonic()
    found = replace(planner(fakes.hangs), steady=True).explore(LARGE, (), Limits(seconds=1.0), silent)
    assert found.stopped is Stop.SECONDS
    assert 0.6 < time.monotonic() - began < 1.0 + BUSY_S
    assert replace(planner(fakes.is_unfit), steady=True).explore(LARGE, (), NO_LIMITS, silent).engine == "plain"
