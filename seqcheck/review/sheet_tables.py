"""Lays out acceptance-test sheets and the cause-and-effect matrix as tables of plain texts, for a workbook and for CSV."""

from collections.abc import Iterator, Sequence

from msgspec import Struct

from seqcheck.analyse.testing.grid import Matrix, rows_of
from seqcheck.analyse.testing.records import CHOICES, Energy, Kind, Row, Sheets, SheetTest
from seqcheck.report.lines import CAUTION, counted

CAUTIONS = (
    CAUTION,
    "A model is no substitute for the real machine: what it leaves out (wiring, reaction, wear) these tests leave out too.",
    "Lock out and tag out before any work within reach of what can move; prove that energy is gone before you rely on it.",
    "Local codes and the maker's instructions come first. Only competent people test, two at a time: a tester and a witness.",
    "A test marked DEPENDS ON TIMING may need several tries; restore the start condition before each.",
)
HASH, VERSION = "SHA-256 of the file", "seqcheck version"
ID, OUTCOME, RESTORED, CHOSEN = "id", "pass or fail", "restored afterwards", "energy condition (chosen)"
PASS, FAIL, LEFT = "pass", "fail", "not done"
OUTCOMES = (PASS, FAIL, LEFT)
ANSWERS = ("yes", "no")


class Column(Struct, frozen=True, kw_only=True):
    """A column: its head, its width in letters, what may be chosen in it; *filled_in*: it is left for people."""

    head: str
    width: int
    choices: tuple[str, ...] = ()
    filled_in: bool = False


class Table(Struct, frozen=True, kw_only=True):
    """A table; *heads* are how many lines at its top are heads, *strong* the numbers of other lines that stand out.

    *joined* are cells that are one on paper: a line, the first column, which has the text, and the last. *kept* are how many
    columns stand at the left of every page.
    """

    name: str
    columns: tuple[Column, ...]
    lines: tuple[tuple[str, ...], ...]
    heads: int = 1
    strong: frozenset[int] = frozenset()
    joined: tuple[tuple[int, int, int], ...] = ()
    kept: int = 0


TEST_COLUMNS = (
    Column(head=ID, width=6),
    Column(head="requirement", width=13),
    Column(head="start conditions", width=11),
    Column(head="action", width=16),
    Column(head="expected", width=20),
    Column(head="time limit", width=10),
    Column(head="when", width=10),
    Column(head="energy condition (proposed)", width=13),
    Column(head=CHOSEN, width=9, choices=CHOICES, filled_in=True),
    Column(head="observed", width=11, filled_in=True),
    Column(head=OUTCOME, width=5, choices=OUTCOMES, filled_in=True),
    Column(head="date", width=7, filled_in=True),
    Column(head="initials tester", width=6, filled_in=True),
    Column(head="initials witness", width=6, filled_in=True),
    Column(head="remarks", width=9, filled_in=True),
    Column(head=RESTORED, width=8, choices=ANSWERS, filled_in=True),
)
FILLED_IN = tuple(column.head for column in TEST_COLUMNS if column.filled_in)
CHECKED = ("requirement", "start conditions", "action", "expected", "time limit")
"""What is compared when sheets are read back."""


class About(Struct, frozen=True, kw_only=True):
    """The file that sheets are of: its name without folders, its hash, and the version of this tool."""

    file: str
    sha256: str
    version: str


def tables(sheets: Sheets, matrix: Matrix, about: About) -> tuple[Table, ...]:
    """Return all tables in the order of the workbook."""
    return (
        cover_table(sheets, about),
        test_table(sheets),
        coverage_table(sheets),
        matrix_table(matrix),
        legend_table(matrix),
        unsaid_table(matrix),
    )


def clean(text: str) -> str:
    """Return a text without characters that a cell cannot hold, and not longer than one can hold."""
    kept = "".join(letter if letter.isprintable() or letter == "\n" else "\N{REPLACEMENT CHARACTER}" for letter in text)
    return kept if len(kept) <= LONGEST else kept[: LONGEST - 1] + "…"


LONGEST = 32_000
"""Characters in a cell; a workbook allows 32,767."""


# --- tests ---
START, ACTION, LAST = 2, 3, 7
"""Columns of a test's head and of its restoring that are joined on paper: both are long."""


def test_table(sheets: Sheets) -> Table:
    """Return the sheets themselves: a head for each test, its rows, and how it is restored."""
    lines: list[tuple[str, ...]] = [tuple(column.head for column in TEST_COLUMNS)]
    strong: set[int] = set()
    joined: list[tuple[int, int, int]] = []
    for test in sheets.tests:
        strong.add(len(lines))
        joined.append((len(lines), START, LAST))
        lines += _test_lines(test)
        joined.append((len(lines) - 1, ACTION, LAST))
    strong_lines = frozenset(strong)
    return Table(name="Tests", columns=TEST_COLUMNS, lines=_cleaned(lines), strong=strong_lines, joined=tuple(joined))


