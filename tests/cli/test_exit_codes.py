"""Exit codes, one file and several: 70 before 2 before 1 before 3 before 0."""

import itertools
from pathlib import Path

import pytest

from seqcheck.cli.verifying import exit_code
from tests.cli.calling import FAULTY, HOLDS, REFUSED, VIOLATED, call, counters, put

FEW = ("--max-states", "40")
UNFINISHED = counters(4, 9).replace("near: {must not be: c0 = 1}", "near: {must not be: c0 = 9}")
FILES = {"holds": (HOLDS, 0), "violated": (VIOLATED, 1), "refused": (REFUSED, 2), "unfinished": (UNFINISHED, 3)}


@pytest.mark.parametrize("name", FILES)
def test_of_one_file(name: str, tmp_path: Path) -> None:
    text, code = FILES[name]
    assert call("verify", *put(tmp_path, **{name: text}), *FEW).exit_code == code


@pytest.mark.parametrize("names", [pair for size in (2, 3, 4) for pair in itertools.permutations(FILES, size)][::5])
def test_of_several_files(names: tuple[str, ...], tmp_path: Path) -> None:
    files = put(tmp_path, **{name: FILES[name][0] for name in names})
    codes = {FILES[name][1] for name in names}
    expected = next(code for code in (2, 1, 3, 0) if code in codes)
    assert call("verify", *files, *FEW).exit_code == expected


@pytest.mark.parametrize(
    ("codes", "expected"),
    [([0], 0), ([0, 0], 0), ([0, 3], 3), ([3, 1], 1), ([1, 2], 2), ([2, 3, 0], 2), ([0, 1, 3], 1)],
)
def test_precedence(codes: list[int], expected: int) -> None:
    assert exit_code(codes) == expected


def test_a_violation_only_under_a_fault_counts(tmp_path: Path) -> None:
    (file,) = put(tmp_path, faulty=FAULTY)
    assert call("verify", file).exit_code == 0
    assert call("verify", file, "--faults", "1").exit_code == 1
    assert call("verify", file, "--fault", "wears").exit_code == 0
    assert call("verify", file, "--fault", "wears", "--fault", "breaks").exit_code == 1


def test_a_failed_start_counts(tmp_path: Path) -> None:
    text = "machine: M\nmemory: {n: {range: 0..1, starts: 1}}\ntrips: {counts: {when: n = 1, then: {n: n + 1}}}\n"
    assert call("verify", *put(tmp_path, start=text)).exit_code == 1


def test_a_violation_in_an_unfinished_search_is_a_violation(tmp_path: Path) -> None:
    assert call("verify", *put(tmp_path, early=counters(4, 9)), *FEW).exit_code == 1


@pytest.mark.parametrize("path", [".", "/dev/null", "absent.yaml", ""])
def test_what_is_no_sequence_file_is_refused(path: str) -> None:
    result = call("verify", path)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.rstrip().endswith("refused, 1 error")


def test_one_refused_file_does_not_keep_the_others_from_being_judged(tmp_path: Path) -> None:
    result = call("verify", *put(tmp_path, refused=REFUSED, violated=VIOLATED))
    assert "H1  It is b" in result.stdout
    assert "refused.yaml: refused, 1 error" in result.stderr
