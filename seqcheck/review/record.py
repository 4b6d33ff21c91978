"""What the review file of one sequence file shows: the record of everything that was asked, and of what was not."""

from collections.abc import Mapping
from enum import Enum

from msgspec import Struct

from seqcheck.analyse.auditing.audit import Audit
from seqcheck.analyse.faults.study import Study as FaultStudy
from seqcheck.analyse.mapping.records import SituationMap
from seqcheck.analyse.procedures.records import Study as ProcedureStudy
from seqcheck.analyse.testing.records import Sheets
from seqcheck.analyse.verdict import Result, StepAccount, Verification
from seqcheck.model.model import Model
from seqcheck.model.run import Run
from seqcheck.report.narrate import Vocabulary
from seqcheck.report.searched import Searched


class Section(Enum):
    """A question that a review file answers."""

    VERIFY = "verification"
    FAULTS = "faults"
    PROCEDURES = "procedures"
    AUDIT = "permissive audit"
    MAP = "map of situations"
    DRAWINGS = "drawings"
    SHEETS = "acceptance-test sheets"
    MATRIX = "cause-and-effect matrix"


class Proof(Struct, frozen=True, kw_only=True):
    """The proof file that was written beside the review file: its base name and its SHA-256."""

    name: str
    sha256: str


class Warned(Struct, frozen=True, kw_only=True):
    """What the tool warns of in the file itself, without refusing it."""

    code: str
    line: int
    message: str
    help: str


class Unanswered(Struct, frozen=True, kw_only=True):
    """What the review file does not answer, and why. *command* asks it (empty: there is none).

    Not *asked*: it was left out from the start, as is usual. Else it was asked, and a limit, an interruption or the machine
    itself kept it open.
    """

    section: Section
    what: str
    why: str
    asked: bool
    command: str = ""


class DeviationRun(Struct, frozen=True, kw_only=True):
    """A run of a deviation that may be told: it was taken again with the definition and replayed in the simulator.

    *procedure*, *row* and *outcome* are places in the study: `procedures.studied[procedure].rows[row].outcomes[outcome]`.
    """

    procedure: int
    row: int
    outcome: int
    run: Run
    accounts: tuple[StepAccount, ...]


class PictureKind(Enum):
    """What a picture shows."""

    STEPS = "steps"
    STATES = "states"
    MAP = "map"
    LOCKS = "locks"


class Picture(Struct, frozen=True, kw_only=True):
    """A drawing as a whole SVG file (see `draw.render.inline`). *name* is its own among all, made of letters, digits, `-`, `.`.

    A link in a drawing to another one leads to `#picture-` and its name.
    """

    kind: PictureKind
    name: str
    title: str
    svg: str


class Review(Struct, frozen=True, kw_only=True):
    """Everything that the review file of one sequence file shows.

    *file* is the base name, *text* what stands in the file, *date* ISO 8601. *model* is the machine without faults.
    *verification* has one case, that without faults; *searched* tells of its searches, by `Model.study`. *faults* and
    *procedures* are None if the file has none; else None means that it could not be answered, and *unanswered* says why.
    *procedure_results* are the verdicts on procedures in the words that go with *procedures*, *deviation_runs* those of
    deviations that meet a hazard or cannot be completed. *map* is the map of reachable situations, its drawing one of the
    *pictures*; *sheets* are the acceptance tests. *models* are the machines that runs of results with faults, or with what
    observes a requirement, are runs of (`model_of`). *seconds* is the time that each section took.
    """

    file: str
    text: str
    sha256: str
    tool_version: str
    date: str
    model: Model
    words: Vocabulary
    warnings: tuple[Warned, ...]
    verification: Verification
    searched: Mapping[tuple[str, ...], Searched]
    proof: Proof | None
    faults: FaultStudy | None
    procedures: ProcedureStudy | None
    procedure_results: tuple[Result, ...]
    deviation_runs: tuple[DeviationRun, ...] = ()
    audit: Audit | None
    map: SituationMap | None = None
    pictures: tuple[Picture, ...] = ()
    sheets: Sheets | None = None
    models: Mapping[tuple[str, tuple[str, ...]], Model] = {}
    unanswered: tuple[Unanswered, ...]
    seconds: Mapping[Section, float]

    def model_of(self, result: Result) -> Model:
        """Return the machine that a result's run is a run of."""
        return self.models.get((result.id, result.faults), self.model)
