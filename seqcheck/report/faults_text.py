"""Writes a study of faults for people at a terminal: what each set of faults reaches, notice, categories, then the runs."""

import textwrap
from collections.abc import Iterator, Sequence

from msgspec.structs import replace

from seqcheck.analyse.faults.category import Behaviour, Indication
from seqcheck.analyse.faults.collecting import Reached, Row
from seqcheck.analyse.faults.noticing import Notice, Noticed
from seqcheck.analyse.faults.sets import FaultSet
from seqcheck.analyse.faults.study import Study
from seqcheck.model.run import Run
from seqcheck.report.lines import WIDTH, counted, footing, wrapped
from seqcheck.report.narrate import Vocabulary, duration_words
from seqcheck.report.text import account

LEGEND = (
    "A number: reached or broken, in so many steps at the fewest. part: a part of this set does it already. x: broken, and no "
    "single run shows it. ?: not known. A dot: neither."
)
INDICATION = (
    "An indication only, as far as this model goes; architecture, reliability and diagnostics are judged elsewhere. Required: "
    "the level PLr by the risk graph of ISO 13849-1, rated before the safeguard."
)
WIDEST = 7
"""The widest column of the table, which holds an id or a number of steps."""


def study_text(study: Study, words: Vocabulary, *, file: str, sha256: str, runs: bool) -> Iterator[str]:
    """Yield the lines of a whole report, the caution last."""
    revision = f", revision {study.revision}" if study.revision else ""
    yield f"{study.machine}{revision}   ({file}, sha256 {sha256[:12]})"
    yield ""
    yield from coverage(study)
    yield from _table(study)
    yield from _unreached(study)
    yield from _open(study)
    yield from _noticed(study.noticed)
    yield from _indicated(study.indications)
    if runs:
        yield from _runs(study, words)
    yield from footing(study.assumptions, study.sources)


def called(faults: FaultSet) -> str:
    """Return a set of faults in words."""
    return " and ".join(f"“{fault}”" for fault in faults) if faults else "no fault"


def reached_line(reached: Reached, words: Vocabulary) -> str:
    """Return the line that is shown when something is found."""
    result = reached.result
    how = f"   [{cost(result.run, words)}]" if result.run is not None else ""
    return f"{result.id} is {'reached' if result.kind == 'hazard' else 'broken'} with {called(reached.faults)}{how}"


def cost(run: Run, words: Vocabulary) -> str:
    """Return the steps and the time of a run."""
    return f"{counted(run.step_count, 'step')}, {duration_words(run.tick_count * words.tick_s)}"


def coverage(study: Study) -> Iterator[str]:
    """Yield how many of the sets were looked at."""
    yield f"Looked at, of {counted(len(study.faults), 'fault')}"
    for one in study.covered:
        what = "no fault" if one.size == 0 else counted(one.size, "fault") + (" at a time" if one.size > 1 else " alone")
        share = f"all {one.total:,}" if one.done >= one.total else f"{one.done:,} of {one.total:,}"
        yield f"  {what}: {share}" if one.size or one.done < one.total else f"  {what}"
    if study.ended is not None:
        yield f"  the study ended early at {study.ended.value}; what it did not look at is not known"


