"""Shows on standard error how far a search is, once it has run for a second."""

import sys
import time

import click

from seqcheck.search.engine import Progress


class ProgressLine:
    """One line that is written over on a terminal; elsewhere a line every ten seconds."""

    def __init__(self, what: str) -> None:
        self._what = what
        self._terminal = sys.stderr.isatty()
        self._due = time.monotonic() + 1
        self._width = 0

    def __call__(self, progress: Progress) -> None:
        """Show *progress* if it is time to."""
        now = time.monotonic()
        if now < self._due:
            return
        self._due = now + (0.2 if self._terminal else 10)
        line = (
            f"{self._what}: {progress.states:,} states, {progress.transitions:,} transitions, {progress.layer} steps deep, "
            f"{progress.waiting:,} states waiting (Ctrl-C stops)"
        )
        if self._terminal:
            click.echo("\r" + line.ljust(self._width), nl=False, err=True)
            self._width = len(line)
        else:
            click.echo(line, err=True)

    def clear(self) -> None:
        """Take the line off the terminal."""
        if self._width:
            click.echo("\r" + " " * self._width + "\r", nl=False, err=True)
            self._width = 0
