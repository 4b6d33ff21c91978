"""The sections on acceptance tests and on the cause-and-effect matrix, with what the matrix can't say."""

from collections.abc import Iterator, Sequence

from seqcheck.analyse.testing.grid import EffectColumn, Matrix
from seqcheck.analyse.testing.matrix import matrix_of
from seqcheck.analyse.testing.records import Cover, Kind, Sheets, SheetTest
from seqcheck.analyse.testing.records import Row as TestRow
from seqcheck.report.lines import counted
from seqcheck.report.narrate import sentence
from seqcheck.review.absences import absent
from seqcheck.review.marks import bullets, link, name, note
from seqcheck.review.markup import Element, Piece, el
from seqcheck.review.record import Review, Section
from seqcheck.review.tables import Column, Row, Table, cell, columns, table

ACROSS = 10
"""Effects side by side that still fit a sheet of paper."""

AFTER = (
    "After IEC 62881; no conformity with it is claimed. Causes are rows, effects are columns. Made from the model alone, by "
    "what each condition names."
)
FILL = "To fill in while testing, the workbook of the command seqcheck sheets has these tests with blanks for what is observed."
CAUSES = columns("Cause", "Sort", "Description", "Normal state", "Delay", "Voting")
EFFECTS = columns("Effect", "Sort", "Action", "Reset")
ROWS = (Column(title="Row", narrow=True), *columns("Action", "Expected", "Energy, timing"))


# --- the cause-and-effect matrix ---
def matrix(review: Review) -> Iterator[Piece]:
    """Yield the matrix and what it can't say."""
    found = matrix_of(review.model)
    yield note(AFTER)
    parts = (part for letter, means in found.legend for part in (el("dt", None, letter), el("dd", None, means)))
    yield el("dl", {"class": "identity legend"}, parts)
    causes = tuple(
        Row(cells=tuple(cell(name(text)) for text in (one.tag, one.sort, one.description, one.normal, one.delay, one.voting)))
        for one in found.causes
    )
    yield table(Table(id="cause-table", caption="Causes", columns=CAUSES, rows=causes))
    effects = tuple(
        Row(cells=tuple(cell(name(text)) for text in (_head(number), one.tag, one.sort, one.action, one.reset)))
        for number, one in enumerate(found.effects)
    )
    yield table(Table(id="effect-table", caption="Effects", columns=(*columns("Column"), *EFFECTS), rows=effects))
    for first in range(0, len(found.effects), ACROSS):
        yield _grid(found, first)
    yield el("h3", {"id": "matrix-unsaid"}, "What the matrix can't say")
    rows = tuple(Row(cells=(cell(name(one.about)), cell(one.sort), cell(name(one.text)))) for one in found.unsaid)
    if rows:
        heads = columns("Where", "Sort", "What")
        yield table(Table(id="unsaid-table", caption="Sequence, mode, time and combinations", columns=heads, rows=rows))
    else:
        yield el("p", None, "Nothing was found that it can't say.")


def _grid(found: Matrix, first: int) -> Element:
    part = range(first, min(first + ACROSS, len(found.effects)))
    heads = (
        Column(title="Cause, in its normal state"),
        *(Column(title=f"{_head(n)} {_effect(found.effects[n])}", sortable=False) for n in part),
    )
    rows = (
        Row(cells=(cell(name(one.normal or one.tag)), *(cell(cells[n]) for n in part)))
        for one, cells in zip(found.causes, found.cells, strict=True)
        if any(cells[n] for n in part)
    )
    several = f", effects {_head(part[0])} to {_head(part[-1])}" if len(found.effects) > ACROSS else ""
    caption = f"Cause-and-effect matrix{several} (causes without a letter here are left out)"
    return table(Table(id=f"matrix-{first // ACROSS + 1}", caption=caption, columns=heads, rows=tuple(rows), looks="matrix"))


def _head(number: int) -> str:
    return f"E{number + 1}"


def _effect(one: EffectColumn) -> str:
    return f"{one.tag} {one.action}".strip()


# --- acceptance tests ---
def tests(review: Review) -> Iterator[Piece]:
    """Yield the acceptance tests, what they cover, and what is not covered."""
    sheets = review.sheets
    if sheets is None:
        yield el("p", None, absent(review, Section.SHEETS, "The acceptance tests were not made."))
        return
    yield note(FILL)
    fewest = "no fewer would do" if sheets.exact else f"at least {sheets.fewest} are needed"
    looked = f"of {counted(sheets.candidates, 'run')} looked at"
    yield el("p", None, f"{counted(len(sheets.tests), 'test')} with {counted(_checks(sheets), 'check')}; {fewest}, {looked}.")
    if sheets.stopped is not None:
        yield el("p", None, f"The search for them ended early at {sheets.stopped.value}.")
    yield bullets(sheets.rules)
    yield from _covered(sheets)
    yield el("h3", {"id": "test-runs"}, "The tests")
    starts = list(dict.fromkeys(test.start for test in sheets.tests))
    if len(starts) == 1:
        yield _start(starts[0])
    for test in sheets.tests:
        yield _test(test, with_start=len(starts) > 1)


def _checks(sheets: Sheets) -> int:
    return sum(test.checks for test in sheets.tests)


def _covered(sheets: Sheets) -> Iterator[Piece]:
    rows = tuple(Row(cells=(cell(name(one.text)), cell(_shown_by(one)), cell(name(one.reason)))) for one in sheets.covers)
    heads = columns("What is to be shown", "Shown by", "If not, why")
    yield table(Table(id="cover-table", caption="What the tests show", columns=heads, rows=rows))


def _shown_by(one: Cover) -> Piece:
    return link(f"test-row-{one.row}", one.row) if one.row else ("open" if one.is_open else "not testable")


def _start(conditions: Sequence[str]) -> Element:
    return el("p", {"class": "stands"}, el("strong", None, "Start conditions: "), "; ".join(conditions), ".")


def _test(test: SheetTest, *, with_start: bool) -> Element:
    head = el("summary", None, f"{test.id}: ", name(test.title), f" ({counted(test.checks, 'check')})")
    rows = tuple(_row(row) for row in test.rows)
    inside = [_start(test.start)] if with_start else []
    inside += [el("p", {"class": "caution"}, f"Caution: {sentence(one)}") for one in test.cautions]
    inside.append(table(Table(id=f"test-{test.id}-rows", caption=f"Test {test.id}", columns=ROWS, rows=rows, sortable=False)))
    restored = " ".join(sentence(line) for line in test.restoring.lines)
    inside.append(el("p", None, el("strong", None, "Restoring: "), restored))
    return el("details", {"id": f"test-{test.id}", "class": "test printed"}, head, inside)


def _row(row: TestRow) -> Row:
    """Return a row; energy and requirement are of interest only where something is shown, or a hazard may be met."""
    shows = row.kind is not Kind.STEP or bool(row.hazards)
    energy = f"{row.energy.value}{f' ({row.why_energy})' if row.why_energy else ''}; " if shows else ""
    expected = [row.expected, f"Time: {row.limit}." if row.limit else "", f"For {row.requirement}." if row.requirement else ""]
    said = (row.id, row.action, " ".join(filter(None, expected)), f"{energy}{row.timing_text}")
    return Row(cells=tuple(cell(name(text)) for text in said), id=f"test-row-{row.id}")
