"""The section on faults: which set of faults brings about what, in how many steps, each run told on demand."""

from collections.abc import Iterator, Sequence

from seqcheck.analyse.faults.collecting import Row as Known
from seqcheck.analyse.faults.sets import FaultSet
from seqcheck.analyse.faults.study import Study
from seqcheck.report.faults_text import INDICATION, LEGEND, behaviour_words, called, coverage
from seqcheck.report.lines import counted
from seqcheck.review.absences import absent
from seqcheck.review.marks import bullets, cost, link, name, note
from seqcheck.review.markup import Element, Piece, el
from seqcheck.review.record import Review, Section
from seqcheck.review.run_telling import telling
from seqcheck.review.shown_runs import Shown, ShownRuns
from seqcheck.review.tables import Cell, Column, Row, Table, cell, columns, table

ACROSS = 14
"""Columns of a table that still fit a sheet of paper."""

LONGEST_HEAD = 7


def faults(review: Review, runs: ShownRuns) -> Iterator[Piece]:
    """Yield the tables on faults."""
    study = review.faults
    if study is None:
        yield el("p", None, absent(review, Section.FAULTS, "The file states no faults."))
        return
    head, *lines = (line.strip() for line in coverage(study))
    yield el("p", None, f"{head}: {'; '.join(lines)}.")
    yield from _tables(study, runs)
    yield from _nothing(study)
    yield from _open(study)
    yield from _notice(study, runs)
    yield from _indications(study)
    yield from _runs(review, runs)


# --- the table ---
def _tables(study: Study, runs: ShownRuns) -> Iterator[Piece]:
    rows = [row for row in study.rows if row.reached]
    order = {fault: place for place, fault in enumerate(study.faults)}
    found = {one.faults for row in rows for one in row.reached}
    sets = sorted(found, key=lambda chosen: (len(chosen), [order[fault] for fault in chosen]))
    if not sets:
        return
    heads = _heads(rows)
    yield note(LEGEND)
    if heads[0] != rows[0].subject.id:
        yield bullets(f"{head} {row.subject.id}" for head, row in zip(heads, rows, strict=True))
    for number, first in enumerate(range(0, len(rows), ACROSS), start=1):
        part = rows[first : first + ACROSS]
        several = f", part {number}" if len(rows) > ACROSS else ""
        caption = f"Faults, and in how many steps each brings about what{several}"
        shown_heads = [Column(title=head, numbers=True, narrow=True) for head in heads[first : first + ACROSS]]
        made = (Row(cells=(cell(_called(chosen)), *(_cell(row, chosen, runs) for row in part))) for chosen in sets)
        yield table(
            Table(
                id=f"fault-table-{number}",
                caption=caption,
                columns=(Column(title="Faults"), *shown_heads),
                rows=tuple(made),
                looks="grid",
            )
        )


def _heads(rows: Sequence[Known]) -> list[str]:
    """Return what stands over each column: the ids, or numbers if these are too long."""
    ids = [row.subject.id for row in rows]
    return ids if all(len(id_) <= LONGEST_HEAD for id_ in ids) else [f"({number})" for number in range(1, len(ids) + 1)]


def _called(chosen: FaultSet) -> str:
    return ", ".join(chosen) or "no fault"


def _cell(row: Known, chosen: FaultSet, runs: ShownRuns) -> Cell:
    for one in row.reached:
        if one.faults == chosen:
            if one.result.run is None:
                return cell("x", key=0)
            steps = one.result.run.step_count
            shown = runs.of(one.result)
            return cell(str(steps) if shown is None else link(shown.anchor, str(steps)), key=steps)
    if any(set(chosen).issuperset(one.faults) for one in row.reached):
        return cell("part", key=10**6)
    unknown = any(one.faults == chosen for one in row.open)
    return cell("?" if unknown else "·", key=10**7)


def _nothing(study: Study) -> Iterator[Element]:
    unreached = [row.subject.id for row in study.rows if not row.reached]
    if unreached and any(one.done for one in study.covered):
        which = "these" if study.complete else "those looked at"
        yield el("p", None, f"Neither reached nor broken with any of {which}: {', '.join(unreached)}.")


def _open(study: Study) -> Iterator[Piece]:
    found = [(row.subject.id, one) for row in study.rows for one in row.open]
    if found:
        yield el("h3", {"id": "faults-open"}, "Not known")
        yield bullets(f"{id_} with {called(one.faults)}: {one.reason}" for id_, one in found)


# --- notice and categories ---
def _notice(study: Study, runs: ShownRuns) -> Iterator[Piece]:
    if not study.noticed:
        return
    yield el("h3", {"id": "notice"}, "Is a stuck signal noticed?")
    yield note("Noticed: a trip acts by the next demand at the latest, or no start is accepted after it.")
    rows = []
    for one in study.noticed:
        shown = None if one.result is None else runs.of(one.result)
        why = name(one.reason) if shown is None else link(shown.anchor, f"a run in which it is not: {_steps(shown)}")
        rows.append(Row(cells=(cell(name(one.fault)), cell(one.notice.value), cell(why))))
    yield table(
        Table(
            id="notice-table",
            caption="Notice of stuck signals",
            columns=columns("Fault", "Noticed?", "Because"),
            rows=tuple(rows),
        )
    )


def _steps(shown: Shown) -> str:
    return "no single run shows it" if shown.result.run is None else counted(shown.result.run.step_count, "step")


def _indications(study: Study) -> Iterator[Piece]:
    if not study.indications:
        return
    yield el("h3", {"id": "categories"}, "Category behaviour that the logic shows (ISO 13849-1)")
    rows = tuple(Row(cells=(cell(name(one.hazard)), cell(behaviour_words(one)))) for one in study.indications)
    heads = columns("Hazard", "What the logic shows")
    yield table(Table(id="category-table", caption="Category behaviour, an indication only", columns=heads, rows=rows))
    yield note(INDICATION)


# --- runs ---
def _runs(review: Review, runs: ShownRuns) -> Iterator[Element]:
    if not runs.by_faults and not runs.unnoticed:
        return
    yield el("h3", {"id": "fault-runs"}, "Shortest runs with faults")
    yield note("Each opens where it is asked for. On paper only those that are open are printed.")
    for one in (*runs.by_faults, *runs.unnoticed):
        run = one.result.run
        steps = "" if run is None else f" [{cost(run, review.words)}]"
        yield el(
            "details", {"id": one.anchor, "class": "run"}, el("summary", None, f"{one.called}{steps}"), *telling(review, one)
        )
