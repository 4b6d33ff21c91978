"""`seqcheck report`: what is written, exit codes, limits, and what is never written over."""

import hashlib
import re
import signal
import subprocess
import time
from pathlib import Path

import pytest

from seqcheck.search.engine import Stop
from tests.cli.calling import FAULTY, HOLDS, REFUSED, VIOLATED, call, command, mixer, put


@pytest.mark.parametrize(("text", "code"), [(HOLDS, 0), (VIOLATED, 1), (REFUSED, 2)], ids=["holds", "violated", "refused"])
def test_exit_codes(text: str, code: int, tmp_path: Path) -> None:
    out = tmp_path / "review.html"
    result = call("report", *put(tmp_path, one=text), "--out", str(out))
    assert result.exit_code == code
    assert out.exists() == (code != 2)
    assert not result.stdout


def test_it_can_go_to_standard_output_and_says_where_it_went(tmp_path: Path) -> None:
    (path,) = put(tmp_path, one=FAULTY)
    shown, written = call("report", path, "--out", "-"), call("report", path, "--out", str(tmp_path / "review.html"))
    assert shown.stdout.startswith("<!DOCTYPE html>")
    assert "written to" not in shown.stderr
    assert f"written to {tmp_path / 'review.html'}" in written.stderr


def test_the_same_file_gives_the_same_bytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    (path,) = put(tmp_path, one=VIOLATED)
    pages = {call("report", path, "--out", "-").stdout for _ in range(2)}
    assert len(pages) == 1
    assert "1970-01-02" in pages.pop()


def test_a_date_that_is_none_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "yesterday")
    result = call("report", *put(tmp_path, one=HOLDS), "--out", str(tmp_path / "review.html"))
    assert result.exit_code == 2
    assert "SOURCE_DATE_EPOCH is yesterday" in result.stderr


@pytest.mark.parametrize("option", ["--out", "--proof"])
def test_the_sequence_file_is_never_written_over(option: str, tmp_path: Path) -> None:
    (path,) = put(tmp_path, one=HOLDS)
    others = () if option == "--out" else ("--out", str(tmp_path / "review.html"))
    result = call("report", path, option, path, *others)
    assert result.exit_code == 2
    assert "would be written over" in result.stderr
    assert Path(path).read_text(encoding="utf-8") == HOLDS


def test_a_proof_is_written_and_named(tmp_path: Path) -> None:
    (path,), proof = put(tmp_path, one=HOLDS), tmp_path / "one.proof"
    result = call("report", path, "--out", "-", "--proof", str(proof))
    assert result.exit_code == 0
    assert call("check-proof", path, str(proof)).exit_code == 0
    shown = re.sub(r"<[^>]*>", "", result.stdout)
    assert hashlib.sha256(proof.read_bytes()).hexdigest() in shown
    assert "one.proof" in result.stdout


@pytest.mark.parametrize(
    ("limit", "why"),
    [(("--max-seconds", "0"), Stop.SECONDS), (("--max-seconds", "1"), Stop.SECONDS), (("--max-memory", "1"), Stop.MEMORY)],
)
def test_a_limit_leaves_a_file_that_says_what_is_open(limit: tuple[str, str], why: Stop, tmp_path: Path) -> None:
    out = tmp_path / "review.html"
    began = time.monotonic()
    result = call("report", *put(tmp_path, many=mixer(6, 40)), "--out", str(out), *limit)
    assert result.exit_code in {1, 3}
    assert time.monotonic() - began < 15
    assert "not wholly answered" in result.stderr
    assert f"the search ended at {why.value}" in out.read_text("utf-8")


def test_ctrl_c_leaves_a_file_that_says_what_is_open(tmp_path: Path) -> None:
    out = tmp_path / "review.html"
    (path,) = put(tmp_path, many=mixer(6, 40))
    process = subprocess.Popen([*command(), "report", path, "--out", str(out)], stderr=subprocess.PIPE, text=True)
    assert process.stderr is not None
    assert "Ctrl-C stops" in process.stderr.readline()
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=60)
    assert process.returncode in {1, 3}, said
    assert Stop.INTERRUPTED.value in out.read_text("utf-8")
