"""A question answered beside: in a process of its own where that can be, with the same answer where it can't."""

import os
import signal
import subprocess
import sys
import time

import psutil
import pytest

from seqcheck.search.planner.beside import Beside

FORKS = sys.platform == "linux" and len(os.sched_getaffinity(0)) > 1
needs_a_fork = pytest.mark.skipif(not FORKS, reason="no second processor, or no fork")

OPENING = """
import os, signal, sys, time
from seqcheck.search.limits import Interruption
from seqcheck.search.planner.beside import Beside
me = os.getpid()
"""


def said(script: str) -> str:
    """Return what a script prints that runs in a process of its own, in which there is no other thread."""
    done = subprocess.run([sys.executable, "-c", OPENING + script], capture_output=True, text=True, check=False, timeout=30)
    return done.stdout + done.stderr


@needs_a_fork
def test_the_answer_comes_from_another_process() -> None:
    script = "with Beside(lambda: os.getpid(), lambda: me) as one:\n    print(one.answer() != me)"
    assert said(script) == "True\n"


@needs_a_fork
def test_what_is_raised_there_is_raised_here() -> None:
    script = "try:\n    with Beside(lambda: 1 // 0, lambda: me) as one: one.answer()\nexcept ZeroDivisionError: print('raised')"
    assert said(script) == "raised\n"


@needs_a_fork
def test_a_process_that_died_is_replaced() -> None:
    script = "with Beside(lambda: os.kill(os.getpid(), signal.SIGKILL), lambda: 'here') as one:\n    print(one.answer())"
    assert said(script) == "here\n"


@needs_a_fork
def test_nothing_is_left_where_nobody_asks() -> None:
    script = "with Beside(lambda: time.sleep(20), lambda: me) as one: pass\nprint('over')"
    began = time.monotonic()
    assert said(script) == "over\n"
    assert time.monotonic() - began < 10


@needs_a_fork
def test_an_interruption_is_passed_on() -> None:
    waits = "def work():\n    with Interruption() as it:\n        while not it.noted: time.sleep(0.01)\n    return 'noted'\n"
    script = f"{waits}with Beside(work, work) as one:\n    print('ready', flush=True)\n    print(one.answer())"
    process = subprocess.Popen([sys.executable, "-c", OPENING + script], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    time.sleep(0.2)
    process.send_signal(signal.SIGINT)
    rest, _ = process.communicate(timeout=20)
    assert (rest, process.returncode) == ("noted\n", 0)


@needs_a_fork
def test_the_process_ends_with_the_one_that_began_it() -> None:
    script = "with Beside(lambda: time.sleep(60), lambda: me) as one:\n    print('ready', flush=True)\n    one.answer()"
    process = subprocess.Popen([sys.executable, "-c", OPENING + script], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    (child,) = psutil.Process(process.pid).children()
    process.kill()
    process.communicate(timeout=20)
    child.wait(timeout=20)


def test_where_no_fork_is_sound_it_is_answered_here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0})
    with Beside(os.getppid, os.getpid) as one:
        assert one.answer() == os.getpid()
