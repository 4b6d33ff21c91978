"""Says what a review does not answer: what a limit, an interruption or the machine kept open, and what was not asked."""

from collections.abc import Iterator, Mapping

from msgspec import Struct

from seqcheck.analyse.auditing.audit import Audit
from seqcheck.analyse.faults.desk import Ended
from seqcheck.analyse.faults.study import Study as FaultStudy
from seqcheck.analyse.mapping.records import SituationMap
from seqcheck.analyse.procedures.records import Study as ProcedureStudy
from seqcheck.analyse.testing.records import Sheets
from seqcheck.analyse.verdict import Verdict, Verification
from seqcheck.report.lines import counted
from seqcheck.review.asking import Drawn
from seqcheck.review.record import PictureKind, Section, Unanswered

BROKEN_OFF = "it was broken off, as it came to no end in time"

LEFT_OUT = "it was left out to be quick"

AUDITED = {
    "purposes": "what each permissive and trip is for",
    "pairs": "which pairs of permissives and trips may not go together",
    "refusals": "which commands are refused without need",
    "mends": "what would keep a hazard away",
    "margins": "how far durations may change before a verdict turns",
}
"""The questions of an audit by their names in `Audit.missing`."""


class Known(Struct, frozen=True, kw_only=True):
    """What is known about the file, as in `Review`. *situations* is the map, or why there is none.

    *drawn* are the pictures of each kind, None if that was broken off,
    *sheets* the tests, or why there are none. Not *audit_is_whole*: some questions of the audit were.
    *thorough*: what usually takes too long was asked too.
    """

    file: str
    verification: Verification
    faults: FaultStudy | None
    has_faults: bool
    procedures: ProcedureStudy | None
    audit: Audit
    audit_is_whole: bool
    situations: SituationMap | str
    sheets: Sheets | str
    drawn: Mapping[PictureKind, Drawn | None]
    thorough: bool


def unanswered(known: Known) -> Iterator[Unanswered]:
    """Yield what is not answered, in the order of the sections."""
    yield from _verified(known)
    yield from _faults(known)
    yield from _procedures(known)
    yield from _audited(known)
    yield from _mapped(known)
    yield from _drawn(known)
    yield from _sheets(known)


def _verified(known: Known) -> Iterator[Unanswered]:
    (case,) = known.verification.cases
    open_: dict[str, list[str]] = {}
    for result in case.results:
        if result.verdict is Verdict.UNDECIDED:
            open_.setdefault(result.reason, []).append(result.id)
    for why, ids in open_.items():
        yield Unanswered(
            section=Section.VERIFY,
            what=f"whether {', '.join(ids)} {'holds' if len(ids) == 1 else 'hold'}",
            why=why,
            asked=True,
            command=f"seqcheck verify {known.file}",
        )


def _faults(known: Known) -> Iterator[Unanswered]:
    study, what = known.faults, "what faults bring about"
    if study is None:
        if known.has_faults:
            yield _fault(known, what, BROKEN_OFF)
        return
    if study.ended is not None:
        left = sum(one.total - one.done for one in study.covered)
        yield _fault(known, f"{what}: {counted(left, 'set')} of faults", f"the study ended at {study.ended.value}")
    open_: dict[str, set[tuple[str, ...]]] = {}
    for row in study.rows:
        for one in row.open:
            open_.setdefault(one.reason, set()).add(one.faults)
    for why, sets in open_.items():
        yield _fault(known, f"{what}: {counted(len(sets), 'set')} of faults, not to the end", why)
    if not known.thorough and study.ended is not Ended.INTERRUPTED:
        yield _fault(known, "whether stuck signals are noticed", LEFT_OUT, asked=False)
    if study.up_to < 2 and len(study.faults) > 1:
        option = f"--up-to {study.up_to + 1}"
        why = f"no more than {counted(study.up_to, 'fault')} at a time {'was' if study.up_to == 1 else 'were'} looked at"
        yield _fault(known, "what more faults together bring about", why, asked=False, option=option)


def _fault(known: Known, what: str, why: str, *, asked: bool = True, option: str = "") -> Unanswered:
    command = " ".join(filter(None, ("seqcheck faults", option, known.file)))
    return Unanswered(section=Section.FAULTS, what=what, why=why, asked=asked, command=command)


def _procedures(known: Known) -> Iterator[Unanswered]:
    study = known.procedures
    if study is not None and study.stopped is not None:
        yield Unanswered(
            section=Section.PROCEDURES,
            what="what some deviations from procedures come to",
            why=f"the study ended at {study.stopped.value}",
            asked=True,
            command=f"seqcheck procedures {known.file}",
        )


def _audited(known: Known) -> Iterator[Unanswered]:
    audit, command = known.audit, f"seqcheck audit {known.file}"
    for name, what in AUDITED.items():
        if name in audit.missing:
            yield Unanswered(section=Section.AUDIT, what=what, why=audit.missing[name], asked=True, command=command)
    answered = {"purposes": audit.purposes, "refusals": audit.refused, "mends": audit.mended}
    for name, answer in answered.items():
        if not known.audit_is_whole and answer is None and name not in audit.missing:
            yield Unanswered(section=Section.AUDIT, what=AUDITED[name], why=BROKEN_OFF, asked=True, command=command)
    if audit.purposes is not None and not audit.purposes.pairs_known and not known.thorough and "purposes" not in audit.missing:
        yield Unanswered(section=Section.AUDIT, what=AUDITED["pairs"], why=LEFT_OUT, asked=False, command=command)
    if audit.margins is None and "margins" not in audit.missing:
        why = BROKEN_OFF if known.thorough else LEFT_OUT
        yield Unanswered(section=Section.AUDIT, what=AUDITED["margins"], why=why, asked=known.thorough, command=command)


def _mapped(known: Known) -> Iterator[Unanswered]:
    found, what = known.situations, "the map of reachable situations"
    if isinstance(found, str):
        yield Unanswered(section=Section.MAP, what=what, why=found, asked=True)
    elif found.stopped is not None:
        yield Unanswered(
            section=Section.MAP, what=f"all of {what}", why=f"the search ended at {found.stopped.value}", asked=True
        )


def _drawn(known: Known) -> Iterator[Unanswered]:
    for kind, drawn in known.drawn.items():
        command = f"seqcheck draw --what {kind.value} --out FOLDER {known.file}"
        what = f"all of the drawings of the kind “{kind.value}”"
        if drawn is None:
            yield Unanswered(section=Section.DRAWINGS, what=what, why=BROKEN_OFF, asked=True, command=command)
            continue
        if not drawn.complete and kind is not PictureKind.MAP:
            why = "a limit or an interruption left something open, as they say"
            yield Unanswered(section=Section.DRAWINGS, what=what, why=why, asked=True, command=command)
        for missing in drawn.missing:
            yield Unanswered(section=Section.DRAWINGS, what=what, why=missing, asked=False, command=command)


def _sheets(known: Known) -> Iterator[Unanswered]:
    sheets, command = known.sheets, f"seqcheck sheets {known.file}"
    if isinstance(sheets, str):
        yield Unanswered(section=Section.SHEETS, what="the tests", why=sheets, asked=True, command=command)
        return
    left = sum(1 for one in sheets.covers if one.is_open)
    if left or sheets.stopped is not None:
        what = f"whether {counted(left, 'thing')} can be tested"
        why = "too much was to be looked at" if sheets.stopped is None else f"the search ended at {sheets.stopped.value}"
        yield Unanswered(section=Section.SHEETS, what=what, why=why, asked=True, command=command)
