"""The section on procedures: whether each works as written, and what comes of every deviation from it.

Deviations that matter are told one by one; those that end harmlessly are counted and listed in few lines.
"""

from collections import Counter
from collections.abc import Collection, Iterator

from msgspec import Struct

from seqcheck.analyse.procedures.records import Class, Studied
from seqcheck.analyse.procedures.records import Row as Deviated
from seqcheck.analyse.procedures.wording import Wording
from seqcheck.analyse.verdict import Result
from seqcheck.model.model import Model, Procedure
from seqcheck.report.lines import counted
from seqcheck.report.narrate import duration_words
from seqcheck.report.procedures_text import MOST_OUT, SHORT, WORKS
from seqcheck.review.absences import absent
from seqcheck.review.marks import cost, link, mark, name, note
from seqcheck.review.markup import Element, Piece, el
from seqcheck.review.record import Review, Section
from seqcheck.review.run_telling import telling
from seqcheck.review.shown_runs import ShownRuns
from seqcheck.review.tables import Column, Row, Table, cell, columns, table

MATTERS = (Class.HAZARD, Class.UNDECIDED, Class.FAILS, Class.LOST, Class.STUCK)
RULE = (
    "Each deviation (a step left out, repeated, swapped with the next, done early, another command instead, an emergency stop "
    "and a new start) is taken twice: once the person stops after a refusal, once the steps that follow are given all the "
    "same. It counts by the worst that it can come to. Told one by one: what meets a hazard, cannot be completed, gets stuck "
    "for good, gets stuck with no known way out, or is undecided. The others meet no hazard in this model: refused, stuck with "
    "a way out, without effect, or it still ends well. They are counted, and listed joined where several come to the same; on "
    "paper they are printed where they are open."
)
ASK = "The command seqcheck procedures with --run and a number from the tables tells each run of a row step by step."
NONE_MATTERS = "No deviation meets a hazard, cannot be completed, or gets stuck without a way out."


def procedures(review: Review, runs: ShownRuns) -> Iterator[Piece]:
    """Yield what was found of procedures."""
    study = review.procedures
    if study is None:
        yield el("p", None, absent(review, Section.PROCEDURES, "The file writes down no procedures."))
        return
    yield note(RULE)
    yield note(ASK)
    yield _overview(review)
    verdicts = {one.id: one for case in review.verification.cases for one in case.results if one.kind == "procedure"}
    for studied, result in zip(study.studied, review.procedure_results, strict=True):
        shown = runs.of(verdicts.get(result.id, result))
        place = link(shown.anchor, "The run that shows it") if shown is not None else ""
        yield from Telling(model=review.model, studied=studied, runs=runs).told(result, place)
    yield from _runs(review, runs)


def _runs(review: Review, runs: ShownRuns) -> Iterator[Piece]:
    """Yield the runs of deviations that meet a hazard or cannot be completed."""
    if not runs.deviating:
        return
    yield el("h3", {"id": "deviation-runs"}, "Runs of deviations")
    left = len(review.deviation_runs) - len(runs.deviating)
    yield note(f"{left:,} more are not told here. {ASK}" if left else "Each opens where it is asked for.")
    for one in runs.deviating:
        steps = "" if one.result.run is None else f" [{cost(one.result.run, review.words)}]"
        head = el("summary", None, f"{one.result.id.capitalize()}{steps}")
        yield el("details", {"id": one.anchor, "class": "run"}, head, *telling(review, one))


def _overview(review: Review) -> Element:
    study = review.procedures
    rows = []
    for studied in study.studied if study is not None else ():
        worst = Counter(row.outcomes[0].met for row in studied.rows)
        procedure = review.model.procedures[studied.procedure]
        numbers = (cell(f"{worst[met]:,}") for met in Class)
        rows.append(Row(cells=(cell(link(anchor(studied), name(procedure.name))), *numbers)))
    heads = (Column(title="Procedure"), *(Column(title=SHORT[met], numbers=True) for met in Class))
    caption = "Rows of deviations, by the worst that they come to"
    return table(Table(id="deviation-counts", caption=caption, columns=heads, rows=tuple(rows)))


def anchor(studied: Studied) -> str:
    """Return where a procedure is told of."""
    return f"procedure-{studied.procedure + 1}"


def works(studied: Studied) -> Element:
    """Return whether a procedure works, as it stands beside its heading."""
    words, verdict = WORKS[studied.works]
    return mark(verdict, words)


