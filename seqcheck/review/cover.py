"""The cover sheet: what was checked, under which assumptions, what failed and why. It fills the first printed page."""

from collections.abc import Iterator, Sequence

from seqcheck.analyse.assumptions import GENERAL
from seqcheck.analyse.verdict import Verdict
from seqcheck.draw.labels import shortened
from seqcheck.report.lines import counted
from seqcheck.review.answering import answer, searched, why, with_faults
from seqcheck.review.marks import bullets, link, mark, name, title
from seqcheck.review.markup import Element, Piece, el
from seqcheck.review.record import Review
from seqcheck.review.shown_runs import Shown, ShownRuns

LINES, LINE = 33, 122
"""Printed lines that the cover has left for violations, so that it stays one page, and the characters that one holds."""

LONGEST_TITLE, LONGEST_ID = 160, 24
"""Characters of a violated thing's text and id on the cover; they stand in full further on."""

MOST_NAMED = 60
"""Ids of violated things that are told further on only."""


def cover(review: Review, runs: ShownRuns) -> Element:
    """Return the cover sheet."""
    model = review.model
    return el(
        "section",
        {"id": "cover", "aria-labelledby": "cover-title"},
        el("p", {"class": "kind"}, "Review of an operating sequence and its interlocks"),
        el("h1", {"id": "cover-title"}, name(model.name)),
        el("p", {"class": "answer"}, answer(review)),
        el("h2", {"id": "checked"}, "What was checked"),
        el("dl", {"class": "identity"}, (part for pair in _identity(review) for part in pair)),
        el("h2", {"id": "under"}, "Under which assumptions"),
        bullets(_assumed(review)),
        el("p", {"class": "caution"}, "In this model, under these assumptions. See ", link("cautions", "the cautions"), "."),
        el("h2", {"id": "failed"}, "What failed, and why"),
        *_failed(review, runs),
    )


def _identity(review: Review) -> Iterator[tuple[Element, Element]]:
    for term, *content in _facts(review):
        yield el("dt", None, term), el("dd", None, content)


def _facts(review: Review) -> Iterator[tuple[Piece, ...]]:
    revision = (", revision ", name(review.model.revision)) if review.model.revision else (", no revision given",)
    yield "Machine", name(review.model.name), *revision
    yield "File", name(review.file)
    yield "SHA-256 of the file", el("code", {"class": "hash"}, review.sha256)
    yield "Tool, date", f"seqcheck {review.tool_version}, ", el("time", {"datetime": review.date}, review.date)
    for line in searched(review):
        yield "Searched", line
    case = review.verification.cases[0]
    told = review.searched.get(case.faults)
    yield "Engine", f"{case.engine}: {told.reason}" if told is not None and told.reason else case.engine
    if review.proof is None:
        yield "Proof file", "none was written with this review"
    else:
        yield "Proof file", name(review.proof.name), ", SHA-256 ", el("code", {"class": "hash"}, review.proof.sha256)


def _assumed(review: Review) -> Iterator[Piece]:
    every = review.verification.assumptions
    short = [one for one in every if one in GENERAL or one.startswith("time passes")]
    yield from short
    more = len(every) - len(short)
    if more:
        yield el("span", None, f"{more} more, on bounds of time that are strict: see ", link("assumptions", "all assumptions"))
    left_out = [one for one in review.unanswered if one.asked]
    if left_out:
        yield el("span", None, f"{counted(len(left_out), 'question')} kept open: see ", link("limits", "limits of this review"))


def _failed(review: Review, runs: ShownRuns) -> Iterator[Element]:
    open_ = [r for case in review.verification.cases for r in case.results if r.verdict is Verdict.UNDECIDED]
    violated = [one for one in runs.violated if one.result.verdict is Verdict.VIOLATED]
    if violated:
        told = list(_that_fit(review, violated))
        yield el("ul", {"class": "failures"}, told)
        rest = violated[len(told) :]
        named = ", ".join(shortened(one.result.id, LONGEST_ID) for one in rest[:MOST_NAMED])
        more = f" and {len(rest) - MOST_NAMED} more" if len(rest) > MOST_NAMED else ""
        if rest:
            yield el("p", None, f"Violated too, told further on: {named}{more}.")
    elif not open_:
        yield el("p", None, mark(Verdict.HOLDS), " Nothing of what was asked is violated without faults.")
    if open_:
        yield el("p", None, mark(Verdict.UNDECIDED), f" Undecided: {', '.join(one.id for one in open_)}.")
    faulty = with_faults(review)
    if faulty:
        yield el("p", None, faulty, " See ", link("faults", "Faults"), ".")


def _that_fit(review: Review, violated: Sequence[Shown]) -> Iterator[Element]:
    """Yield a sentence on each of the first violations, as many as the printed cover has room for."""
    left = LINES
    for one in violated:
        head, because = shortened(title(one.result), LONGEST_TITLE), why(one.result, review.words)
        left -= -(-len(f"{head}. {because}") // LINE)
        if left < 0:
            return
        yield el("li", None, el("strong", None, link(one.anchor, head)), ". ", because)
