"""`seqcheck sheets`: acceptance-test sheets and a cause-and-effect matrix from a model; reads sheets that were filled in."""

from enum import Enum
from pathlib import Path

import click

from seqcheck import __version__
from seqcheck.analyse.testing.records import Sheets
from seqcheck.check.machine import Machine
from seqcheck.cli.exporting import make_folder
from seqcheck.cli.load import REFUSED, Loaded, load
from seqcheck.cli.output import refuse_to_write_over, write_bytes
from seqcheck.cli.progress import ProgressLine
from seqcheck.cli.searching import INTERNAL_ERROR
from seqcheck.compile.compile import compile_machine
from seqcheck.model.model import Model
from seqcheck.review.sheet_tables import About, Table, tables
from seqcheck.search.engine import Limits
from seqcheck.search.planner.job import NoAnswerError

FAILED, OPEN = 1, 3


class Form(Enum):
    """How sheets are written."""

    WORKBOOK = "a workbook"
    TABLES = "CSV files side by side"
    FOLDER = "CSV files in a folder"


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--out", metavar="PATH", help="Write the sheets: a workbook (.xlsx), or CSV (.csv, or a folder).")
@click.option(
    "--read", "filled", metavar="FILLED.xlsx", type=click.Path(path_type=Path), help="Read sheets that were filled in."
)
@click.option("--max-states", type=click.IntRange(min=1), metavar="N", help="Give up after so many states.")
@click.option("--max-seconds", type=click.FloatRange(min=0), metavar="S", help="Give up after so many seconds.")
def sheets(file: Path, out: str | None, filled: Path | None, max_states: int | None, max_seconds: float | None) -> None:
    """Make acceptance-test sheets for FILE, and its cause-and-effect matrix; or read sheets that were filled in.

    For each permissive a row tries the command where that permissive alone refuses it, for each trip a row sets it off, for
    each command a row gives it where it is accepted. Every row is played in the simulator before it is shown.

    Exit code: 0 the sheets are made, or all rows passed; 1 a row failed; 2 FILE or the sheets are refused, or an option is
    wrong; 3 something is open (rows left blank, changed or missing; a limit was reached, or Ctrl-C); 70 internal error.
    """
    if out is not None and filled is not None:
        raise click.UsageError("--out makes new sheets, --read reads filled ones: give one of them")
    if out is not None:
        refuse_to_write_over([file], {"--out": None if form_of(out) is Form.FOLDER else out})
    loaded = load(file)
    if loaded.machine is None:
        raise SystemExit(REFUSED)
    model = compile_machine(loaded.machine)
    made = sheets_made(loaded, loaded.machine, model, Limits(states=max_states, seconds=max_seconds))
    about = About(file=file.name, sha256=loaded.sha256, version=__version__)
    if filled is not None:
        raise SystemExit(read_back(made, model, about, filled))
    from seqcheck.review.sheet_lines import sheets_lines

    if out is not None:
        write(out, all_tables(made, model, about), made.machine)
    for line in sheets_lines(made, loaded.file, loaded.sha256):
        click.echo(line)
    if out is not None:
        click.echo(f"written to {out}", err=True)
    raise SystemExit(OPEN if any(cover.is_open for cover in made.covers) else 0)


def sheets_made(loaded: Loaded, machine: Machine, model: Model, limits: Limits) -> Sheets:
    """Make the sheets of a file; every row is played in the simulator. Raises `Disagreement`."""
    from seqcheck.analyse.testing.sheets import sheets_of
    from seqcheck.cli.sheet_replay import confirm

    line = ProgressLine(loaded.file)
    try:
        made = sheets_of(model, limits, line)
    except NoAnswerError as none:
        click.echo(f"seqcheck: no engine came to an answer: {none}", err=True)
        raise SystemExit(INTERNAL_ERROR) from None
    finally:
        line.clear()
    confirm(machine, made)
    return made


def all_tables(made: Sheets, model: Model, about: About) -> tuple[Table, ...]:
    """Return the tables of a file's sheets and matrix."""
    from seqcheck.analyse.testing.matrix import matrix_of

    return tables(made, matrix_of(model), about)


def form_of(out: str) -> Form:
    """Return how sheets are written. Raises `click.BadParameter`."""
    path = Path(out)
    if path.suffix.lower() == ".xlsx":
        return Form.WORKBOOK
    if path.is_dir() or (path.suffix == "" and out != "-"):
        return Form.FOLDER
    if path.suffix.lower() == ".csv":
        return Form.TABLES
    said = "sheets are several tables, which standard output cannot hold" if out == "-" else f"{out} is none of these"
    raise click.BadParameter(f"{said}; give a workbook (.xlsx), tables (.csv) or a folder", param_hint="--out")


def write(out: str, made: tuple[Table, ...], title: str) -> None:
    """Write tables as a workbook, or each as a CSV file. Raises `click.ClickException`."""
    path, form = Path(out), form_of(out)
    if form is Form.WORKBOOK:
        from seqcheck.review.workbook import workbook_bytes

        write_bytes(out, workbook_bytes(made, title))
        return
    from seqcheck.review.sheets_csv import csv_text, file_stem

    if form is Form.TABLES:
        named = {
            path if table.name == "Tests" else path.with_name(f"{path.stem}_{file_stem(table)}.csv"): table for table in made
        }
    else:
        make_folder(path)
        named = {path / f"{file_stem(table)}.csv": table for table in made}
    for target, table in named.items():
        write_bytes(str(target), csv_text(table).encode())


def read_back(made: Sheets, model: Model, about: About, path: Path) -> int:
    """Say what came of filled-in sheets; return the exit code. Raises `click.ClickException` if they cannot be read."""
    from seqcheck.review.filled import Unreadable, answered, hold_against
    from seqcheck.review.sheet_lines import filled_lines

    try:
        answers = answered(path, about)
    except Unreadable as unreadable:
        raise click.ClickException(f"{path}: {unreadable}") from None
    table = next(table for table in all_tables(made, model, about) if table.name == "Tests")
    wanted = [row.id for row in made.rows() if row.items]
    found = hold_against(answers, table, wanted)
    for line in filled_lines(made, found, path.name):
        click.echo(line)
    if found.failed:
        return FAILED
    is_open = found.blank or found.changed or found.missing or any(cover.is_open for cover in made.covers)
    return OPEN if is_open else 0
