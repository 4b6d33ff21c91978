"""Writes results where the command line was told to: a file that is complete or absent, or standard output."""

import os
from pathlib import Path

import click


def write_whole(path: str, text: str) -> None:
    """Write *text* so that a reader never sees half of a file; `-` is standard output, a device or pipe is written to.

    Raises `click.ClickException`.
    """
    if path == "-":
        click.echo(text, nl=False)
        return
    import tempfile

    target = Path(path)
    try:
        if target.exists() and not target.is_file():
            target.write_text(text, encoding="utf-8")
            return
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(text)
            Path(name).chmod(0o644)
            Path(name).replace(target)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise click.ClickException(f"cannot write {path}: {error.strerror or error}") from None
