"""What a review asks, as functions that somebody else supplies, and the answers that only a review has."""

from collections.abc import Callable, Collection, Mapping
from enum import Enum

from msgspec import Struct

from seqcheck.analyse.auditing.audit import Answers, Question
from seqcheck.analyse.faults.study import Study as FaultStudy
from seqcheck.analyse.mapping.records import SituationMap
from seqcheck.analyse.procedures.records import Study as ProcedureStudy
from seqcheck.analyse.testing.records import Sheets
from seqcheck.analyse.verdict import Case, Result, Verification
from seqcheck.model.model import Model
from seqcheck.report.searched import Searched
from seqcheck.review.record import DeviationRun, Picture, PictureKind, Proof, Warned


class Where(Enum):
    """Where a question is answered: in this process, or in another one, which tells nobody of progress."""

    HERE = "here"
    BESIDE = "beside"


class About(Struct, frozen=True, kw_only=True):
    """The file that a review is about, as in `Review`."""

    file: str
    text: str
    sha256: str
    tool_version: str
    date: str
    model: Model
    warnings: tuple[Warned, ...]


class Verified(Struct, frozen=True, kw_only=True):
    """What a verification found, how it was searched, and the proof file that was written, if one was."""

    verification: Verification
    searched: Mapping[tuple[str, ...], Searched]
    proof: Proof | None


class Followed(Struct, frozen=True, kw_only=True):
    """What a study of procedures found, its verdicts, and the runs of deviations that may be told."""

    study: ProcedureStudy
    results: tuple[Result, ...]
    runs: tuple[DeviationRun, ...]


class Drawn(Struct, frozen=True, kw_only=True):
    """Pictures of one kind. *missing* says why some are not there; not *complete*: a limit left something of them open."""

    pictures: tuple[Picture, ...]
    missing: tuple[str, ...] = ()
    complete: bool = True


class Mapped(Struct, frozen=True, kw_only=True):
    """The map of reachable situations (or why there is none) and its picture."""

    map: SituationMap | str
    drawn: Drawn


class Questions(Struct, frozen=True, kw_only=True):
    """How to ask. Every run that may be shown is replayed first.

    *procedures* and *faults* are None if the file has none; *sheets* may answer why there are none instead.
    *several_faults*: the study of faults calls other processes itself. *thorough*: what usually takes too long is asked too.
    *left* gives the seconds that are left, None without a limit.
    """

    verify: Callable[[], Verified]
    procedures: Callable[[], Followed] | None
    situations: Callable[[Case], Mapped]
    pictures: Callable[[PictureKind], Drawn]
    sheets: Callable[[], Sheets | str]
    faults: Callable[[Where], FaultStudy] | None
    audit: Callable[[Collection[Question], Where], Answers]
    model_of: Callable[[Result], Model]
    left: Callable[[], float | None]
    several_faults: bool
    thorough: bool
