"""Lines that all printed reports have: wrapped text, numbers of things, and how a report ends."""

import textwrap
from collections.abc import Iterator, Sequence

from seqcheck.model.model import Source

CAUTION = (
    "This is a statement about the model under these assumptions. It does not replace a risk assessment by competent people, "
    "lockout, or validation on the real machine; local codes and licensed practice come first."
)
WIDTH = 110


def wrapped(text: str, indent: str, hanging: int | None = None) -> list[str]:
    """Return a text in lines that begin with *indent*, later ones with as many blanks, or with *hanging*."""
    later = " " * (len(indent) if hanging is None else hanging)
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=later) or [indent.rstrip()]


def counted(number: int, thing: str) -> str:
    """Return a number of things: `1 state`, `2 states`."""
    return f"{number:,} {thing}{'' if number == 1 else 's'}"


def caution() -> Iterator[str]:
    """Yield the last lines of a report."""
    yield ""
    yield from textwrap.wrap(CAUTION, WIDTH)


def footing(assumptions: Sequence[str], sources: Sequence[Source] = ()) -> Iterator[str]:
    """Yield how a report ends: what it rests on, where its facts come from, the caution."""
    yield ""
    yield "Assumptions"
    for assumption in assumptions:
        yield from wrapped(assumption, "  - ")
    if sources:
        yield ""
        yield "Sources, as the file gives them"
        for source in sources:
            yield from wrapped(f"{source.about}: {source.source} (line {source.line})", "  - ")
    yield from caution()
