"""Asks everything that a review file shows, in several processes where that can be; what was not answered is said, and why."""

import time
from collections.abc import Callable, Collection, Iterator, Sequence
from typing import Any, TypeVar

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.auditing.audit import Answers, Question, put_together
from seqcheck.analyse.testing.records import Sheets
from seqcheck.analyse.verdict import Result, Verdict, Verification
from seqcheck.report.narrate import Vocabulary
from seqcheck.review.asking import About, Drawn, Followed, Mapped, Questions, Verified, Where
from seqcheck.review.record import PictureKind, Review, Section
from seqcheck.review.unanswered import Known, unanswered
from seqcheck.search.planner.sharing import Piece, Sharing

Answer = TypeVar("Answer")


BESIDE = (PictureKind.STEPS, PictureKind.LOCKS, PictureKind.STATES)
"""Pictures that need no other answer."""


def gather(about: About, questions: Questions) -> Review:
    """Ask everything. Raises `Disagreement`."""
    return Gathering(about, questions).review()


class Own(Struct, frozen=True, kw_only=True):
    """What is asked in the process that was called: what calls others itself, or is too much to be sent about."""

    verified: Verified
    followed: Followed | None
    mapped: Mapped
    sheets: Sheets | str


class Gathering:
    """One such inquiry."""

    def __init__(self, about: About, questions: Questions) -> None:
        self._about = about
        self._questions = questions
        self._seconds: dict[Section, float] = {}
        faults = questions.faults
        self._faults = None if faults is None else Piece(lambda: faults(Where.BESIDE), lambda: faults(Where.HERE))
        asked = [(Question.PURPOSES, Question.MENDS), (Question.REFUSALS,)]
        self._audit = [self._audited(one) for one in ([*asked, (Question.MARGINS,)] if questions.thorough else asked)]
        self._pictures = {kind: self._drawn(kind) for kind in BESIDE}

    def _audited(self, asked: Collection[Question]) -> Piece[Answers]:
        audit = self._questions.audit
        return Piece(lambda: audit(asked, Where.BESIDE), lambda: audit(asked, Where.HERE))

    def _drawn(self, kind: PictureKind) -> Piece[Drawn]:
        pictures = self._questions.pictures
        return Piece(lambda: pictures(kind), lambda: pictures(kind))

    def review(self) -> Review:
        """Return the review: what needs other answers is asked in this process, while others answer what needs none."""
        questions = self._questions
        with Sharing(self._shared()) as sharing:
            verified = self._timed(Section.VERIFY, questions.verify)
            sheets = self._timed(Section.SHEETS, questions.sheets)
            followed = None if questions.procedures is None else self._timed(Section.PROCEDURES, questions.procedures)
            mapped = self._timed(Section.MAP, lambda: questions.situations(verified.verification.cases[0]))
            if questions.several_faults and self._faults is not None:
                self._faults.do()
            sharing.finish(questions.left)
        if followed is not None:
            verified = replace(verified, verification=joined(verified.verification, followed.results))
        return self._review(Own(verified=verified, followed=followed, mapped=mapped, sheets=sheets))

    def _shared(self) -> list[Piece[Any]]:
        """Return what anybody can answer, what is likely to take longest first."""
        first, *others = self._audit
        faults = [] if self._faults is None or self._questions.several_faults else [self._faults]
        return [first, *faults, self._pictures[PictureKind.STEPS], *others, *list(self._pictures.values())[1:]]

    def _timed(self, section: Section, ask: Callable[[], Answer]) -> Answer:
        began = time.monotonic()
        answer = ask()
        self._seconds[section] = time.monotonic() - began
        return answer

    def _review(self, own: Own) -> Review:
        about = self._about
        known = self._known(own)
        verified, followed = own.verified, own.followed
        return Review(
            file=about.file,
            text=about.text,
            sha256=about.sha256,
            tool_version=about.tool_version,
            date=about.date,
            model=about.model,
            words=Vocabulary.of(about.model),
            warnings=about.warnings,
            verification=verified.verification,
            searched=verified.searched,
            proof=verified.proof,
            faults=known.faults,
            procedures=known.procedures,
            procedure_results=() if followed is None else followed.results,
            deviation_runs=() if followed is None else followed.runs,
            audit=known.audit,
            map=None if isinstance(own.mapped.map, str) else own.mapped.map,
            pictures=tuple(one for drawn in known.drawn.values() if drawn is not None for one in drawn.pictures),
            sheets=None if isinstance(own.sheets, str) else own.sheets,
            models={(one.id, one.faults): self._questions.model_of(one) for one in with_runs(known)},
            unanswered=tuple(unanswered(known)),
            seconds=self._seconds | dict(self._piecewise()),
        )

    def _known(self, own: Own) -> Known:
        drawn = {PictureKind.MAP: own.mapped.drawn} | {kind: piece.answer for kind, piece in self._pictures.items()}
        return Known(
            file=self._about.file,
            verification=own.verified.verification,
            faults=None if self._faults is None else self._faults.answer,
            has_faults=self._faults is not None,
            procedures=None if own.followed is None else own.followed.study,
            audit=put_together(self._about.model, [one.answer for one in self._audit if one.answer is not None]),
            audit_is_whole=not any(piece.lost for piece in self._audit),
            situations=own.mapped.map,
            sheets=own.sheets,
            drawn={kind: drawn[kind] for kind in PictureKind},
            thorough=self._questions.thorough,
        )

    def _piecewise(self) -> Iterator[tuple[Section, float]]:
        yield Section.AUDIT, sum(piece.seconds for piece in self._audit)
        yield Section.DRAWINGS, sum(piece.seconds for piece in self._pictures.values())
        if self._faults is not None:
            yield Section.FAULTS, self._faults.seconds


def joined(verification: Verification, followed: Sequence[Result]) -> Verification:
    """Return a verification with what following the procedures said of those that it left undecided."""
    told = {result.id: result for result in followed if result.verdict is not Verdict.UNDECIDED}
    cases = [
        replace(case, results=tuple(told.get(r.id, r) if r.verdict is Verdict.UNDECIDED else r for r in case.results))
        for case in verification.cases
    ]
    return replace(verification, cases=tuple(cases))


def with_runs(known: Known) -> Iterator[Result]:
    """Yield the results that have a run, those with faults too."""
    (case,) = known.verification.cases
    yield from (result for result in case.results if result.run is not None)
    if known.faults is not None:
        yield from (one.result for row in known.faults.rows for one in row.reached if one.result.run is not None)
        yield from (one.result for one in known.faults.noticed if one.result is not None and one.result.run is not None)
