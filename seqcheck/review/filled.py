"""Reads acceptance-test sheets that were filled in: the answers of people, held against the sheets as they are made anew.

A file that is no workbook, or would take too much to read, is refused: `Unreadable`, with the reason.
"""

import zipfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from msgspec import Struct

from seqcheck.review.sheet_tables import CHECKED, FAIL, HASH, ID, OUTCOME, PASS, TEST_COLUMNS, About, Table, clean

if TYPE_CHECKING:
    from openpyxl.worksheet._read_only import ReadOnlyWorksheet

Lines: TypeAlias = tuple[tuple[str, ...], ...]

MOST_BYTES, MOST_UNPACKED, MOST_PARTS = 16 * 2**20, 64 * 2**20, 1_000
MOST_LINES, MOST_COLUMNS = 50_000, 64


class Unreadable(Exception):  # noqa: N818 - it is no error of the program
    """A file cannot be read as filled-in sheets; the text says why."""


class Answered(Struct, frozen=True, kw_only=True):
    """What people wrote, by the id of the row: a text for each column."""

    rows: Mapping[str, Mapping[str, str]]
    sha256: str


class Filled(Struct, frozen=True, kw_only=True):
    """What came of the rows: ids passed, failed and left blank; changed, missing and added against the sheets made anew."""

    passed: tuple[str, ...]
    failed: tuple[str, ...]
    blank: tuple[str, ...]
    changed: tuple[str, ...]
    missing: tuple[str, ...]
    added: tuple[str, ...]


def answered(path: Path, about: About) -> Answered:
    """Read a workbook of the file that *about* names. Raises `Unreadable`."""
    try:
        _look_at(path)
        cover, tests = _sheets(path)
    except Unreadable:
        raise
    except OSError as error:
        raise Unreadable(f"it cannot be read: {error.strerror or error}") from error
    except Exception as error:
        raise Unreadable(f"it is no workbook (xlsx), or a broken one ({type(error).__name__})") from error
    sha256 = _hash(cover)
    if sha256 != about.sha256:
        raise Unreadable(_other_file(sha256, about))
    return Answered(rows=_rows(tests), sha256=sha256)


def _sheets(path: Path) -> tuple[Lines, Lines]:
    """Return the lines of the sheets Cover and Tests."""
    from openpyxl import load_workbook

    with path.open("rb") as file:
        book = load_workbook(file, read_only=True, data_only=True)
        names = {name.casefold(): name for name in book.sheetnames}
        missing = [name for name in ("Cover", "Tests") if name.casefold() not in names]
        if missing:
            raise Unreadable(f"it has no sheet called {missing[0]}: these are no sheets of seqcheck")
        return tuple(_lines(book[names["cover"]])), tuple(_lines(book[names["tests"]]))


def _other_file(sha256: str, about: About) -> str:
    if not sha256:
        return f"its cover does not say which file it is of ({HASH} is missing)"
    return (
        f"these sheets are of another file, or of another state of it: their cover says {sha256[:12]}…, {about.file} has "
        f"{about.sha256[:12]}…; make new sheets, or give the file that these were made from"
    )


def _look_at(path: Path) -> None:
    """Refuse what is too large, before anything is unpacked."""
    if path.stat().st_size > MOST_BYTES:
        raise Unreadable(f"it is larger than {MOST_BYTES // 2**20} MiB")
    with zipfile.ZipFile(path) as packed:
        parts = packed.infolist()
        if len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > MOST_UNPACKED:
            raise Unreadable(f"unpacked it is larger than {MOST_UNPACKED // 2**20} MiB, or of more than {MOST_PARTS:,} parts")
        for part in parts:
            _look_at_part(packed, part)


def _look_at_part(packed: zipfile.ZipFile, part: zipfile.ZipInfo) -> None:
    """Refuse a part that unpacks to more than it says, or defines entities, which can grow without end when they are read."""
    with packed.open(part) as file:
        data = file.read(part.file_size + 1)
    if b"<!DOCTYPE" in data or b"<!ENTITY" in data:
        raise Unreadable("a part of it defines its own entities, which no workbook of seqcheck does")


def _lines(sheet: "ReadOnlyWorksheet") -> Iterator[tuple[str, ...]]:
    """Yield the lines of a sheet as texts."""
    from openpyxl.utils.escape import unescape

    for number, line in enumerate(sheet.iter_rows(values_only=True, max_col=MOST_COLUMNS)):
        if number >= MOST_LINES:
            raise Unreadable(f"a sheet has more than {MOST_LINES:,} lines")
        yield tuple("" if value is None else unescape(str(value)) for value in line)


def _hash(lines: Lines) -> str:
    for line in lines:
        if len(line) > 1 and line[0].strip() == HASH:
            return line[1].strip()
    return ""


def _rows(lines: Lines) -> dict[str, dict[str, str]]:
    heads: tuple[str, ...] | None = None
    rows: dict[str, dict[str, str]] = {}
    for line in lines:
        if heads is None:
            if line and line[0].strip().casefold() == ID:
                heads = tuple(text.strip().casefold() for text in line)
        elif line and line[0].strip():
            row = dict(zip(heads, line, strict=False))
            known = rows.setdefault(line[0].strip(), row)
            if known is not row:
                raise Unreadable(f"the row {clean(line[0].strip())[:40]} is there twice")
    if heads is None or OUTCOME not in heads:
        raise Unreadable(f"its sheet Tests has no heads, or no column “{OUTCOME}”")
    return rows


def hold_against(answers: Answered, table: Table, wanted: Sequence[str]) -> Filled:
    """Tell what came of the rows, *wanted* being those that show something; others count only where they failed."""
    heads = [column.head for column in TEST_COLUMNS]
    made = {line[0]: dict(zip(heads, line, strict=True)) for line in table.lines[1:]}
    outcomes = {id_: outcome(row.get(OUTCOME, "")) for id_, row in answers.rows.items() if id_ in made}
    changed = tuple(id_ for id_, row in made.items() if id_ in answers.rows and _differs(row, answers.rows[id_]))
    return Filled(
        passed=tuple(id_ for id_ in wanted if outcomes.get(id_) == PASS and id_ not in changed),
        failed=tuple(id_ for id_ in made if outcomes.get(id_) == FAIL),
        blank=tuple(id_ for id_ in wanted if id_ in outcomes and outcomes[id_] not in {PASS, FAIL}),
        changed=changed,
        missing=tuple(id_ for id_ in made if id_ not in answers.rows),
        added=tuple(id_ for id_ in answers.rows if id_ not in made),
    )


def outcome(text: str) -> str:
    """Return what was meant by an entry: pass, fail, or nothing that counts."""
    word = text.strip().casefold()
    if word in {"pass", "passed", "p", "ok"}:
        return PASS
    return FAIL if word in {"fail", "failed", "f", "not ok"} else ""


def _differs(made: Mapping[str, str], read: Mapping[str, str]) -> bool:
    return any(" ".join(made[head].split()) != " ".join(read.get(head, "").split()) for head in CHECKED)
