"""`seqcheck sheets` at the command line: what it writes, what it reads back, how it ends."""

import io
import zipfile
from pathlib import Path

import pytest
from openpyxl import Workbook, load_workbook

from seqcheck.review.sheet_tables import FAIL, OUTCOME, PASS
from tests.cli.calling import REFUSED, call, counters
from tests.review.sheet_making import SMALL, filled


@pytest.fixture
def made(tmp_path: Path) -> tuple[Path, Path]:
    """Make the sheets of a small file; return both."""
    file, sheets = tmp_path / "small.yaml", tmp_path / "tests.xlsx"
    file.write_text(SMALL, encoding="utf-8")
    assert call("sheets", str(file), "--out", str(sheets)).exit_code == 0
    return file, sheets


def all_passed(_id: str, _row: dict[str, str]) -> dict[str, str]:
    """Every row passed."""
    return {OUTCOME: PASS}


def test_it_says_what_the_sheets_hold(made: tuple[Path, Path]) -> None:
    told = call("sheets", str(made[0])).stdout
    assert "A lamp" in told
    assert "4 of 4 items shown" in told
    assert "no fewer would do, out of" in told
    assert "lockout" in told


def test_the_workbook_is_the_same_again(made: tuple[Path, Path], tmp_path: Path) -> None:
    again = tmp_path / "again.xlsx"
    assert call("sheets", str(made[0]), "--out", str(again)).exit_code == 0
    assert again.read_bytes() == made[1].read_bytes()


def test_rows_name_the_requirement_that_limits_the_time(made: tuple[Path, Path]) -> None:
    sheet = load_workbook(made[1])["Tests"]
    lines = [[str(cell.value or "") for cell in line] for line in sheet.iter_rows()]
    (trip,) = [line for line in lines if line[1].startswith("trip")]
    assert "“lamp = off” within 2 s (R1)" in trip[5]


def test_csv_beside_each_other_and_in_a_folder(made: tuple[Path, Path], tmp_path: Path) -> None:
    assert call("sheets", str(made[0]), "--out", str(tmp_path / "a.csv")).exit_code == 0
    names = {path.name for path in tmp_path.glob("a*.csv")}
    assert names == {"a.csv", "a_cover.csv", "a_coverage.csv", "a_matrix.csv", "a_legend.csv", "a_not_in_the_matrix.csv"}
    assert call("sheets", str(made[0]), "--out", str(tmp_path / "folder")).exit_code == 0
    assert (tmp_path / "folder" / "tests.csv").read_bytes() == (tmp_path / "a.csv").read_bytes()
    assert len(list((tmp_path / "folder").iterdir())) == len(names)


def test_blank_sheets_are_open(made: tuple[Path, Path]) -> None:
    found = call("sheets", str(made[0]), "--read", str(made[1]))
    assert found.exit_code == 3
    assert "0 rows passed, 0 failed, 4 left open" in found.stdout
    assert "Open points" in found.stdout


def test_sheets_on_which_everything_passed(made: tuple[Path, Path]) -> None:
    filled(made[1], all_passed)
    found = call("sheets", str(made[0]), "--read", str(made[1]))
    assert found.exit_code == 0
    assert "shown by rows that passed: 4 of 4 items" in found.stdout
    assert "Open points" not in found.stdout


def test_a_row_that_failed(made: tuple[Path, Path]) -> None:
    filled(made[1], lambda _id, row: {OUTCOME: FAIL if row["requirement"].startswith("trip") else PASS})
    found = call("sheets", str(made[0]), "--read", str(made[1]))
    assert found.exit_code == 1
    assert "failed: T" in found.stdout
    assert "the trip “opened” acts on lamp: row T" in found.stdout


def test_a_row_that_was_changed_does_not_count(made: tuple[Path, Path]) -> None:
    filled(made[1], lambda _id, row: {OUTCOME: PASS} | ({"expected": "whatever"} if "Refused" in row["expected"] else {}))
    found = call("sheets", str(made[0]), "--read", str(made[1]))
    assert found.exit_code == 3
    assert "changed since the sheet was made" in found.stdout
    assert "3 of 4 items" in found.stdout


def test_rows_missing_and_added(made: tuple[Path, Path]) -> None:
    filled(made[1], lambda id_, _row: {OUTCOME: PASS} | ({"id": "my own"} if id_ == "T1.1" else {}))
    found = call("sheets", str(made[0]), "--read", str(made[1]))
    assert found.exit_code == 3
    assert "missing: T1.1" in found.stdout
    assert "added by hand, not counted: my own" in found.stdout


