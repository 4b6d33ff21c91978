"""Work shared out among processes: each piece is done once; what gets lost is done here, or said to be lost."""

import os
import signal
import subprocess
import sys
import time

import psutil
import pytest

from seqcheck.search.planner.sharing import Piece, Sharing

FORKS = sys.platform == "linux" and len(os.sched_getaffinity(0)) > 1
needs_a_fork = pytest.mark.skipif(not FORKS, reason="no second processor, or no fork")

OPENING = """
import os, signal, sys, time
from seqcheck.search.limits import Interruption
from seqcheck.search.planner.sharing import Piece, Sharing
me = os.getpid()
os.sched_getaffinity = lambda _: {0, 1}
def forever(): return None
def until_noted():
    with Interruption() as it:
        while not it.noted: time.sleep(0.01)
    return 'noted'
"""


def said(script: str) -> str:
    """Return what a script prints that runs in a process of its own, in which there is no other thread."""
    done = subprocess.run([sys.executable, "-c", OPENING + script], capture_output=True, text=True, check=False, timeout=30)
    return done.stdout + done.stderr


@needs_a_fork
def test_every_piece_is_done_once_and_some_elsewhere() -> None:
    script = """
pieces = [Piece(lambda n=n: (n, os.getpid() != me), lambda n=n: (n, False)) for n in range(40)]
with Sharing(pieces) as sharing:
    time.sleep(0.3)
    sharing.finish(forever)
print([piece.answer[0] for piece in pieces] == list(range(40)), any(piece.answer[1] for piece in pieces))
"""
    assert said(script) == "True True\n"


@needs_a_fork
def test_long_answers_do_not_hold_up_the_next_piece() -> None:
    script = """
pieces = [Piece(lambda: b'x' * 10**6, lambda: b'') for n in range(5)]
with Sharing(pieces) as sharing:
    time.sleep(1.0)
    sharing.finish(forever)
print([len(piece.answer) for piece in pieces])
"""
    assert said(script) == f"{[10**6] * 5}\n"


@needs_a_fork
def test_what_is_raised_there_is_raised_here() -> None:
    script = """
try:
    with Sharing([Piece(lambda: 1 // 0, lambda: me)]) as sharing:
        time.sleep(0.3)
        sharing.finish(forever)
except ZeroDivisionError as error: print('raised', 'Traceback' in error.__notes__[0])
"""
    assert said(script) == "raised True\n"


@needs_a_fork
def test_what_a_process_had_begun_that_died_is_done_here() -> None:
    script = """
pieces = [Piece(lambda: os.kill(os.getpid(), signal.SIGKILL), lambda: 'here'), Piece(lambda: 'there', lambda: 'here')]
with Sharing(pieces) as sharing:
    time.sleep(0.3)
    sharing.finish(forever)
print([piece.answer for piece in pieces])
"""
    assert said(script) == "['here', 'here']\n"


@needs_a_fork
def test_what_comes_to_no_end_in_time_is_lost() -> None:
    script = """
pieces = [Piece(lambda: time.sleep(60), lambda: 'here'), Piece(lambda: 'there', lambda: 'here')]
with Sharing(pieces) as sharing:
    time.sleep(0.3)
    sharing.finish(lambda: 0.0)
print([(piece.answer, piece.lost) for piece in pieces])
"""
    began = time.monotonic()
    assert said(script) == "[(None, True), ('here', False)]\n"
    assert time.monotonic() - began < 15


@needs_a_fork
def test_an_interruption_is_passed_on() -> None:
    script = """
with Sharing([Piece(until_noted, until_noted)] * 1) as sharing:
    time.sleep(0.3)
    print('ready', flush=True)
    sharing.finish(forever)
    print(sharing._pieces[0].answer)
"""
    process = subprocess.Popen([sys.executable, "-c", OPENING + script], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    time.sleep(0.2)
    process.send_signal(signal.SIGINT)
    rest, _ = process.communicate(timeout=20)
    assert (rest, process.returncode) == ("noted\n", 0)


@needs_a_fork
def test_the_processes_end_with_the_one_that_began_them() -> None:
    script = "with Sharing([Piece(lambda: time.sleep(60), lambda: me)]):\n    print('ready', flush=True)\n    time.sleep(60)"
    process = subprocess.Popen([sys.executable, "-c", OPENING + script], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    (child,) = psutil.Process(process.pid).children()
    process.kill()
    process.communicate(timeout=20)
    child.wait(timeout=20)


def test_one_processor_does_all_here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0})
    pieces = [Piece(os.getppid, os.getpid) for _ in range(3)]
    with Sharing(pieces) as sharing:
        sharing.finish(lambda: None)
    assert [piece.answer for piece in pieces] == [os.getpid()] * 3
