"""Where results are written is looked at before the file is read, and nothing is made on the way to a refusal.

The file is one that is refused, which would be said first if it were read first.
"""

import os
from pathlib import Path

import pytest

from tests.cli.calling import REFUSED, call, put

ABSENT, FOLDER = "absent/result", "folder"
WRITING = [
    ("verify", "--json"), ("verify", "--junit"), ("verify", "--proof"), ("report", "--out"), ("faults", "--json"),
    ("audit", "--json"), ("procedures", "--json"),
]  # fmt: skip


@pytest.mark.parametrize(("command", "option"), WRITING)
@pytest.mark.parametrize(("target", "said"), [(ABSENT, "there is no folder absent"), (FOLDER, "it is a folder")])
def test_it_is_said_at_once(command: str, option: str, target: str, said: str, tmp_path: Path) -> None:
    (file,) = put(tmp_path, one=REFUSED)
    (tmp_path / FOLDER).mkdir()
    result = call(command, file, option, str(tmp_path / target))
    assert result.exit_code == 2
    assert f"cannot write {tmp_path / target}: {said}" in result.stderr
    assert {path.name for path in tmp_path.iterdir()} == {"one.yaml", FOLDER}


@pytest.mark.parametrize(
    ("target", "said"),
    [
        ("-", "standard output cannot hold; give a workbook (.xlsx), tables (.csv) or a folder"),
        ("x.pdf", "x.pdf is none of these; give a workbook"),
        ("absent/x.xlsx", "there is no folder absent"),
        ("absent/x.csv", "there is no folder absent"),
    ],
)
def test_sheets_go_into_a_workbook_or_tables(target: str, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (file,) = put(tmp_path, one=REFUSED)
    monkeypatch.chdir(tmp_path)
    result = call("sheets", file, "--out", target)
    assert result.exit_code == 2
    assert said in " ".join(result.stderr.split())
    assert {path.name for path in tmp_path.iterdir()} == {"one.yaml"}


def test_waveforms_go_into_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (file,) = put(tmp_path, one=REFUSED)
    monkeypatch.chdir(tmp_path)
    result = call("verify", file, "--waveforms", "-")
    assert result.exit_code == 2
    assert "it takes a folder, not standard output" in result.stderr
    assert {path.name for path in tmp_path.iterdir()} == {"one.yaml"}


def test_a_folder_in_which_nothing_may_be_made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (file,) = put(tmp_path, one=REFUSED)
    monkeypatch.setattr(os, "access", lambda _, mode: mode != os.W_OK)  # whoever runs the tests may have every right
    result = call("report", file, "--out", str(tmp_path / "review.html"))
    assert result.exit_code == 2
    assert f"no file may be made in {tmp_path.name}" in result.stderr
