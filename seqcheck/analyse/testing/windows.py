"""Tells by when each row must be done so that the rows after it are in time too: windows of rows that share one beginning.

Commands tried in vain do nothing; so their windows, and that of the step after them, run from the same row, the last that did
something. Whoever is slow with the first of them is late for the others.
"""

from collections.abc import Sequence

from msgspec.structs import replace

from seqcheck.analyse.testing.records import Row, Timing
from seqcheck.analyse.testing.wording import Words
from seqcheck.model.run import StepKind


def narrowed(rows: Sequence[Row], words: Words, *, prompt: bool) -> tuple[Row, ...]:
    """Return the rows with windows that leave room for those after them. *prompt*: the tester's steps brook no delay."""
    most: int | None = None
    done: list[Row] = []
    for row in reversed(rows):
        if row.tried is not None:
            most = least_of(row.within_ticks, most)
            done.append(_within(row, most, words, later=most != row.within_ticks))
            continue
        done.append(row)
        most = _leaves(row, prompt=prompt)
    return tuple(reversed(done))


def least_of(one: int | None, other: int | None) -> int | None:
    """Return the smaller bound; None is no bound."""
    return other if one is None else one if other is None else min(one, other)


def waits(row: Row) -> bool:
    """Tell whether a row only waits."""
    return all(step.by.kind in {StepKind.WAIT, StepKind.PLANT} for step in row.steps)


def _leaves(row: Row, *, prompt: bool) -> int | None:
    """Return how much time a row leaves for commands tried before it."""
    if not waits(row):
        return 0 if prompt else row.within_ticks
    return row.least_ticks if not row.steps[-1].changes else None


def _within(row: Row, most: int | None, words: Words, *, later: bool) -> Row:
    """Return a row that must be done in time for later ones; one that hangs on luck anyway stays as it is."""
    if not later or most is None or row.timing >= Timing.AT_ONCE:
        return row
    if row.timing is Timing.PROMPT:
        text = words.timing(Timing.PROMPT, None)
        return replace(row, within_ticks=most, timing_text=text)
    timing = Timing.WITHIN if most else Timing.AT_ONCE
    return replace(row, within_ticks=most, timing=timing, timing_text=words.timing(timing, most))