class Telling(Struct, frozen=True, kw_only=True):
    """Tells of one procedure."""

    model: Model
    studied: Studied
    runs: ShownRuns

    @property
    def procedure(self) -> Procedure:
        """The procedure."""
        return self.model.procedures[self.studied.procedure]

    @property
    def words(self) -> Wording:
        """How its steps and outcomes are said."""
        return Wording(model=self.model, duration=duration_words)

    def told(self, result: Result, place: Piece) -> Iterator[Piece]:
        """Yield the heading, the steps as written, and the tables of deviations."""
        procedure, number = self.procedure, self.studied.procedure + 1
        heading = el("h3", {"id": anchor(self.studied)}, f"Procedure {number}: ", name(procedure.name), " ")
        yield el(heading.name, heading.attributes, heading.children, works(self.studied))
        begins = "a start of the machine"
        if procedure.after is not None:
            begins = f"the end of “{self.model.procedures[procedure.after].name}”"
        yield el("p", None, f"{result.text or result.reason}. It begins at {begins}. ", place)
        yield el("ol", {"class": "written"}, (el("li", None, self.words.step(step)) for step in procedure.steps))
        if procedure.ends_with is not None:
            yield el("p", None, "It ends with “", name(procedure.ends_with.text), "”.")
        yield from self._that_matter()
        yield from (self._harmless(met) for met in Class if met not in MATTERS and self._rows(met))

    def _rows(self, *classes: Class) -> list[tuple[int, Deviated]]:
        """Return the rows whose worst outcome is of some class, with their numbers."""
        rows = enumerate(self.studied.rows, start=1)
        return [(number, row) for number, row in rows if row.outcomes[0].met in classes]

    def _that_matter(self) -> Iterator[Piece]:
        rows = self._rows(*MATTERS)
        if not rows:
            yield el("p", None, NONE_MATTERS)
            return
        yield table(
            Table(
                id=f"{anchor(self.studied)}-matters",
                caption=f"“{self.procedure.name}”: deviations that matter",
                columns=columns("Row", "Step", "Done otherwise", "After a refusal", "What it can come to"),
                rows=tuple(self._that_matters(number, row) for number, row in rows),
            )
        )

    def _that_matters(self, number: int, row: Deviated) -> Row:
        told = {one.anchor for one in self.runs.deviating}
        outcomes = [self._outcome(number, n, row, told) for n in range(len(row.outcomes))]
        return Row(
            id=f"{anchor(self.studied)}-row-{number}",
            cells=(
                cell(f"{self.studied.procedure + 1}.{number}", key=number),
                cell(self._step(row.place), key=row.place),
                cell(self.words.deviation(row)),
                cell("goes on" if row.regardless else "stops"),
                cell(el("ul", None, (el("li", None, *parts) for parts in outcomes))),
            ),
        )

    def _outcome(self, number: int, place: int, row: Deviated, told: Collection[str]) -> tuple[Piece, ...]:
        """Say one outcome, with a link to its run where that is told."""
        said = self.words.outcome(self.procedure, row.outcomes[place], row, MOST_OUT)
        run = f"deviation-run-{self.studied.procedure + 1}-{number}-{place + 1}"
        return (said, " ", link(run, "run")) if run in told else (said,)

    def _step(self, place: int) -> str:
        return f"{place + 1}: {self.words.step(self.procedure.steps[place])}"

    def _harmless(self, met: Class) -> Element:
        """Return the rows of a harmless class, folded, those joined that come to the same at the same step."""
        rows = self._rows(met)
        joined: dict[tuple[int, str], list[tuple[int, Deviated]]] = {}
        for number, row in rows:
            text = self.words.outcome(self.procedure, row.outcomes[0], row, MOST_OUT)
            joined.setdefault((row.place, text), []).append((number, row))
        made = tuple(self._joined(place, text, of) for (place, text), of in joined.items())
        made_table = Table(
            id=f"{anchor(self.studied)}-{met.name.lower().replace('_', '-')}",
            caption=f"“{self.procedure.name}”: {SHORT[met]}",
            columns=columns("Step", "Done otherwise (first row)", "Comes to"),
            rows=made,
            sortable=False,
        )
        said = f"{SHORT[met].capitalize()}: {counted(len(rows), 'row')}"
        return el("details", {"class": "harmless"}, el("summary", None, said), table(made_table))

    def _joined(self, place: int, text: str, of: list[tuple[int, Deviated]]) -> Row:
        after: dict[str, list[bool]] = {}
        for _, row in of:
            after.setdefault(self.words.deviation(row), []).append(row.regardless)
        labels = [label if len(both) > 1 else f"{label} ({_after(both[0])})" for label, both in after.items()]
        first = f" ({self.studied.procedure + 1}.{of[0][0]})"
        return Row(cells=(cell(str(place + 1)), cell("; ".join(labels) + first), cell(text)))


def _after(regardless: bool) -> str:  # noqa: FBT001 - what a row says of itself
    return "goes on" if regardless else "stops"
