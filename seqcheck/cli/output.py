"""Writes results where the command line was told to: a file that is complete or absent, or standard output."""

import os
from collections.abc import Mapping, Sequence
from pathlib import Path

import click

FOLDERS = frozenset({"--waveforms"})
"""Options that take a folder, which is made if it is not there."""

MOST_LETTERS = 50
"""Letters of a file's name that the name of the file beside it, while it is written, begins with: up to four bytes each."""


def write_whole(path: str, text: str) -> None:
    """Write *text* so that a reader never sees half of a file; `-` is standard output, a device or pipe is written to.

    Raises `click.ClickException`.
    """
    if path == "-":
        click.echo(text, nl=False)
        return
    write_bytes(path, text.encode())


def write_bytes(path: str, data: bytes) -> None:
    """Write *data* as `write_whole` writes a text. Raises `click.ClickException`."""
    import tempfile

    target = Path(path)
    try:
        if target.exists() and not target.is_file():
            target.write_bytes(data)
            return
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:MOST_LETTERS]}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            Path(name).chmod(0o644)
            Path(name).replace(target)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise click.ClickException(f"cannot write {path}: {error.strerror or error}") from None


def refuse_to_write_over(files: Sequence[Path], written: Mapping[str, str | Path | None]) -> None:
    """Refuse, before anything is worked out, what could not be written or would be written over a file that is read.

    Raises `click.ClickException`.
    """
    taken = {file.resolve(): "a sequence file to verify" for file in files}
    if written.get("--json") == written.get("--junit") == "-":
        raise click.BadParameter("standard output is where --json goes", param_hint="--junit")
    for option, path in written.items():
        if option in FOLDERS and str(path) == "-":
            raise click.BadParameter("it takes a folder, not standard output", param_hint=option)
        if path is None or path == "-":
            continue
        if option not in {"--json", "--junit"} and len(files) > 1:
            raise click.BadParameter("it goes with one sequence file", param_hint=option)
        there = Path(path).resolve()
        if there in taken:
            raise click.BadParameter(f"{path} is {taken[there]}; it would be written over", param_hint=option)
        taken[there] = f"what {option} writes"
        if option not in FOLDERS and option != "--resume":  # who keeps a search says where it cannot
            refuse_unwritable(there, str(path))


def refuse_unwritable(there: Path, name: str) -> None:
    """Raise `click.ClickException` if no file could be written *there*."""
    if there.is_dir():
        raise click.ClickException(f"cannot write {name}: it is a folder")
    if not there.parent.is_dir():
        raise click.ClickException(f"cannot write {name}: there is no folder {there.parent.name}")
    if not there.exists() and not os.access(there.parent, os.W_OK):
        raise click.ClickException(f"cannot write {name}: no file may be made in {there.parent.name}")