def test_sheets_of_another_file_are_refused(made: tuple[Path, Path]) -> None:
    made[0].write_text(SMALL.replace("A lamp", "Another lamp"), encoding="utf-8")
    found = call("sheets", str(made[0]), "--read", str(made[1]))
    assert found.exit_code == 2
    assert "these sheets are of another file" in found.stderr


def bomb(path: Path) -> None:
    """Write an archive that unpacks to very much."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", b"\0" * (80 * 2**20))


def liar(path: Path) -> None:
    """Write an archive whose directory says that a large part is small."""
    bomb(path)
    data = bytearray(path.read_bytes())
    at = data.rindex(b"PK\x01\x02")
    data[at + 24 : at + 28] = (100).to_bytes(4, "little")
    path.write_bytes(bytes(data))


def entities(path: Path) -> None:
    """Write a workbook one part of which defines entities."""
    held = io.BytesIO()
    Workbook().save(held)
    with zipfile.ZipFile(held) as whole, zipfile.ZipFile(path, "w") as packed:
        for name in whole.namelist():
            data = whole.read(name)
            packed.writestr(name, data.replace(b"<worksheet", b'<!DOCTYPE a [<!ENTITY b "c">]><worksheet'))


def stranger(path: Path) -> None:
    """Write a workbook of something else."""
    Workbook().save(path)


def headless(path: Path) -> None:
    """Write a workbook with the right cover and no heads."""
    book = load_workbook(path)
    book["Tests"].delete_rows(1)
    book.save(path)


def twice(path: Path) -> None:
    """Write a row twice."""
    filled(path, lambda id_, _row: {"id": "T1.1"} if id_.startswith("T1.") else {})


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (lambda path: path.write_bytes(b"no workbook"), "it is no workbook"),
        (lambda path: path.write_bytes(path.read_bytes()[:900]), "it is no workbook"),
        (lambda path: path.write_bytes(b"\0" * (17 * 2**20)), "larger than 16 MiB"),
        (Path.unlink, "cannot be read"),
        (bomb, "unpacked it is larger than 64 MiB"),
        (liar, "it is no workbook"),
        (entities, "defines its own entities"),
        (stranger, "no sheet called Cover"),
        (headless, "has no heads"),
        (twice, "is there twice"),
    ],
)
def test_what_is_no_filled_sheet_is_refused(spoil: object, told: str, made: tuple[Path, Path]) -> None:
    assert callable(spoil)
    spoil(made[1])
    found = call("sheets", str(made[0]), "--read", str(made[1]))
    assert found.exit_code == 2
    assert told in found.stderr
    assert "Traceback" not in found.stderr


def test_options_that_do_not_go_together(made: tuple[Path, Path], tmp_path: Path) -> None:
    assert call("sheets", str(made[0]), "--out", "x.xlsx", "--read", str(made[1])).exit_code == 2
    assert call("sheets", str(made[0]), "--out", str(made[0])).exit_code == 2
    assert call("sheets", str(made[0]), "--out", str(tmp_path / "x.pdf")).exit_code == 2
    assert call("sheets", str(made[0]), "--out", str(tmp_path / "none" / "x.xlsx")).exit_code == 2
    assert call("sheets", str(tmp_path / "none.yaml")).exit_code == 2


def test_a_refused_file(tmp_path: Path) -> None:
    file = tmp_path / "refused.yaml"
    file.write_text(REFUSED, encoding="utf-8")
    assert call("sheets", str(file)).exit_code == 2


def test_what_a_limit_leaves_open(tmp_path: Path) -> None:
    file = tmp_path / "many.yaml"
    file.write_text(counters(3, 9) + "outputs: {o: [off, on]}\ncommands: {go: {permissives: {never: o = on}, then: {o: on}}}\n")
    found = call("sheets", str(file), "--max-states", "20")
    assert found.exit_code == 3
    assert "open: not come to before the search ended at the limit on states" in found.stdout


def test_a_file_without_commands_and_trips(tmp_path: Path) -> None:
    file, out = tmp_path / "none.yaml", tmp_path / "none.xlsx"
    file.write_text(counters(1, 2), encoding="utf-8")
    found = call("sheets", str(file), "--out", str(out))
    assert (found.exit_code, "0 tests, 0 rows: 0 of 0 items shown" in found.stdout) == (0, True)
    assert call("sheets", str(file), "--read", str(out)).exit_code == 0
