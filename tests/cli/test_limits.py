"""Limits, interruption and progress: what was covered is said, and nothing is guessed."""

import os
import pty
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest

from seqcheck.cli import main as entry
from seqcheck.cli import progress
from seqcheck.search.engine import Progress, Stop
from tests.cli.calling import VIOLATED, call, command, counters, listed, mixer, put, told

PLAIN = ("--engine", "plain")
MILLIONS = counters(7, 9).replace("c0 = 1}", "c0 = 9 AND c1 = 9 AND c2 = 9}")


@pytest.mark.parametrize(
    ("option", "said"),
    [
        (("--max-states", "50"), "the limit on states"),
        (("--max-seconds", "0"), "the limit on time"),
        (("--max-seconds", "0.3"), "the limit on time"),
        (("--max-memory", "1"), Stop.MEMORY.value),
    ],
)
def test_a_limit_leaves_undecided_what_was_not_seen(option: tuple[str, str], said: str, tmp_path: Path) -> None:
    result = call("verify", *put(tmp_path, many=MILLIONS), *option, *PLAIN)
    assert result.exit_code == 3
    assert re.search(r"the search ended early at .*: .* what is beyond is not known", result.stdout)
    (line,) = [line for line in result.stdout.splitlines() if " far " in line]
    assert line.startswith("  undecided  far ")
    assert line.endswith(f"[the search ended at {said}]")
    assert "every reachable state was visited" not in result.stdout


def test_the_limit_on_states_is_kept_to_within_the_successors_of_one_state(tmp_path: Path) -> None:
    (file,) = put(tmp_path, many=MILLIONS)
    for most in (1, 10, 100, 5000):
        states = told(call("verify", file, "--json", "-", "--max-states", str(most)).stdout)["states"]
        assert isinstance(states, int)
        assert most <= states <= most + 7


def test_a_limit_that_is_not_reached_changes_nothing(tmp_path: Path) -> None:
    (file,) = put(tmp_path, violated=VIOLATED)
    limited = call("verify", file, "--max-states", "1000", "--max-seconds", "100", "--max-memory", "100000")
    assert limited.exit_code == 1
    assert "every reachable state was visited" in limited.stdout


def test_what_was_covered_is_true(tmp_path: Path) -> None:
    """Every state that needs no more steps than said was judged: the hazard there would have been found."""
    (file,) = put(tmp_path, many=counters(3, 9))
    for most in (20, 60, 200, 600):
        data = told(call("verify", file, "--json", "-", "--max-states", str(most)).stdout)
        covered = data["complete_steps"]
        assert isinstance(covered, int)
        deep = counters(3, 9).replace("c0 = 1", f"c0 + c1 + c2 = {covered}")
        (other,) = put(tmp_path, deep=deep)
        results = listed(told(call("verify", other, "--json", "-", "--max-states", str(most)).stdout), "results")
        assert results[0]["verdict"] == "violated"


@pytest.mark.parametrize("option", ["--max-states", "--max-seconds", "--max-memory", "--faults"])
@pytest.mark.parametrize("value", ["-1", "x", ""])
def test_a_limit_that_is_none_is_refused(option: str, value: str, tmp_path: Path) -> None:
    result = call("verify", *put(tmp_path, violated=VIOLATED), option, value)
    assert result.exit_code == 2
    assert option in result.stderr


def interrupted(file: str, *options: str) -> tuple[int, str, str]:
    """Interrupt a search once it has begun; return exit code, standard output and standard error."""
    with subprocess.Popen(
        command("verify", file, *options), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, bufsize=1
    ) as running:
        assert running.stderr is not None
        first = running.stderr.readline()
        running.send_signal(signal.SIGINT)
        said, aside = running.communicate(timeout=60)
    return running.returncode, said, first + aside


def test_an_interruption_says_what_was_covered_and_what_was_not_begun(tmp_path: Path) -> None:
    """The first line on standard error is the progress, after a second: the search has begun."""
    text = MILLIONS + "faults: {slips: {then: {c0: 0}}}\n"
    code, said, aside = interrupted(*put(tmp_path, many=text), "--faults", "1", *PLAIN)
    assert code == 3
    assert re.search(r"many.yaml: [\d,]{5,} states, [\d,]{5,} transitions, \d+ steps deep, [\d,]+ states waiting", aside)
    assert re.search(
        r"the search ended early at an interruption from the keyboard: every run of up to \d+ steps was searched", said
    )
    assert "[the search ended at an interruption from the keyboard]" in said
    assert "Interrupted before this was begun: with the fault slips" in said
    assert "Traceback" not in aside
    assert "\x1b[" not in said + aside
    assert "states waiting" not in said


