"""`seqcheck faults`: exit codes, results as they come, JSON, what is kept, Ctrl-C, a cluster that is not there."""

import os
import signal
import subprocess
import time
from pathlib import Path

import pytest

from tests.analyse.faults.press import DERIVED, OWN
from tests.cli.calling import FAULTY, HOLDS, REFUSED, call, command, counters, listed, process, put, told

SLOW = counters(6, 7) + "faults: {derive: [sensors, outputs], " + ", ".join(
    f"slips {n}: {{if: c0 = {n}, then: {{c1: 0}}}}" for n in range(8)
) + "}\n"  # fmt: skip
"""262,144 states, with each of 36 sets of up to two faults up to four times as many."""


@pytest.mark.parametrize(
    ("text", "options", "code"),
    [
        (HOLDS, (), 0),
        (OWN, (), 1),
        (OWN, ("--up-to", "0"), 1),
        (FAULTY, ("--up-to", "0"), 0),
        (FAULTY, (), 1),
        (FAULTY, ("--up-to", "0", "--max-states", "1", "--engine", "plain"), 3),
        (FAULTY, ("--max-seconds", "0"), 3),
        (REFUSED, (), 2),
        (FAULTY, ("--up-to", "-1"), 2),
        (FAULTY, ("--engine", "none"), 2),
        (FAULTY, ("--workers", "0"), 2),
        (FAULTY, ("--workers", "2", "--cluster", "here:1"), 2),
    ],
)
def test_exit_codes(tmp_path: Path, text: str, options: tuple[str, ...], code: int) -> None:
    (file,) = put(tmp_path, machine=text)
    answer = call("faults", file, *options)
    assert answer.exit_code == code, answer.stderr
    assert "Traceback" not in answer.stderr


def test_what_is_found_is_told_before_the_report(tmp_path: Path) -> None:
    (file,) = put(tmp_path, own=OWN)
    answer = call("faults", file, "--no-runs")
    first = answer.stdout.split("\n\n")[0].splitlines()
    assert first[0] == "R2 is broken with no fault   [3 steps, 1 s]"
    assert "H1 is reached with “gate switch stuck shut”   [5 steps, 1 s]" in first
    assert "What reaches what" in answer.stdout
    assert "A fault occurs" not in answer.stdout
    assert "A fault occurs" in call("faults", file).stdout


def test_json_goes_where_it_is_told(tmp_path: Path) -> None:
    (file,) = put(tmp_path, own=OWN)
    at = tmp_path / "answer.json"
    printed = call("faults", file, "--json", "-")
    assert call("faults", file, "--json", str(at)).exit_code == 1
    data = told(printed.stdout)
    assert told(at.read_text(encoding="utf-8")) == data
    assert "What reaches what" in printed.stderr
    results = {row["id"]: row for row in listed(data, "results")}
    assert (data["complete"], results["H1"]["kind"]) == (True, "hazard")
    assert results["H1"]["minimal_fault_sets"] == [["gate switch stuck shut"], ["drive fails to stop"]]


def test_a_refused_file_gives_its_diagnostics_as_json(tmp_path: Path) -> None:
    (file,) = put(tmp_path, refused=REFUSED)
    answer = call("faults", file, "--json", "-")
    assert (answer.exit_code, [row["code"] for row in listed(told(answer.stdout), "diagnostics")]) == (2, ["E301"])
    assert "refused, 1 error" in answer.stderr


def test_every_run_can_be_played(tmp_path: Path) -> None:
    (file,) = put(tmp_path, own=OWN)
    at = tmp_path / "answer.json"
    call("faults", file, "--json", str(at))
    for result in ("H1", "R4", "R6", "not noticed: gate switch stuck shut"):
        assert call("simulate", file, "--play", str(at), "--result", result).exit_code == 0
    assert "HAZARD H1" in call("simulate", file, "--play", str(at), "--result", "H1").stdout


def test_it_never_writes_over_the_file(tmp_path: Path) -> None:
    (file,) = put(tmp_path, own=OWN)
    assert call("faults", file, "--resume", file).exit_code == 2
    assert call("faults", file, "--json", file).exit_code == 2
    assert Path(file).read_text(encoding="utf-8") == OWN


def test_a_campaign_that_was_kept_is_taken_up_again(tmp_path: Path) -> None:
    (file,) = put(tmp_path, derived=DERIVED)
    kept = tmp_path / "kept"
    first = call("faults", file, "--resume", str(kept), "--no-runs", "--json", "-")
    content = kept.read_bytes()
    again = call("faults", file, "--resume", str(kept), "--no-runs", "--json", "-")
    assert told(again.stdout) == told(first.stdout)
    assert kept.read_bytes() == content
    (other,) = put(tmp_path, other=OWN)
    refused = call("faults", other, "--resume", str(kept))
    assert refused.exit_code == 2
    assert f"{kept} was left as it was; it keeps nothing of {other}: it is about another file" in refused.stderr


@pytest.mark.parametrize("at", ["no folder/kept", "."])
def test_what_cannot_be_kept_is_said(tmp_path: Path, at: str) -> None:
    (file,) = put(tmp_path, own=OWN)
    answer = call("faults", file, "--resume", str(tmp_path / at))
    assert answer.exit_code == 2
    assert "cannot keep what is found" in answer.stderr


def test_without_a_look_nothing_is_called_unreached(tmp_path: Path) -> None:
    called = call("faults", *put(tmp_path, faulty=FAULTY), "--max-seconds", "0")
    assert called.exit_code == 3
    assert "Neither reached" not in called.stdout


def test_ctrl_c_tells_what_was_covered_and_keeps_it(tmp_path: Path) -> None:
    (file,) = put(tmp_path, slow=SLOW)
    kept = tmp_path / "kept"
    options = ("faults", file, "--up-to", "2", "--engine", "plain", "--workers", "2", "--resume", str(kept), "--no-runs")
    with subprocess.Popen(
        command(*options), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as running:
        ends = time.monotonic() + 40
        while not (kept.exists() and kept.read_bytes().count(b"\n") > 1):
            assert time.monotonic() < ends
            time.sleep(0.05)
        os.killpg(running.pid, signal.SIGINT)
        said, aside = running.communicate(timeout=20)
    assert running.returncode == 3, aside
    assert "the study ended early at an interruption from the keyboard; what it did not look at is not known" in said
    assert f"what was found is kept in {kept}: the same command takes it up again" in aside
    assert "Traceback" not in aside


def test_a_cluster_that_is_not_there(tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    (file,) = put(tmp_path, own=OWN)
    began = time.monotonic()
    answer = process("faults", file, "--cluster", "127.0.0.1:1")
    assert answer.returncode == 2
    assert "Error: there is no cluster at 127.0.0.1:1: " in answer.stderr
    assert "Traceback" not in answer.stderr
    assert time.monotonic() - began < 15
