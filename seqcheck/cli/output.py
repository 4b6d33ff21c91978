"""Writes results where the command line was told to: a file that is complete or absent, or standard output."""

import os
from pathlib import Path

import click

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
