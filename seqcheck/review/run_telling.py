"""Tells runs on the page: in words step by step, as a timing diagram, and with a place for the step-through replay."""

from collections.abc import Iterator

from seqcheck.analyse.verdict import Verdict
from seqcheck.draw.timing import timing_svg
from seqcheck.model.run import Run, StepKind
from seqcheck.report.narrate import Told, how_it_fails, how_it_stands, sentence, tell
from seqcheck.report.text import meaning
from seqcheck.review.drawn import about, figure
from seqcheck.review.marks import cost, link, mark, note, title
from seqcheck.review.markup import Element, Piece, Trusted, el
from seqcheck.review.record import Review
from seqcheck.review.shown_runs import Shown, ShownRuns
from seqcheck.review.tables import Cell, Column, Row, Table, cell, table

STEPS = (Column(title="Step", narrow=True), Column(title="At", narrow=True), Column(title="What happens"))
DECIDING = "The last command that the controller accepts."
NONE_VIOLATED = "Nothing is violated without faults, so there is no run that shows a violation."
NONE_YET = "No run was found that shows a violation without faults. Where something is undecided, there may be one."


def counterexamples(review: Review, runs: ShownRuns) -> Iterator[Piece]:
    """Yield how each violation without faults comes about, then what shows that something can be reached."""
    if not runs.violated:
        known = not review.verification.has(Verdict.UNDECIDED)
        yield el("p", None, NONE_VIOLATED if known else NONE_YET)
    for one in runs.violated:
        yield violation(review, one)
    if runs.reaching:
        yield el("h3", {"id": "reaching"}, "Shortest runs to what must be reachable")
        yield note("These show that the machine can do its job. They are no violations.")
        for one in runs.reaching:
            told = f" [{cost(one.result.run, review.words)}]" if one.result.run is not None else ""
            head = el("summary", None, title(one.result), told)
            yield el("details", {"id": one.anchor, "class": "run printed"}, head, *telling(review, one))


def violation(review: Review, shown: Shown) -> Element:
    """Return the article on one violation."""
    result = shown.result
    heading = f"{shown.anchor}-title"
    return el(
        "article",
        {"id": shown.anchor, "class": "run", "aria-labelledby": heading},
        el("h3", {"id": heading}, title(result), " ", mark(result.verdict)),
        el("p", None, _said(shown), _cost(review, shown)),
        *telling(review, shown),
    )


def _said(shown: Shown) -> str:
    result = shown.result
    if result.verdict is Verdict.UNDECIDED:
        return sentence(result.reason)
    origin = ", ".join(filter(None, (f"line {result.line}" if result.line > 1 else "", result.risk, result.source)))
    return sentence(f"{meaning(result)}{f' ({origin})' if origin else ''}")


def _cost(review: Review, shown: Shown) -> str:
    return f" {cost(shown.result.run, review.words).capitalize()}." if shown.result.run is not None else ""


def telling(review: Review, shown: Shown) -> Iterator[Element]:
    """Yield all that is told of one run."""
    run = shown.result.run
    if run is None:
        yield el("p", None, "There is no run to show. ", sentence(shown.result.reason))
        return
    yield _start(review, run)
    if run.steps:
        yield table(_steps(review, shown, run))
    yield from _end(review, shown, run)
    if shown.drawn:
        yield _diagram(review, shown, run)
    yield el("div", {"class": "replay", "data-run": shown.anchor})


def _start(review: Review, run: Run) -> Element:
    words = review.words
    start = "At the start (one of several)" if words.several_starts else "At the start"
    return el("p", {"class": "stands"}, el("strong", None, f"{start}: "), how_it_stands(run.start, words), ".")


def _steps(review: Review, shown: Shown, run: Run) -> Table:
    last = max((n for n, step in enumerate(run.steps) if step.by.kind is StepKind.COMMAND), default=-1)
    told = tell(run, shown.result.accounts, review.words)
    return Table(
        id=f"{shown.anchor}-steps",
        caption=f"{shown.called}: the run, step by step",
        columns=STEPS,
        rows=tuple(_step(one, f"{shown.anchor}-step-{n}", deciding=n - 1 == last) for n, one in enumerate(told, start=1)),
        sortable=False,
        looks="steps",
    )


def _step(told: Told, anchor: str, *, deciding: bool) -> Row:
    first, *rest = filter(None, told.sentences)
    told_first: Cell = cell(el("strong", None, first), " ", " ".join(rest))
    if deciding:
        told_first = cell(el("em", {"class": "deciding"}, DECIDING), " ", *told_first.content)
    return Row(cells=(cell(told.number or "wait"), cell(told.at), told_first), id=anchor)


def _diagram(review: Review, shown: Shown, run: Run) -> Element:
    anchor, result = f"{shown.anchor}-diagram", shown.result
    model, origin = review.model_of(result), about(review)
    prefix = f"{anchor}-svg"
    svg = timing_svg(run, result.accounts, model, review.words, about=origin, result=result, prefix=prefix)
    return figure(anchor, f"{result.id}: timing diagram of the run", Trusted(svg), "timing")


def _end(review: Review, shown: Shown, run: Run) -> Iterator[Element]:
    result, words = shown.result, review.words
    really = result.accounts[-1].really if result.accounts else ()
    if run.failure is not None:
        yield el("p", None, how_it_fails(run.failure, words, at_start=not run.steps))
    when = "At the end" if run.failure is None else "Before that step"
    yield el("p", {"class": "stands"}, el("strong", None, f"{when}: "), how_it_stands(run.end, words, really), ".")
    if result.spoken:
        met = f"So {result.id} is met: {' and '.join(result.spoken)}."
        yield el("p", {"class": "so"}, el("strong", None, met), " See ", link("hazards", "Hazards"), ".")