@pytest.mark.parametrize("to_all", [False, True])
def test_an_interruption_reaches_engines_in_processes_of_their_own(to_all: bool, tmp_path: Path) -> None:
    """A terminal tells every process of the group; `kill` only the one."""
    (file,) = put(tmp_path, mixer=mixer(9, 13))
    with subprocess.Popen(
        command("verify", file), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as running:
        root = psutil.Process(running.pid)
        deadline = time.monotonic() + 20
        while not (children := root.children(recursive=True)) and time.monotonic() < deadline:
            time.sleep(0.02)
        time.sleep(0.8)
        os.killpg(running.pid, signal.SIGINT) if to_all else running.send_signal(signal.SIGINT)
        began = time.monotonic()
        said, aside = running.communicate(timeout=60)
    assert time.monotonic() - began < 5
    assert running.returncode == 1
    assert re.search(r"the search ended early at an interruption from the keyboard: every run of up to \d+ steps", said)
    assert "Traceback" not in aside
    gone, alive = psutil.wait_procs(children, timeout=5)
    assert gone
    assert alive == []


def test_an_interruption_before_any_search_is_no_verdict(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupt(_context: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(entry.group, "invoke", interrupt)
    result = call("verify", "x.yaml")
    assert result.exit_code == 3
    assert result.stderr == "seqcheck: interrupted before there was a verdict\n"


class Clock:
    """A clock that tests move."""

    def __init__(self) -> None:
        self.now = 100.0

    def monotonic(self) -> float:
        return self.now


def test_progress_begins_after_a_second_and_does_not_flood_a_pipe(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    clock = Clock()
    monkeypatch.setattr(progress, "time", clock)
    line = progress.ProgressLine("press.yaml with slips")
    shown = []
    for _ in range(250):
        clock.now += 0.125
        line(Progress(states=12345, transitions=67890, layer=7, waiting=1000))
        shown.append(capsys.readouterr())
    line.clear()
    spoken = [number for number, each in enumerate(shown) if each.err]
    assert spoken == [7, 87, 167, 247]
    assert shown[spoken[0]].err == (
        "press.yaml with slips: 12,345 states, 67,890 transitions, 7 steps deep, 1,000 states waiting (Ctrl-C stops)\n"
    )
    assert capsys.readouterr().err == ""
    assert all(each.out == "" for each in shown)


@pytest.mark.parametrize(
    ("far", "said"),
    [
        (Progress(states=12, transitions=0, layer=3, waiting=0), "12 states, 3 steps deep"),
        (Progress(states=999_999_999_999, transitions=0, layer=0, waiting=5), "999,999,999,999 states, 5 states waiting"),
        (Progress(states=5_310_000_000_000, transitions=0, layer=0, waiting=0), "5.3·10^12 states"),
        (Progress(states=10**350, transitions=7, layer=0, waiting=0), "1.0·10^350 states, 7 transitions"),
        (Progress(states=0, transitions=0, layer=0, waiting=0), "searching"),
    ],
)
def test_progress_leaves_out_what_is_not_known(far: Progress, said: str) -> None:
    """An engine that searches sets of states counts no transitions on the way, and nothing waits."""
    assert ", ".join(progress.known(far)) == said


def test_a_quick_search_shows_no_progress(tmp_path: Path) -> None:
    result = call("verify", *put(tmp_path, violated=VIOLATED))
    assert result.stderr == ""


def on_a_terminal(*arguments: str) -> str:
    """Run the tool with a terminal as its output; return all that it writes."""
    parent, child = pty.openpty()
    environment = {key: value for key, value in os.environ.items() if key != "NO_COLOR"} | {"TERM": "xterm"}
    with subprocess.Popen(command(*arguments), stdin=child, stdout=child, stderr=child, env=environment) as running:
        os.close(child)
        pieces = []
        while True:
            try:
                piece = os.read(parent, 65536)
            except OSError:
                break
            if not piece:
                break
            pieces.append(piece)
        running.wait(timeout=60)
    os.close(parent)
    return b"".join(pieces).decode()


@pytest.mark.skipif(sys.platform == "win32", reason="there are no pseudo-terminals")
def test_a_terminal_has_colour_and_says_the_same_in_words(tmp_path: Path) -> None:
    (file,) = put(tmp_path, violated=VIOLATED)
    painted = on_a_terminal("verify", file)
    assert "\x1b[31m" in painted
    bare = re.sub(r"\x1b\[[0-9;]*m", "", painted).replace("\r\n", "\n")
    elapsed = re.compile(r"in \d+\.\d\d s")
    assert elapsed.sub("", bare) == elapsed.sub("", call("verify", file).stdout)


def test_no_colour_in_pipes(tmp_path: Path) -> None:
    (file,) = put(tmp_path, violated=VIOLATED)
    done = subprocess.run(
        command("verify", file), capture_output=True, text=True, check=False, env={**os.environ, "TERM": "xterm"}
    )
    assert "\x1b" not in done.stdout + done.stderr
    assert done.returncode == 1


def test_on_a_terminal_the_line_of_progress_is_written_over_and_wiped(tmp_path: Path) -> None:
    began = time.monotonic()
    shown = on_a_terminal("verify", *put(tmp_path, many=MILLIONS), "--max-seconds", "1.5", *PLAIN)
    assert time.monotonic() - began < 20
    lines = [part for part in shown.split("\r") if "states waiting" in part]
    assert len(lines) >= 2
    assert all("\n" not in line for line in lines)
    wiped = shown[shown.rindex("states waiting") :].split("\r")[1]
    assert wiped.strip(" ") == ""
