"""Writes a study of procedures for people at a terminal: each procedure, then a table of what every deviation comes to."""

import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from msgspec import Struct

from seqcheck.analyse.procedures.confirming import confirmed
from seqcheck.analyse.procedures.records import Class, Deviation, Outcome, Row, Studied, Study
from seqcheck.analyse.procedures.wording import Wording
from seqcheck.analyse.verdict import Result, Verdict
from seqcheck.model.model import Model, Procedure
from seqcheck.report.lines import CAUTION, counted
from seqcheck.report.narrate import Vocabulary, duration_words
from seqcheck.report.text import Paint, account, plain, told

WIDTH = 100
NUMBER, LABEL = 5, 30
MOST_OUT = 4
"""Steps of a way out that are told one by one in the table."""

INSTEAD = " instead"
OUTCOME = WIDTH - NUMBER - LABEL - 5

WORKS = {True: ("works", Verdict.HOLDS), False: ("DOES NOT WORK", Verdict.VIOLATED), None: ("undecided", Verdict.UNDECIDED)}

SHORT = {
    Class.HAZARD: "meet a hazard",
    Class.UNDECIDED: "undecided",
    Class.FAILS: "cannot be completed",
    Class.LOST: "stuck for good",
    Class.STUCK: "stuck, a way out undecided",
    Class.WAY_OUT: "stuck with a way out",
    Class.REFUSED: "refused",
    Class.WELL: "still end well",
    Class.NO_EFFECT: "without effect",
    Class.NO_MOMENT: "never come about",
}
LEGEND = (
    (
        "Each deviation is taken from the procedure as written, all else as written, no fault occurring, whatever the machine "
        "does by itself. One deviation can come to several things: all are listed."
    ),
    (
        "“stops”: after a refusal nothing more is done, and the machine is left to itself. “goes on”: the steps that follow "
        "are given all the same. Neither: both come to the same. “not so”: a permissive that does not hold."
    ),
    (
        "“stuck”: it does not come to its end, or not to a good one. The way out is one of the fewest steps; what the machine "
        "does by itself stands in brackets."
    ),
    "“no effect”: the machine is then as it may be as written, and all that follows is as written.",
    "“before its wait is over”: at each moment, from the beginning of the wait (of several in a row, the first) on.",
    (
        "“emergency stop here”: pressed at each moment of the step, released after any time, then the procedure from its first "
        "step."
    ),
    "The number before a line is that of its first row: --run P.N tells the runs of row N of procedure P.",
)
NO_STOP = "No panel item is marked `role: emergency_stop`, so no procedure is stopped by one and started anew."
NO_COMMANDS = "The file has no commands, so none is given instead of a step."


def procedures_text(
    study: Study, model: Model, results: Sequence[Result], *, grouped: bool = True, paint: Paint = plain
) -> Iterator[str]:
    """Yield the lines of a whole report but its head; *results* are the verdicts on the procedures, in the order studied."""
    words = Wording(model=model, duration=duration_words)
    vocabulary = Vocabulary.of(model)
    for studied, result in zip(study.studied, results, strict=True):
        yield ""
        yield from _heading(studied, model, paint)
        if result.verdict is Verdict.VIOLATED:
            yield from account(result, vocabulary, paint)
        yield from Table(model=model, studied=studied, words=words, grouped=grouped, paint=paint).lines()
    yield ""
    yield from _legend(study, model)
    yield ""
    yield from textwrap.wrap(CAUTION, WIDTH)


def _heading(studied: Studied, model: Model, paint: Paint) -> Iterator[str]:
    procedure = model.procedures[studied.procedure]
    word, verdict = WORKS[studied.works]
    begins = "a start of the machine"
    if procedure.after is not None:
        begins = f"the end of “{model.procedures[procedure.after].name}”"
    ends = "" if procedure.ends_with is None else f", ends with “{procedure.ends_with.text}”"
    yield f"{studied.procedure + 1}. {procedure.name}: {paint(word, verdict)}"
    text = f"{counted(len(procedure.steps), 'step')} from {begins}{ends}"
    yield from textwrap.wrap(text, WIDTH, initial_indent="   ", subsequent_indent="   ")
    worst = Counter(row.outcomes[0].met for row in studied.rows)
    told = ", ".join(f"{count:,} {SHORT[met]}" for met, count in sorted(worst.items()))
    text = f"{counted(len(studied.rows), 'row')}, by the worst that they come to: {told}"
    yield from textwrap.wrap(text, WIDTH, initial_indent="   ", subsequent_indent="   ")


def _legend(study: Study, model: Model) -> Iterator[str]:
    yield "How to read it"
    notes = list(LEGEND)
    if model.emergency_stop is None:
        notes.append(NO_STOP)
    if not any(row.deviation is Deviation.INSTEAD for studied in study.studied for row in studied.rows):
        notes.append(NO_COMMANDS)
    for studied in study.studied:
        notes += _missing(model.procedures[studied.procedure])
    for note in notes:
        yield from textwrap.wrap(note, WIDTH, initial_indent="  - ", subsequent_indent="    ")


def _missing(procedure: Procedure) -> Iterator[str]:
    if len(procedure.steps) == 1:
        yield f"“{procedure.name}” has one step only, so none is swapped with the next."
    if procedure.ends_with is None:
        yield (
            f"“{procedure.name}” has no `ends with`: any end of it counts as a good one, and a way out leads to where it may "
            "end as written."
        )