# --- the table ---
def _table(study: Study) -> Iterator[str]:
    """Yield a row for each set of faults that is minimal for something, a column for each thing reached."""
    rows = [row for row in study.rows if row.reached]
    sets = sorted({one.faults for row in rows for one in row.reached}, key=lambda faults: (len(faults), _order(study, faults)))
    if not sets:
        return
    yield ""
    yield "What reaches what"
    names = [", ".join(faults) or "no fault" for faults in sets]
    wide = min(max(map(len, names)), WIDTH // 2)
    across = max(1, (WIDTH - wide - 2) // (WIDEST + 1))
    heads = _heads(rows)
    for head, row in zip(heads, rows, strict=True):
        if head != row.subject.id:
            yield from wrapped(f"{head} {row.subject.id}", "  ")
    for first in range(0, len(rows), across):
        part = rows[first : first + across]
        yield f"  {'':<{wide}} {' '.join(f'{head:>{WIDEST}}' for head in heads[first : first + across])}".rstrip()
        for faults, name in zip(sets, names, strict=True):
            cells = " ".join(f"{_cell(row, faults):>{WIDEST}}" for row in part)
            *above, last = textwrap.wrap(name, wide)
            yield from (f"  {line}" for line in above)
            yield f"  {last:<{wide}} {cells}"
        yield ""
    yield from wrapped(LEGEND, "  ")


def _heads(rows: Sequence[Row]) -> list[str]:
    """Return what stands over each column: the ids, or numbers if these are too long."""
    ids = [row.subject.id for row in rows]
    return ids if all(len(id_) <= WIDEST for id_ in ids) else [f"({number})" for number in range(1, len(ids) + 1)]


def _order(study: Study, faults: FaultSet) -> tuple[int, ...]:
    return tuple(study.faults.index(fault) for fault in faults)


def _cell(row: Row, faults: FaultSet) -> str:
    chosen = set(faults)
    for one in row.reached:
        if one.faults == faults:
            return "x" if one.result.run is None else str(one.result.run.step_count)
    if any(chosen.issuperset(one.faults) for one in row.reached):
        return "part"
    return "?" if any(one.faults == faults for one in row.open) else "."


def _unreached(study: Study) -> Iterator[str]:
    unreached = [row.subject.id for row in study.rows if not row.reached]
    if unreached and any(one.done for one in study.covered):
        yield ""
        what = f"Neither reached nor broken with any of {'these' if study.complete else 'those looked at'}"
        yield from wrapped(f"{what}: {', '.join(unreached)}", "")


def _open(study: Study) -> Iterator[str]:
    found = [(row.subject.id, one) for row in study.rows for one in row.open]
    if found:
        yield ""
        yield "Not known"
        for id_, one in found:
            yield from wrapped(f"{id_} with {called(one.faults)}: {one.reason}", "  - ")


# --- notice and categories ---
def _noticed(noticed: Sequence[Noticed]) -> Iterator[str]:
    if not noticed:
        return
    yield ""
    yield "Is a stuck signal noticed? (A trip acts by the next demand at the latest, or no start is accepted after it.)"
    for notice in Notice:
        names = [one for one in noticed if one.notice is notice]
        if names:
            told = "; ".join(f"{one.fault} ({one.reason})" if one.reason else one.fault for one in names)
            yield from wrapped(f"{notice.value}: {told}", "  ")


def _indicated(indications: Sequence[Indication]) -> Iterator[str]:
    if not indications:
        return
    yield ""
    yield "Category behaviour that the logic shows (ISO 13849-1)"
    for one in indications:
        yield from wrapped(f"{one.hazard}: {behaviour_words(one)}", "  ")
    yield from wrapped(INDICATION, "  ")


def behaviour_words(one: Indication) -> str:
    """Return in words which category behaviour is shown, which level is required, because of what, and what was left out."""
    shown = f"category {one.behaviour.value}" if one.behaviour is not Behaviour.UNKNOWN else "not known"
    if one.behaviour is Behaviour.NONE:
        shown = "none: reached without a fault"
    deciding = " / ".join(called(faults) for faults in one.because if faults)
    because = f"; because of {deciding}" if deciding else ""
    left = f"; not looked at: {', '.join(one.not_looked_at)}" if one.not_looked_at else ""
    return f"{shown}, required PLr {one.required_level}{because}{left}"


# --- runs ---
def _runs(study: Study, words: Vocabulary) -> Iterator[str]:
    for row in study.rows:
        for one in row.reached:
            yield ""
            yield from account(one.result, words)
    for notice in study.noticed:
        if notice.result is not None and notice.result.run is not None:
            yield ""
            yield from account(replace(notice.result, id="Not noticed:"), words)