def _test_lines(test: SheetTest) -> Iterator[tuple[str, ...]]:
    start = ("Start condition: " + "; ".join(test.start), *(f"CAUTION: {caution}" for caution in test.cautions))
    yield _line((test.id, f"Shows: {test.title}", "\n".join(start)))
    before = "as listed for the test"
    for row in test.rows:
        yield _line((row.id, row.requirement, before, row.action, row.expected, row.limit, row.timing_text, energy(row)))
        before = f"after {row.id}" if row.kind is not Kind.REFUSED else before
    restoring = "\n".join(("Restore the start condition, as far as the machine's timing allows:", *test.restoring.lines))
    yield _line((f"{test.id}.R", "", before, restoring))


def energy(row: Row) -> str:
    """Say the energy condition proposed for a row, with the reason."""
    if row.energy is Energy.CHOOSE:
        return "the person responsible chooses"
    return f"{Energy.SIMULATED.value.upper()}. {row.why_energy}"


def _line(told: Sequence[str]) -> tuple[str, ...]:
    return (*told, *("" for _ in range(len(TEST_COLUMNS) - len(told))))


def _cleaned(lines: Sequence[Sequence[str]]) -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(clean(text) for text in line) for line in lines)


# --- the others ---
def cover_table(sheets: Sheets, about: About) -> Table:
    """Return the cover: what the sheets are of, what they rest on, cautions, and where people sign."""
    checks = sum(test.checks for test in sheets.tests)
    need = "the fewest that do out of these runs" if sheets.exact else f"at least {sheets.fewest} are needed out of these runs"
    open_ = [cover for cover in sheets.covers if not cover.row]
    searched = "every reachable state was searched" if sheets.stopped is None else f"the search ended at {sheets.stopped.value}"
    lines = [
        ("Acceptance-test sheets", ""),
        ("machine", sheets.machine),
        ("revision", sheets.revision),
        ("file", about.file),
        (HASH, about.sha256),
        (VERSION, about.version),
        ("searched", f"{counted(sheets.states, 'state')}, engine {sheets.engine}; {searched}"),
        ("tests", f"{counted(len(sheets.tests), 'test')} out of {counted(sheets.candidates, 'run')}: {need}"),
        (
            "rows that show something",
            f"{checks} rows show {len(sheets.covers) - len(open_)} of {counted(len(sheets.covers), 'item')}",
        ),
        ("shown by no test", f"{counted(len(open_), 'item')}: see the sheet Coverage" if open_ else "none"),
        *(("rule", rule) for rule in sheets.rules),
        *(("assumption", assumption) for assumption in sheets.assumptions),
        *(("caution", caution) for caution in CAUTIONS),
        *((f"{who}: name, initials, date, signature", "") for who in ("tester", "witness", "person responsible")),
    ]
    columns = (Column(head="", width=34), Column(head="", width=110))
    return Table(name="Cover", columns=columns, lines=_cleaned(lines), strong=frozenset())


def coverage_table(sheets: Sheets) -> Table:
    """Return what is shown by which row, and what is not."""
    lines: list[tuple[str, ...]] = [("item", "row", "note")]
    for cover in sheets.covers:
        note = cover.reason
        if cover.row and not cover.alone:
            note = "nothing of the outputs would tell the difference: see the row"
        lines.append((cover.text, cover.row, note))
    columns = (Column(head="item", width=70), Column(head="row", width=8), Column(head="note", width=70))
    return Table(name="Coverage", columns=columns, lines=_cleaned(lines))


def matrix_table(matrix: Matrix) -> Table:
    """Return the cause-and-effect matrix."""
    lines = [tuple(line) for line in rows_of(matrix)]
    told = (12, 8, 18, 16, 6, 6, 18)
    columns = tuple(Column(head="", width=told[n] if n < len(told) else 8) for n in range(len(lines[0])))
    return Table(name="Matrix", columns=columns, lines=_cleaned(lines), heads=5, kept=len(told))


def legend_table(matrix: Matrix) -> Table:
    """Return what the letters of the matrix mean."""
    after = ("after", "IEC 62881 (cause-and-effect matrix), as far as it is known to this project; no claim of conformity")
    columns = (Column(head="letters", width=12), Column(head="meaning", width=110))
    return Table(name="Legend", columns=columns, lines=_cleaned([("letters", "meaning"), *matrix.legend, after]))


def unsaid_table(matrix: Matrix) -> Table:
    """Return what the matrix can't say."""
    lines = [("what it is about", "where", "what the matrix can't say"), *((u.sort, u.about, u.text) for u in matrix.unsaid)]
    columns = (Column(head="", width=22), Column(head="", width=48), Column(head="", width=80))
    return Table(name="Not in the matrix", columns=columns, lines=_cleaned(lines))
