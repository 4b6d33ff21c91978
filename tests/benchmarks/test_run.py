"""The benchmark as a program: it measures, notes what does not answer, and tells when the ratios do not count."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.benchmarks import c_rival, contestants, measuring
from tests.benchmarks.cases import CASES, Case
from tests.benchmarks.contestants import Row, Setting, engines, in_short, raced
from tests.benchmarks.measuring import Bounds, measured
from tests.benchmarks.table import HEAD, counted, remarks, table
from tests.outside import puzzles

WIDE = Bounds(seconds=60, memory_mb=4000)
BY_NAME = {case.name: case for case in CASES}


def rows_of(text: str) -> dict[str, dict[str, str]]:
    """Return the lines of the table by their engine."""
    lines = [line for line in text.splitlines() if line.startswith("|")]
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]
    return {line[1]: dict(zip(HEAD, line, strict=True)) for line in cells[2:]}


def test_a_quick_run_prints_a_table() -> None:
    chosen = ["--quick", "--case", "lines-1-mistake", "--contestant", "plain", "--contestant", "C", "--contestant", "C-blocks"]
    done = subprocess.run([sys.executable, "-m", "tests.benchmarks", *chosen], capture_output=True, text=True, check=True)
    rows = rows_of(done.stdout)
    assert list(rows) == ["plain", "C", "C-blocks"]
    assert (rows["plain"]["states"], rows["plain"]["verdicts"]) == ("11,065", "open_turning1 in 11 steps, 7 hold")
    assert float(rows["plain"]["seconds"]) > 0
    assert float(rows["plain"]["peak MB"].replace(",", "")) > 10
    if c_rival.compiler() is None:
        assert rows["C"]["note"] == "not tried: there is no gcc"
        return
    assert (rows["C"]["states"], rows["C"]["x C"]) == ("2,097", "1")
    assert rows["C"]["verdicts"] == "open_turning1 in 11 steps, 5 hazards not met"
    assert float(rows["plain"]["x C"]) > 1


def test_a_contestant_nobody_knows_is_refused() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks", "--contestant", "abacus"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert "abacus; known are" in done.stderr


def test_networkx_answers_as_the_others_do(tmp_path: Path) -> None:
    case = Case(name="ferry", write=lambda: puzzles.wolf_goat_cabbage(careful=False), states=16)
    row = raced(case, "networkx", Setting(repeats=1, bounds=WIDE, folder=tmp_path))
    assert (row.states, row.verdict, row.note) == (16, "eaten in 1 steps", "")


@pytest.mark.parametrize(("contestant", "case"), [("plain", "cells-8"), ("networkx", "cells-8"), ("C", "cells-8")])
def test_what_is_hopeless_is_not_tried(tmp_path: Path, contestant: str, case: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(c_rival, "compiler", lambda: "gcc")
    row = raced(BY_NAME[case], contestant, Setting(repeats=1, bounds=WIDE, folder=tmp_path))
    assert (row.seconds, row.note) == (None, "not tried: too many states")


def test_without_a_compiler_the_rival_is_left_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(c_rival, "compiler", lambda: None)
    row = raced(BY_NAME["cells-1"], "C", Setting(repeats=1, bounds=WIDE, folder=tmp_path))
    assert row.note == "not tried: there is no gcc"
    assert any("no gcc here" in remark for remark in remarks([row], "a machine"))


def test_an_engine_that_does_not_answer_gets_a_note(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(contestants, "engines", lambda: (*engines(), "absent"))
    row = raced(BY_NAME["cells-1"], "absent", Setting(repeats=1, bounds=WIDE, folder=tmp_path))
    assert row.seconds is None
    assert "absent" in row.note


def test_a_run_ends_at_the_bound_on_time(tmp_path: Path) -> None:
    bounds = Bounds(seconds=0.3, memory_mb=4000)
    row = raced(BY_NAME["demo"], "plain", Setting(repeats=3, bounds=bounds, folder=tmp_path))
    assert (row.seconds, row.verdict, row.note) == (None, "", "ended after 0.3 s")


def test_a_run_ends_at_the_bound_on_memory() -> None:
    hungry = "import time; held = b'x' * 200_000_000; time.sleep(20)"
    run = measured([sys.executable, "-c", hungry], Bounds(seconds=60, memory_mb=100))
    assert run.ended == "ended at 100 MB"
    assert run.seconds < 10


def test_memory_is_that_of_the_whole_tree() -> None:
    holds = "held = b'x' * 60_000_000; import time; time.sleep(0.6)"
    starts = f"import subprocess, sys; child = subprocess.Popen([sys.executable, '-c', {holds!r}]); {holds}; child.wait()"
    run = measured([sys.executable, "-c", starts], WIDE)
    assert run.code == 0
    assert run.peak_mb is not None
    assert 120 < run.peak_mb < 250


def test_a_first_short_run_only_warms_up(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    times = iter([4.0, 1.0, 3.0, 2.0])

    def run(_command: object, _bounds: object) -> measuring.Measured:
        return measuring.Measured(seconds=next(times), peak_mb=5, code=0, out="", err="", ended="")

    monkeypatch.setattr(contestants, "measured", run)
    _, seconds = contestants.repeated(["any"], Setting(repeats=3, bounds=WIDE, folder=tmp_path))
    assert seconds == 2.0
    assert next(times, None) is None


@pytest.mark.parametrize(("seconds", "told"), [(6.9, False), (7.1, True)])
def test_it_is_told_when_the_ratios_do_not_count(seconds: float, told: bool) -> None:
    row = Row(case="cells-2", contestant="C", seconds=seconds)
    assert any("do not count" in remark for remark in remarks([row], "a machine")) == told


def test_a_disagreement_on_counts_is_told() -> None:
    rows = [
        Row(case="x", contestant="plain", seconds=1.0, states=10, transitions=20, whole=True),
        Row(case="x", contestant="C", seconds=1.0, states=9, transitions=20, whole=True),
        Row(case="x", contestant="networkx", seconds=1.0, states=8, transitions=20),
        Row(case="y", contestant="C", seconds=1.0, states=7, transitions=20, whole=True),
    ]
    told = [remark for remark in remarks(rows, "a machine") if "disagree" in remark]
    assert told == ["Those who searched x disagree on its states and transitions: plain 10 and 20, C 9 and 20."]
    assert not [remark for remark in remarks(rows[1:], "a machine") if "disagree" in remark]


def test_many_runs_are_told_in_short() -> None:
    verdicts = ["a in 3 steps", "b in 4 steps", "c violated", "2 hold"]
    assert in_short(iter(verdicts)) == "a in 3 steps, 2 more, 2 hold"
    assert in_short(iter(verdicts[1:2])) == "b in 4 steps"


def test_ratios_and_rates_of_a_table() -> None:
    tool = Row(case="x", contestant="plain", seconds=3.0, transitions=6_000, states=10**54)
    text = table([tool, Row(case="x", contestant="C", seconds=1.5), Row(case="x", contestant="late", note="ended after 1 s")])
    rows = rows_of(text)
    assert (rows["plain"]["x C"], rows["plain"]["transitions/s"], rows["plain"]["states"]) == ("2", "2,000", "1.00e54")
    assert (rows["late"]["x C"], rows["late"]["seconds"]) == ("", "")


def test_counts_keep_their_digits_as_long_as_they_can_be_read() -> None:
    assert (counted(999_999_999_999), counted(20_280_240)) == ("999,999,999,999", "20,280,240")
    assert counted(53_219_000_000_000) == "5.32e13"
