"""Says in lines what sheets hold, and what came of sheets that were filled in."""

from collections.abc import Iterator, Sequence

from seqcheck.analyse.testing.records import Sheets, Timing
from seqcheck.report.lines import caution, counted, wrapped
from seqcheck.review.filled import Filled

MOST_SHOWN = 20
"""Rows of one sort that are listed by name."""


def sheets_lines(sheets: Sheets, file: str, sha256: str) -> Iterator[str]:
    """Yield what the sheets of a file hold."""
    yield f"{sheets.machine}, revision {sheets.revision}   ({file}, sha256 {sha256[:12]})"
    yield ""
    shown = sum(bool(cover.row) for cover in sheets.covers)
    rows = sum(len(test.rows) for test in sheets.tests)
    items = counted(len(sheets.covers), "item")
    yield f"{counted(len(sheets.tests), 'test')}, {counted(rows, 'row')}: {shown} of {items} shown"
    yield f"  {bound_words(sheets)}"
    lucky = [row.id for row in sheets.rows() if row.timing >= Timing.LUCK]
    if lucky:
        yield from wrapped(f"depends on the machine's timing: {listed(lucky)}", "  ")
    met = [test.id for test in sheets.tests if test.cautions]
    if met:
        yield from wrapped(f"CAUTION: a hazard may be met as the machine is: {listed(met)}", "  ")
    unshown = [cover for cover in sheets.covers if not cover.row]
    if unshown:
        yield ""
        yield "Shown by no test"
        for cover in unshown:
            yield from wrapped(f"{cover.text}: {cover.reason}", "  - ")
    yield from caution()


def bound_words(sheets: Sheets) -> str:
    """Say how few tests could do."""
    of = f"out of {counted(sheets.candidates, 'shortest run')}"
    if sheets.exact:
        return f"no fewer would do, {of}"
    return f"{of} at least {sheets.fewest} are needed; fewer than {len(sheets.tests)} were not found"


def listed(names: Sequence[str]) -> str:
    """List names, not too many."""
    more = f" and {len(names) - MOST_SHOWN} more" if len(names) > MOST_SHOWN else ""
    return ", ".join(names[:MOST_SHOWN]) + more


def filled_lines(sheets: Sheets, filled: Filled, file: str) -> Iterator[str]:
    """Yield what came of sheets that were filled in."""
    counts = f"{counted(len(filled.passed), 'row')} passed, {len(filled.failed)} failed, {len(filled.blank)} left open"
    yield f"{file}: {counts}"
    passed = set(filled.passed)
    reached = [cover for cover in sheets.covers if cover.row in passed]
    yield f"  shown by rows that passed: {len(reached)} of {counted(len(sheets.covers), 'item')}"
    sorts = (
        ("failed", filled.failed),
        ("left open", filled.blank),
        ("changed since the sheet was made, so not counted as passed", filled.changed),
        ("missing", filled.missing),
        ("added by hand, not counted", filled.added),
    )
    for name, ids in sorts:
        if ids:
            yield from wrapped(f"{name}: {listed(ids)}", "  ")
    yield from _open_items(sheets, passed)
    yield from caution()


def _open_items(sheets: Sheets, passed: set[str]) -> Iterator[str]:
    left = [cover for cover in sheets.covers if cover.row not in passed]
    if not left:
        return
    yield ""
    yield "Open points"
    for cover in left:
        yield from wrapped(f"{cover.text}: {f'row {cover.row}' if cover.row else cover.reason}", "  - ")