def row_text(studied: Studied, number: int, model: Model) -> Iterator[str]:
    """Yield the lines that tell all runs of one row, counted from 0."""
    procedure, row = model.procedures[studied.procedure], studied.rows[number]
    words, vocabulary = Wording(model=model, duration=duration_words), Vocabulary.of(model)
    after = "goes on after a refusal" if row.regardless else "stops after a refusal"
    yield ""
    yield f"{procedure.name}, step {row.place + 1}: {words.step(procedure.steps[row.place])}"
    yield f"row {studied.procedure + 1}.{number + 1}: {words.deviation(row)}; {after}"
    for outcome in row.outcomes:
        yield ""
        yield from textwrap.wrap(words.outcome(procedure, outcome, row), WIDTH)
        taken = confirmed(model, procedure, outcome)
        if taken is not None:
            yield from told(taken.run, taken.accounts, vocabulary)
    yield ""
    yield from textwrap.wrap(CAUTION, WIDTH)


class Line(Struct, frozen=True):
    """One line of the table: the number of its first row, what is done otherwise, and what it comes to."""

    number: int
    label: str
    outcomes: tuple[str, ...]


class Table(Struct, frozen=True, kw_only=True):
    """The table of one procedure's deviations. *grouped*: deviations that come to the same share a line."""

    model: Model
    studied: Studied
    words: Wording
    grouped: bool
    paint: Paint

    @property
    def procedure(self) -> Procedure:
        """The procedure."""
        return self.model.procedures[self.studied.procedure]

    def lines(self) -> Iterator[str]:
        """Yield the lines of the table, under each step its deviations."""
        numbered = list(enumerate(self.studied.rows, start=1))
        pairs = list(zip(numbered[::2], numbered[1::2], strict=True))
        for place, of_step in groupby(pairs, key=lambda pair: pair[0][1].place):
            yield f"   step {place + 1}: {self.words.step(self.procedure.steps[place])}"
            for line in self._joined([self._line(*pair) for pair in of_step]):
                yield from self._written(line)

    def _line(self, goes_on: tuple[int, Row], stops: tuple[int, Row]) -> Line:
        number, row = goes_on
        one, other = [[self._told(outcome, of) for outcome in of.outcomes] for of in (row, stops[1])]
        if one == other:
            return Line(number, self.words.deviation(row), tuple(one))
        parts = [self._stops(stops[1]), self._goes_on(row)]
        if row.outcomes[0].met < stops[1].outcomes[0].met:
            parts.reverse()
        told = (*(text for part in parts for text in part), *self._refused_too(row, stops[1]))
        return Line(number, self.words.deviation(row), told)

    def _told(self, outcome: Outcome, row: Row) -> str:
        return self.words.outcome(self.procedure, outcome, row, MOST_OUT)

    def _stops(self, row: Row) -> Iterator[str]:
        return (f"stops: {self._told(outcome, row)}" for outcome in row.outcomes)

    def _goes_on(self, row: Row) -> Iterator[str]:
        return (f"goes on: {self._told(one, row)}" for one in row.outcomes if one.met is not Class.REFUSED)

    def _refused_too(self, row: Row, stops: Row) -> Iterator[str]:
        """Yield what is refused only if somebody goes on."""
        told = {one.refusal for one in stops.outcomes}
        more = [one.refusal for one in row.outcomes if one.refusal is not None and one.refusal not in told]
        if more:
            yield f"goes on: refused too: {', '.join(self.words.refused(refusal) for refusal in more)}"

    def _joined(self, lines: list[Line]) -> Iterable[Line]:
        """Join the lines of deviations that come to the same."""
        if not self.grouped:
            return lines
        joined: dict[tuple[str, ...], list[Line]] = {}
        for line in lines:
            joined.setdefault(line.outcomes, []).append(line)
        return [Line(of[0].number, _label(of), of[0].outcomes) for of in joined.values()]

    def _written(self, line: Line) -> Iterator[str]:
        labels = textwrap.wrap(line.label, LABEL, break_on_hyphens=False)
        told = [part for text in line.outcomes for part in textwrap.wrap(text, OUTCOME, subsequent_indent="  ")]
        for place in range(max(len(labels), len(told))):
            number = f"{line.number}" if place == 0 else ""
            label = labels[place] if place < len(labels) else ""
            outcome = told[place] if place < len(told) else ""
            yield f"  {number:>{NUMBER}} {label:<{LABEL}}  {self._painted(outcome)}".rstrip()

    def _painted(self, text: str) -> str:
        if "MEETS" in text or "CANNOT BE COMPLETED" in text:
            return self.paint(text, Verdict.VIOLATED)
        return self.paint(text, Verdict.UNDECIDED) if "UNDECIDED" in text or "STUCK FOR GOOD" in text else text


def _label(lines: list[Line]) -> str:
    """Name several deviations, other commands last and in one."""
    instead = [line.label.removesuffix(INSTEAD) for line in lines if line.label.endswith(INSTEAD)]
    labels = [line.label for line in lines if not line.label.endswith(INSTEAD)]
    if instead:
        labels.append(" or ".join(filter(None, (", ".join(instead[:-1]), instead[-1]))) + INSTEAD)
    return "; ".join(labels)
