"""Writes tables as a workbook (xlsx). Every cell is text, whatever it begins with; same tables, same bytes."""

import io
import os
from collections.abc import Sequence
from datetime import UTC, datetime
from math import ceil
from typing import TYPE_CHECKING

from msgspec import Struct

from seqcheck.review.sheet_tables import Table

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

LONGEST_NAME = 31
"""Characters in the name of a sheet."""

A4 = 9
PAGE_WIDTH = 165
"""Letters that fit across a page so that what is set in 8 points prints at 7."""

LINE_POINTS, MOST_POINTS = 11.5, 409.0
FIXED = datetime(2000, 1, 1, tzinfo=UTC)
"""The date of creation where SOURCE_DATE_EPOCH gives none: a file that is made again is the same file."""


class Formats(Struct, frozen=True, kw_only=True):
    """How cells look."""

    text: "Format"
    head: "Format"
    strong: "Format"


def workbook_bytes(tables: tuple[Table, ...], title: str) -> bytes:
    """Return a workbook with a sheet for each table."""
    import xlsxwriter

    held = io.BytesIO()
    book = xlsxwriter.Workbook(held, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    book.set_properties({"title": title[:200], "created": created()})
    plain = {"text_wrap": True, "valign": "top", "border": 1, "font_size": 8, "num_format": "@"}
    formats = Formats(
        text=book.add_format(plain),
        head=book.add_format({**plain, "bold": True, "bottom": 2}),
        strong=book.add_format({**plain, "bold": True, "top": 2}),
    )
    for table in tables:
        _write(book.add_worksheet(table.name[:LONGEST_NAME]), table, formats)
    book.close()
    return held.getvalue()


def created() -> datetime:
    """Return the date of creation that is written."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    if not epoch.isdecimal() or len(epoch) > 11:
        return FIXED.replace(tzinfo=None)
    return datetime.fromtimestamp(int(epoch), tz=UTC).replace(tzinfo=None)


def _write(sheet: "Worksheet", table: Table, formats: Formats) -> None:
    sheet.set_landscape()
    sheet.set_paper(A4)
    sheet.set_margins(left=0.4, right=0.4, top=0.5, bottom=0.6)
    sheet.fit_to_pages(max(1, ceil(sum(column.width for column in table.columns) / PAGE_WIDTH)), 0)
    sheet.repeat_rows(0, table.heads - 1)
    if table.kept:
        sheet.repeat_columns(0, table.kept - 1)
    sheet.freeze_panes(table.heads, 1)
    sheet.set_footer(f"&L&8{table.name}&C&8Page &P of &N&R&8statement about a model, see the cover")
    for place, column in enumerate(table.columns):
        sheet.set_column(place, place, column.width, formats.text)
    for number, line in enumerate(table.lines):
        chosen = formats.head if number < table.heads else formats.strong if number in table.strong else formats.text
        sheet.set_row(number, height(_widths(table, number), line))
        for place, text in enumerate(line):
            sheet.write_string(number, place, text, chosen)
    for number, first, last in table.joined:
        joined = formats.strong if number in table.strong else formats.text
        sheet.merge_range(number, first, number, last, "", joined)
        sheet.write_string(number, first, table.lines[number][first], joined)
    for place, column in enumerate(table.columns):
        if column.choices and len(table.lines) > table.heads:
            choice = {"validate": "list", "source": list(column.choices), "error_type": "warning"}
            sheet.data_validation(table.heads, place, len(table.lines) - 1, place, choice)


def _widths(table: Table, number: int) -> list[int]:
    """Return the width of each cell of a line, joined ones as a whole."""
    widths = [column.width for column in table.columns]
    for line, first, last in table.joined:
        if line == number:
            widths[first] = sum(widths[first : last + 1])
    return widths


def height(widths: Sequence[int], line: Sequence[str]) -> float:
    """Return how high a line must be, in points, so that every text in it can be read: an estimate on the generous side."""
    most = 1
    for width, text in zip(widths, line, strict=True):
        room = max(4, width * 1.3)
        most = max(most, sum(max(1, ceil(len(part) * 1.08 / room)) for part in text.split("\n")))
    return min(MOST_POINTS, most * LINE_POINTS + 3)
