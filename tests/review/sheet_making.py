"""Makes the tables of a text, the workbook of it, and fills workbooks in."""

import io
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

from openpyxl import Workbook, load_workbook

from seqcheck.analyse.testing.matrix import matrix_of
from seqcheck.analyse.testing.records import Sheets
from seqcheck.review.sheet_tables import About, Table, tables
from seqcheck.review.workbook import workbook_bytes
from tests.analyse.testing.making import made, model_of

ABOUT = About(file="small.yaml", sha256="ab" * 32, version="0.0")

SMALL = """
machine: A lamp
tick: 1 s
parts:
  door: [shut, open]
sensors:
  door_shut: door = shut
outputs:
  lamp: [off, on]
commands:
  light: {permissives: {the door is shut: door_shut}, then: {lamp: on}}
  darken: {then: {lamp: off}}
trips:
  opened: {when: NOT door_shut, then: {lamp: off}}
people:
  open it: {if: door = shut, then: {door: open}}
  shut it: {if: door = open, then: {door: shut}}
requirements:
  R1: {text: Dark in time, when: door = open, within: 2 s, then: lamp = off}
"""


@lru_cache(maxsize=8)
def sheets_of_text(text: str) -> Sheets:
    """Make the sheets of a text."""
    return made(model_of(text))


def tables_of(text: str, about: About = ABOUT) -> tuple[Table, ...]:
    """Make the tables of a text."""
    return tables(sheets_of_text(text), matrix_of(model_of(text)), about)


def book_of(text: str, about: About = ABOUT) -> Workbook:
    """Make the workbook of a text and read it with the other library."""
    return load_workbook(io.BytesIO(workbook_bytes(tables_of(text, about), "title")))


Fill = Callable[[str, dict[str, str]], dict[str, str]]


def filled(path: Path, fill: Fill) -> None:
    """Fill a workbook in as people do: *fill* gets the id and the texts of each row and returns what is written where."""
    book = load_workbook(path)
    sheet = book["Tests"]
    heads = [str(cell.value) for cell in sheet[1]]
    for line in sheet.iter_rows(min_row=2):
        row = {head: str(cell.value or "") for head, cell in zip(heads, line, strict=True)}
        for head, text in fill(row["id"], row).items():
            line[heads.index(head)].value = text
    book.save(path)
