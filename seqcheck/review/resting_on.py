"""What a review rests on: assumptions, limits, warnings, the sources that the file names."""

from collections.abc import Iterator

from seqcheck.analyse.verdict import Case
from seqcheck.report.lines import counted
from seqcheck.report.text import coverage
from seqcheck.review.marks import bullets, name, note
from seqcheck.review.markup import Piece, el
from seqcheck.review.record import Review, Unanswered
from seqcheck.review.tables import Column, Row, Table, cell, columns, table


def assumptions(review: Review) -> Iterator[Piece]:
    """Yield the assumptions, and what this review does not tell."""
    yield note("Every verdict in this file is about the model, and rests on these assumptions.")
    yield bullets(review.verification.assumptions)
    yield el("h3", {"id": "limits"}, "Limits of this review")
    yield bullets(_limits(review))
    if review.warnings:
        yield el("h3", {"id": "warnings"}, "Warnings about the file")
        yield bullets(f"line {one.line}: {one.message} ({one.code}). {one.help}" for one in review.warnings)


def _limits(review: Review) -> Iterator[str]:
    for case in review.verification.cases:
        yield f"Without faults: {coverage(case)}."
        yield from _apart(case)
    open_, left = ([one for one in review.unanswered if one.asked is asked] for asked in (True, False))
    yield from (f"Kept open: {_told(one)}" for one in open_)
    yield from (f"Not asked: {_told(one)}" for one in left)
    if not review.unanswered:
        yield "Every question of this file was asked and answered."


def _apart(case: Case) -> Iterator[str]:
    for one in case.observed:
        found = f"{counted(one.states, 'state')}, {counted(one.transitions, 'transition')}"
        yield f"{one.id} was searched by itself, with what it has to remember: {found} (engine {one.engine}); {coverage(one)}."


def _told(one: Unanswered) -> str:
    asks = f" The command {one.command} tells it." if one.command else ""
    return f"{one.what} ({one.section.value}); {one.why}.{asks}"


def sources(review: Review) -> Iterator[Piece]:
    """Yield where the file says that its facts come from."""
    if not review.verification.sources:
        yield note("The file names no sources.")
        return
    yield note("As the file gives them; nobody has checked them here.")
    yield table(
        Table(
            id="source-table",
            caption="Sources, as the file gives them",
            columns=(*columns("About", "Source"), Column(title="Line", numbers=True)),
            rows=tuple(
                Row(cells=(cell(name(one.about)), cell(name(one.source)), cell(f"{one.line}")))
                for one in review.verification.sources
            ),
        )
    )
