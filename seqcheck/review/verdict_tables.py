"""The tables of hazards and of requirements with their verdicts."""

from collections.abc import Iterator

from seqcheck.analyse.faults.category import REQUIRED_LEVEL
from seqcheck.analyse.verdict import Case, Result, Verdict
from seqcheck.review.answering import sort_of
from seqcheck.review.marks import cost, link, mark, name, note
from seqcheck.review.markup import Piece
from seqcheck.review.naming import anchors
from seqcheck.review.record import Review
from seqcheck.review.shown_runs import ShownRuns
from seqcheck.review.tables import Cell, Column, Row, Table, cell, columns, ids, table

ORDER = (Verdict.VIOLATED, Verdict.UNDECIDED, Verdict.HOLDS)
LEVEL = (
    "Required level: PLr by the risk graph of ISO 13849-1, Annex A, from severity S, exposure F and avoidance P as the file "
    "gives them, rated before the safeguard. An indication only: performance levels are determined and validated elsewhere."
)
HAZARDS = (
    *columns("What must never be", "Condition"),
    *(Column(title=letter, narrow=True) for letter in ("S", "F", "P")),
    *columns("Required level", "Verdict", "Shown by", "Source"),
)
REQUIREMENTS = columns("What is required", "Kind", "Condition", "Verdict", "Shown by", "Source")
KINDS = {
    "reachable": "can be reached",
    "recoverable": "can always be reached again",
    "forbid": "never accepted while",
    "only": "made true by nothing else",
    "response": "comes within a time",
    "precedence": "comes first",
    "range": "built-in check",
    "settling": "built-in check",
    "procedure": "procedure",
}


def hazards(review: Review, runs: ShownRuns) -> Iterator[Piece]:
    """Yield the table of hazards."""
    found = [result for result in _results(review) if result.kind == "hazard"]
    if not found:
        yield note("The file states no hazards.")
        return
    yield note(LEVEL)
    places = anchors("hazard", (result.id for result in found))
    rows = tuple(
        Row(id=anchor, cells=(*_asked(r), *_risk(r), *_judged(review, runs, r)))
        for anchor, r in zip(places, found, strict=True)
    )
    yield table(
        Table(
            id="hazard-table",
            caption="Hazards, without faults",
            columns=(ids("Id", (r.id for r in found)), *HAZARDS),
            rows=rows,
        )
    )


def requirements(review: Review, runs: ShownRuns) -> Iterator[Piece]:
    """Yield the table of requirements, built-in checks among them; procedures have a section of their own."""
    found = [result for result in _results(review) if sort_of(result) in {"requirement", "check"}]
    places = anchors("requirement", (result.id for result in found))
    rows = tuple(
        Row(id=anchor, cells=(*_asked(r, kind=True), *_judged(review, runs, r)))
        for anchor, r in zip(places, found, strict=True)
    )
    yield table(
        Table(
            id="requirement-table",
            caption="Requirements, without faults",
            columns=(ids("Id", (r.id for r in found)), *REQUIREMENTS),
            rows=rows,
        )
    )


def _results(review: Review) -> Iterator[Result]:
    cases: tuple[Case, ...] = review.verification.cases
    yield from (result for case in cases for result in case.results)


def _asked(result: Result, *, kind: bool = False) -> Iterator[Cell]:
    yield cell(name(result.id))
    yield cell(name(result.text))
    if kind:
        yield cell(KINDS.get(result.kind, result.kind))
    yield cell(name(result.condition))


def _risk(result: Result) -> Iterator[Cell]:
    parts = [*result.risk.split(), "", "", ""][:3]
    yield from (cell(part) for part in parts)
    yield cell(REQUIRED_LEVEL.get(result.risk, "none given"))


def _judged(review: Review, runs: ShownRuns, result: Result) -> Iterator[Cell]:
    yield cell(mark(result.verdict), key=ORDER.index(result.verdict))
    shown = runs.of(result)
    steps = cost(result.run, review.words) if result.run is not None else "no run"
    if shown is not None:
        yield cell(link(shown.anchor, f"run of {result.id}"), f": {steps}", key=result.run.step_count if result.run else -1)
    else:
        yield cell(result.reason or "every reachable state")
    yield cell(name(result.source))
