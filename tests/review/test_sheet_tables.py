"""Sheets as tables, workbook and CSV: what another library, and a spreadsheet, makes of them."""

import csv
import io
import zipfile

import pytest

from seqcheck.analyse.testing.records import CHOICES
from seqcheck.review.sheet_tables import OUTCOMES, TEST_COLUMNS, clean
from seqcheck.review.sheets_csv import csv_text, guarded
from seqcheck.review.workbook import height, workbook_bytes
from tests.review.sheet_making import ABOUT, SMALL, book_of, tables_of

HOSTILE = (
    SMALL.replace("the door is shut:", "'=1+1':")
    .replace("light:", "'<b>&\"@SUM(A1)':")
    .replace("darken:", "'-2+3 evil _x0041_ \N{HEBREW LETTER ALEF}':")
    .replace("opened:", f"'+{'w' * 190}':")
    .replace("A lamp", "'=cmd|x'")
)


def test_the_columns_are_those_that_the_trade_asks_for() -> None:
    """Acceptance-test sheet: id, requirement, start conditions, action, expected, observed, pass or fail, date, initials of
    tester and witness, remarks, restored afterwards (common practice, no source); beside them time and energy."""
    heads = [column.head for column in TEST_COLUMNS]
    asked = ["id", "requirement", "start conditions", "action", "expected", "observed", "pass or fail", "date"]
    asked += ["initials tester", "initials witness", "remarks", "restored afterwards"]
    assert [head for head in heads if head in asked] == asked
    assert {"time limit", "energy condition (proposed)", "energy condition (chosen)"} < set(heads)


def test_every_line_has_all_columns() -> None:
    for table in tables_of(HOSTILE):
        assert {len(line) for line in table.lines} == {len(table.columns)}


def test_another_library_reads_what_was_written() -> None:
    book = book_of(SMALL)
    made = tables_of(SMALL)
    assert book.sheetnames == [table.name for table in made]
    for table in made:
        read = [tuple(str(cell or "") for cell in line) for line in book[table.name].iter_rows(values_only=True)]
        assert read == [tuple(line) for line in table.lines]


def test_a_sheet_prints_on_a4_across_with_its_head_on_every_page() -> None:
    for sheet in book_of(SMALL):
        assert (sheet.page_setup.orientation, str(sheet.page_setup.paperSize)) == ("landscape", "9")
        assert sheet.print_title_rows is not None
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert sheet.page_setup.fitToHeight in {0, "0"}


def test_outcomes_and_energy_are_chosen_from_lists() -> None:
    sheet = book_of(SMALL)["Tests"]
    offered = {str(one.formula1).strip('"'): str(one.sqref) for one in sheet.data_validations.dataValidation}
    heads = [cell.value for cell in sheet[1]]
    column = sheet.cell(1, heads.index("pass or fail") + 1).column_letter
    assert offered[",".join(OUTCOMES)] == f"{column}2:{column}{sheet.max_row}"
    assert ",".join(CHOICES) in offered


def test_no_name_becomes_a_formula_or_a_link() -> None:
    for sheet in book_of(HOSTILE):
        assert len(sheet.title) <= 31
        cells = [cell for line in sheet.iter_rows() for cell in line if cell.value is not None]
        assert {cell.data_type for cell in cells} == {"s"}
        assert all(cell.hyperlink is None for cell in cells)


def test_hostile_names_stand_as_they_are() -> None:
    texts = " ".join(str(cell.value) for line in book_of(HOSTILE)["Coverage"].iter_rows() for cell in line)
    assert '“<b>&"@SUM(A1)” is refused unless “=1+1”' in texts
    assert "w" * 190 in texts
    assert "\N{HEBREW LETTER ALEF}" in texts


def test_it_is_the_same_file_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    one, other = (workbook_bytes(tables_of(SMALL), "title") for _ in range(2))
    assert one == other
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    dated = workbook_bytes(tables_of(SMALL), "title")
    with zipfile.ZipFile(io.BytesIO(dated)) as packed:
        assert b"1970-01-02T00:00:00Z" in packed.read("docProps/core.xml")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "soon")
    assert workbook_bytes(tables_of(SMALL), "title") == one


def test_the_cover_says_what_it_rests_on() -> None:
    cover = {line[0]: line[1] for line in tables_of(SMALL)[0].lines}
    assert cover["SHA-256 of the file"] == ABOUT.sha256
    assert cover["seqcheck version"] == ABOUT.version
    assert cover["file"] == ABOUT.file
    texts = " ".join(" ".join(line) for line in tables_of(SMALL)[0].lines)
    for word in ("Lock out", "Local codes", "competent people", "simulated signals only", "shortest run", "signature"):
        assert word in texts


def test_csv_is_read_back_as_it_is() -> None:
    for table in tables_of(HOSTILE):
        text = csv_text(table)
        assert text.count("\n") >= text.count("\r\n") > 0
        read = list(csv.reader(io.StringIO(text, newline="")))
        plain = [
            tuple(cell[1:] if cell[:1] == "'" and cell[1:2] in "=+-@" and cell[1:] else cell for cell in line) for line in read
        ]
        assert plain == [tuple(line) for line in table.lines]
        assert not any(cell[:1] in {"=", "+", "-", "@", "\t", "\r"} for line in read for cell in line)


@pytest.mark.parametrize("text", ["=1", "+1", "-1", "@a", "\tx", "\rx"])
def test_what_a_spreadsheet_would_calculate_is_guarded(text: str) -> None:
    assert guarded(text) == f"'{text}"
    assert guarded(f"a{text}") == f"a{text}"


def test_a_cell_holds_no_more_than_it_can() -> None:
    assert clean("a\N{RIGHT-TO-LEFT OVERRIDE}") == "a\N{REPLACEMENT CHARACTER}"
    assert clean("a\x00b\x1bc") == "a\N{REPLACEMENT CHARACTER}b\N{REPLACEMENT CHARACTER}c"
    assert len(clean("x" * 40_000)) == 32_000
    assert clean("x" * 40_000).endswith("…")


def test_a_line_is_as_high_as_its_longest_text() -> None:
    columns = [column.width for column in TEST_COLUMNS[:2]]
    assert height(columns, ("a", "b")) < height(columns, ("a", "b " * 60)) < height(columns, ("a", "b " * 600))
    assert height(columns, ("a\nb\nc", "d")) > height(columns, ("a", "d"))
    assert height(columns, ("a", "b " * 60_000)) == 409
