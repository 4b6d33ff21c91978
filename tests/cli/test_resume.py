"""`--resume`: a search that was stopped or killed is taken up again by the same command and answers the same."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from seqcheck.report.json_form import Json
from tests.benchmarks.lines import lines
from tests.cli.calling import FAULTY, HOLDS, call, counters, listed, put, told

MANY = counters(5, 8) + "faults: {slips: {if: c0 = 8, then: {c1: 0}}}\n"
"""59,049 states, twice as many with the fault."""

PLAIN = ("--engine", "plain", "--faults", "1")


def bare(data: dict[str, Json]) -> dict[str, Json]:
    """Return a result without what every call has of its own: how long it took."""
    timeless = {key: value for key, value in data.items() if key not in {"seconds", "seconds_before", "cases"}}
    return timeless | {"cases": [bare(case) for case in listed(data, "cases")]} if "cases" in data else timeless


def test_a_search_that_came_to_a_limit_goes_on(tmp_path: Path) -> None:
    (file,) = put(tmp_path, many=MANY)
    kept = tmp_path / "kept"
    first = call("verify", file, *PLAIN, "--resume", str(kept), "--max-states", "20000", "--json", "-")
    assert first.exit_code == 1
    assert f"the search is kept in {kept}: the same command takes it up again\n" in first.stderr
    assert told(first.stdout)["complete"] is False
    again = call("verify", file, *PLAIN, "--resume", str(kept), "--json", "-")
    assert "the search was taken up again: " in again.stderr
    assert told(again.stdout)["seconds_before"] != 0
    assert bare(told(again.stdout)) == bare(told(call("verify", file, *PLAIN, "--json", "-").stdout))
    assert not kept.exists()
    assert {path.name for path in tmp_path.iterdir()} == {"many.yaml"}


def test_it_may_be_stopped_many_times(tmp_path: Path) -> None:
    (file,) = put(tmp_path, many=MANY)
    kept, calls = tmp_path / "kept", 0
    while True:
        calls += 1
        more = ("--max-states", str(13000 * calls))
        answer = call("verify", file, *PLAIN, "--resume", str(kept), *more, "--json", "-")
        if all(case["complete"] for case in listed(told(answer.stdout), "cases")):
            break
        assert kept.exists()
    assert calls == 10
    assert bare(told(answer.stdout)) == bare(told(call("verify", file, *PLAIN, "--json", "-").stdout))


OFTEN = """
import sys
from seqcheck.search.planner import keeping
keeping.EVERY_S = 0.05
from seqcheck.cli.main import main
sys.argv = ["seqcheck", *sys.argv[1:]]
main()
"""
"""Snapshots more often than a user would wait for in a test."""


def often(*arguments: str) -> list[str]:
    return [sys.executable, "-c", OFTEN, "verify", *arguments]


def ended_again_and_again(kept: Path, end: signal.Signals, *arguments: str) -> int:
    """Begin a search three times, end it soon after a snapshot was written, and return how often it was ended."""
    ended = 0
    for _ in range(3):
        before = kept.stat().st_mtime_ns if kept.exists() else 0
        with subprocess.Popen(
            often(*arguments, "--resume", str(kept)), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        ) as running:
            while running.poll() is None and (not kept.exists() or kept.stat().st_mtime_ns == before):
                time.sleep(0.01)
            time.sleep(0.03)
            if running.poll() is None:
                os.kill(running.pid, end)
                ended += 1
        if not kept.exists():
            break
    return ended


@pytest.mark.skipif(sys.platform == "win32", reason="there is no such signal")
@pytest.mark.parametrize("end", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT])
def test_it_goes_on_after_a_kill(end: signal.Signals, tmp_path: Path) -> None:
    """Killed again and again, each time a while after a snapshot was written."""
    (file,) = put(tmp_path, many=MANY.replace("0..8", "0..9").replace("MOD 9", "MOD 10"))
    kept = tmp_path / "kept"
    assert ended_again_and_again(kept, end, file, *PLAIN) > 0
    whole = bare(told(call("verify", file, *PLAIN, "--json", "-").stdout))
    again = call("verify", file, *PLAIN, "--resume", str(kept), "--json", "-")
    assert bare(told(again.stdout)) == whole
    assert {path.name for path in tmp_path.iterdir()} == {"many.yaml"}


@pytest.mark.skipif(sys.platform == "win32", reason="there is no such signal")
def test_sets_of_states_go_on_after_a_kill(tmp_path: Path) -> None:
    """The process that searches is another than the one that is killed."""
    (file,) = put(tmp_path, three=lines(3))
    kept, symbolic = tmp_path / "kept", ("--engine", "symbolic")
    assert ended_again_and_again(kept, signal.SIGKILL, file, *symbolic) > 1
    assert kept.exists()
    again = call("verify", file, *symbolic, "--resume", str(kept), "--json", "-")
    assert "the search was taken up again: " in again.stderr
    assert told(again.stdout)["states"] == 15_323_829_729
    assert bare(told(again.stdout)) == bare(told(call("verify", file, *symbolic, "--json", "-").stdout))
    assert {path.name for path in tmp_path.iterdir()} == {"three.yaml"}


@pytest.mark.parametrize("kind", ["another sequence", "another revision", "no snapshot", "a damaged one"])
def test_what_is_something_else_is_refused_and_left_as_it_is(kind: str, tmp_path: Path) -> None:
    file, other = put(tmp_path, many=MANY, other=HOLDS)
    kept = tmp_path / "kept"
    call("verify", file, *PLAIN, "--resume", str(kept), "--max-states", "1000")
    asked, said = file, ""
    if kind == "another sequence":
        asked, said = other, "it belongs to another sequence file, or to another revision of this one"
    elif kind == "another revision":
        Path(file).write_text(MANY + "# changed\n", encoding="utf-8")
        said = "it belongs to another sequence file, or to another revision of this one"
    elif kind == "no snapshot":
        kept.write_text("my notes\n", encoding="utf-8")
        said = "it is no file of snapshots"
    else:
        kept.write_bytes(kept.read_bytes()[:-100] + b"x" + kept.read_bytes()[-99:])
        said = "it is damaged"
    before = kept.read_bytes()
    refused = call("verify", asked, *PLAIN, "--resume", str(kept))
    assert refused.exit_code == 2
    assert f"{kept} was left as it is; it keeps no search of {asked}: {said}" in refused.stderr
    assert refused.stdout == ""
    assert kept.read_bytes() == before


def test_a_quick_search_leaves_nothing(tmp_path: Path) -> None:
    (file,) = put(tmp_path, faulty=FAULTY)
    answer = call("verify", file, "--faults", "2", "--resume", str(tmp_path / "kept"))
    assert answer.exit_code == 1
    assert {path.name for path in tmp_path.iterdir()} == {"faulty.yaml"}


@pytest.mark.parametrize("path", ["absent/kept", "."])
def test_where_nothing_can_be_kept_that_is_said_at_once(path: str, tmp_path: Path) -> None:
    (file,) = put(tmp_path, holds=HOLDS)
    refused = call("verify", file, "--resume", str(tmp_path / path))
    assert refused.exit_code == 2
    assert f"cannot keep snapshots in {tmp_path / path}" in refused.stderr


def test_results_are_never_written_over_each_other(tmp_path: Path) -> None:
    file, other = put(tmp_path, holds=HOLDS, other=HOLDS)
    assert "it would be written over" in call("verify", file, "--resume", file).stderr
    out = str(tmp_path / "out")
    refused = call("verify", file, "--json", out, "--resume", out)
    assert (refused.exit_code, "is what --json writes" in refused.stderr) == (2, True)
    refused = call("verify", file, other, "--resume", out)
    assert (refused.exit_code, "it goes with one sequence file" in refused.stderr) == (2, True)
    assert Path(file).read_text(encoding="utf-8") == HOLDS
