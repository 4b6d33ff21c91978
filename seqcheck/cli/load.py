"""Reads a sequence file for a command: the checked machine, or the diagnostics that refuse it."""

import hashlib
from pathlib import Path

import click
from msgspec import Struct

from seqcheck.check.check import check
from seqcheck.check.machine import Machine
from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Diagnostic, Sink
from seqcheck.diagnostics.render import render
from seqcheck.diagnostics.span import START_OF_FILE
from seqcheck.syntax.read import read

REFUSED = 2
MOST_BYTES = 8 * 2**20
"""More than the reader accepts, so that it sees that a file is too large, and no more than that."""

MOST_SHOWN = 100
"""Diagnostics of one file that are printed."""


class Loaded(Struct, frozen=True, kw_only=True):
    """A sequence file; *machine* is None if it was refused."""

    file: str
    text: str
    sha256: str
    machine: Machine | None
    diagnostics: tuple[Diagnostic, ...]


def load_any(path: Path) -> Loaded:
    """Read and check a file, whatever is wrong with it."""
    sink = Sink()
    data = _bytes(path, sink)
    document = None if data is None else read(data, sink)
    machine = None if document is None else check(document, sink)
    return Loaded(
        file=str(path),
        text=(data or b"").decode("utf-8", "replace"),
        sha256=hashlib.sha256(data or b"").hexdigest(),
        machine=None if sink.refused else machine,
        diagnostics=sink.diagnostics,
    )


def _bytes(path: Path, sink: Sink) -> bytes | None:
    try:
        with path.open("rb") as file:
            return file.read(MOST_BYTES)
    except OSError as error:
        sink.report(Code.CANNOT_READ, START_OF_FILE, f"the file cannot be read: {error.strerror or error}", "check the path")
        return None


def show_diagnostics(loaded: Loaded) -> None:
    """Print what is wrong with a file to standard error."""
    for diagnostic in loaded.diagnostics[:MOST_SHOWN]:
        click.echo(render(diagnostic, loaded.file, loaded.text), err=True)
        click.echo("", err=True)
    if len(loaded.diagnostics) > MOST_SHOWN:
        click.echo(f"{len(loaded.diagnostics) - MOST_SHOWN} more are not shown; --json gives all", err=True)


def load(path: Path) -> Loaded:
    """Read and check a file; print its diagnostics; end the program with exit code 2 if it is refused."""
    loaded = load_any(path)
    show_diagnostics(loaded)
    if loaded.machine is None:
        click.echo(refusal(loaded), err=True)
        raise SystemExit(REFUSED)
    return loaded


def refusal(loaded: Loaded) -> str:
    """Return the line that says how many errors refused a file."""
    errors = sum(1 for diagnostic in loaded.diagnostics if diagnostic.severity.value == "error")
    return f"{loaded.file}: refused, {errors} error{'' if errors == 1 else 's'}"
