"""Shows on standard error how far a search is, once it has run for a second."""

import sys
import time
from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import TYPE_CHECKING

import click

from seqcheck.report.narrate import duration_words
from seqcheck.search.engine import Progress

if TYPE_CHECKING:
    from seqcheck.analyse.faults.desk import Pace

LONGEST = 12
"""Digits of a number that is shown in full."""


class ProgressLine:
    """One line that is written over on a terminal; elsewhere a line every ten seconds."""

    def __init__(self, what: str) -> None:
        self._what = what
        self._terminal = sys.stderr.isatty()
        self._due = time.monotonic() + 1
        self._width = 0

    def __call__(self, progress: Progress) -> None:
        """Show *progress* if it is time to."""
        self._show(lambda: known(progress))

    def keep_pace(self, pace: "Pace") -> None:
        """Show how many sets of faults are done, and how long the others will take, if it is time to."""
        self._show(lambda: paced(pace))

    def _show(self, told: Callable[[], Iterator[str]]) -> None:
        now = time.monotonic()
        if now < self._due:
            return
        self._due = now + (0.2 if self._terminal else 10)
        line = f"{self._what}: {', '.join(told())} (Ctrl-C stops)"
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


def paced(pace: "Pace") -> Iterator[str]:
    """Yield in words how far the work on many questions is."""
    yield f"{pace.done:,} of {pace.total:,} done"
    if pace.left_s is not None:
        yield f"about {duration_words(Fraction(max(1, round(pace.left_s))))} left"


def known(progress: Progress) -> Iterator[str]:
    """Yield in words how far a search is; engines leave at 0 what they do not know while they search."""
    yield f"{short(progress.states)} states" if progress.states else "searching"
    if progress.transitions:
        yield f"{short(progress.transitions)} transitions"
    if progress.layer:
        yield f"{progress.layer} steps deep"
    if progress.waiting:
        yield f"{short(progress.waiting)} states waiting"


def short(number: int) -> str:
    """Return a number, or how large about it is if it is too long to be read in passing."""
    digits = str(number)
    return f"{number:,}" if len(digits) <= LONGEST else f"{digits[0]}.{digits[1]}·10^{len(digits) - 1}"
