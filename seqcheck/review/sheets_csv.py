"""Writes a table as CSV (RFC 4180): commas, quotes where needed, lines that end in CR LF.

A cell that begins with = + - @, a tab or a carriage return is given a leading apostrophe, so that no spreadsheet takes it for a
formula; reading it back takes that away.
"""

import csv
import io

from seqcheck.review.sheet_tables import Table

DANGEROUS = ("=", "+", "-", "@", "\t", "\r")


def csv_text(table: Table) -> str:
    """Return a table as the text of a CSV file."""
    held = io.StringIO(newline="")
    writer = csv.writer(held, lineterminator="\r\n")
    writer.writerows([guarded(text) for text in line] for line in table.lines)
    return held.getvalue()


def guarded(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula."""
    return f"'{text}" if text.startswith(DANGEROUS) else text


def file_stem(table: Table) -> str:
    """Return what a table's file is called."""
    return table.name.lower().replace(" ", "_")
