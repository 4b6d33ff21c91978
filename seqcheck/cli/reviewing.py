"""Answers the questions of a review of one file as the commands do, each run replayed before it counts.

What a question needs is imported when it is asked: then two processes import at the same time.
"""

import hashlib
import time
from collections.abc import Collection, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from msgspec.structs import replace

from seqcheck import __version__
from seqcheck.analyse.procedures.records import Class
from seqcheck.analyse.verdict import Case, Result
from seqcheck.analyse.verify import verification
from seqcheck.check.machine import Machine
from seqcheck.cli.beforehand import AUTO
from seqcheck.cli.load import Loaded
from seqcheck.cli.output import write_whole
from seqcheck.cli.progress import ProgressLine
from seqcheck.cli.searching import Searches, Wanted, searches_of
from seqcheck.cli.verifying import case_of, proof_text
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model.model import Elsewhere, Model
from seqcheck.model.run import Run
from seqcheck.report.narrate import Vocabulary, duration_words
from seqcheck.review.asking import About, Drawn, Followed, Mapped, Questions, Verified, Where
from seqcheck.review.record import DeviationRun, Picture, PictureKind, Proof, Warned
from seqcheck.search.engine import Limits, Progress, Unfit
from seqcheck.search.planner.job import NoAnswerError
from seqcheck.search.planner.within import Within

if TYPE_CHECKING:
    from seqcheck.analyse.auditing.audit import Answers, Question
    from seqcheck.analyse.faults.collecting import Reached
    from seqcheck.analyse.faults.desk import Pace
    from seqcheck.analyse.faults.study import Study as FaultStudy
    from seqcheck.analyse.procedures.records import Study as ProcedureStudy
    from seqcheck.analyse.record import Memory
    from seqcheck.analyse.testing.records import Sheets
    from seqcheck.draw.drawing import Drawing

TOLD = frozenset({Class.HAZARD, Class.FAILS})
"""What a deviation comes to where its run is told."""


ENOUGH_S = 60.0
"""What is asked besides the verification may take so many seconds each, unless everything is asked thoroughly."""

NOTHING_MORE = Wanted(resume=None, proof=False, exact_counts=False, first=False)


class Options(Protocol):
    """What is asked for."""

    @property
    def up_to(self) -> int:
        """So many faults at a time."""

    @property
    def thorough(self) -> bool:
        """Whether what takes long is asked too."""

    @property
    def proof(self) -> str | None:
        """Where to write a proof."""

    @property
    def date(self) -> str:
        """The date of the review."""

    def limits_now(self) -> Limits:
        """Return the limits with the time that is left."""

    def left(self) -> float | None:
        """Return how many seconds are left; None without a limit."""


class Reviewing:
    """The questions about one file."""

    def __init__(self, loaded: Loaded, machine: Machine, options: Options) -> None:
        self._loaded = loaded
        self._machine = machine
        self._options = options
        self._model = compile_machine(machine)
        self._line = ProgressLine(loaded.file)

    def about(self) -> About:
        """Return what the review is about."""
        loaded = self._loaded
        warnings = tuple(
            Warned(code=one.code.value, line=one.span.line, message=one.message, help=one.help) for one in loaded.diagnostics
        )
        return About(
            file=Path(loaded.file).name,
            text=loaded.text,
            sha256=loaded.sha256,
            tool_version=__version__,
            date=self._options.date,
            model=self._model,
            warnings=warnings,
        )

    def questions(self) -> Questions:
        """Return how to ask."""
        return Questions(
            verify=self._verify,
            procedures=self._procedures if self._model.procedures else None,
            situations=self._situations,
            pictures=self._pictures,
            faults=self._faults if self._machine.faults else None,
            audit=self._audit,
            sheets=self._sheets,
            model_of=self._model_of,
            left=self._options.left,
            several_faults=self._options.up_to > 1,
            thorough=self._options.thorough,
        )

    def _limits(self, began: float | None = None) -> Limits:
        """Return the limits of a question besides the verification, which *began* then, if it did so earlier."""
        options, spent = self._options, 0.0 if began is None else time.monotonic() - began
        most = None if options.thorough else max(0.0, ENOUGH_S - spent)
        seconds = [one for one in (options.left(), most) if one is not None]
        return replace(options.limits_now(), seconds=max(0.0, min(seconds)) if seconds else None)

    def _verify(self) -> Verified:
        options, loaded = self._options, self._loaded
        wanted = replace(NOTHING_MORE, proof=options.proof is not None)
        searches = searches_of(loaded, AUTO, wanted)
        found = verification([self._model], lambda model: case_of(model, loaded, options.limits_now(), searches))
        proof = None
        if options.proof is not None:
            text = proof_text([self._model], found, searches, loaded)
            write_whole(options.proof, text)
            proof = Proof(name=Path(options.proof).name, sha256=hashlib.sha256(text.encode()).hexdigest())
        return Verified(verification=found, searched=searches.told, proof=proof)

    # --- procedures ---
    def _procedures(self) -> Followed:
        from seqcheck.analyse.procedures.judging import procedure_result
        from seqcheck.analyse.procedures.study import study as study_procedures
        from seqcheck.analyse.procedures.wording import Wording
        from seqcheck.cli.procedures import replay_all as replay_procedures

        model = self._model
        try:
            studied = study_procedures(model, range(len(model.procedures)), self._limits(), self._line)
        finally:
            self._line.clear()
        wording = Wording(model=model, duration=duration_words)
        results = tuple(procedure_result(model, one, wording) for one in studied.studied)
        runs = tuple(self._told(studied))
        replay_procedures(self._machine, self._runs(results, runs))
        return Followed(study=studied, results=results, runs=runs)

    def _told(self, studied: "ProcedureStudy") -> Iterator[DeviationRun]:
        """Yield the runs of deviations that may be told, taken again with the definition. Raises `Disagreement`."""
        from seqcheck.analyse.procedures.confirming import confirmed

        memory: Memory = {}
        for place, one in enumerate(studied.studied):
            procedure = self._model.procedures[one.procedure]
            for row, deviation in enumerate(one.rows):
                for number, outcome in enumerate(deviation.outcomes):
                    taken = confirmed(self._model, procedure, outcome, memory) if outcome.met in TOLD else None
                    if taken is not None:
                        yield DeviationRun(procedure=place, row=row, outcome=number, run=taken.run, accounts=taken.accounts)

    def _runs(self, results: tuple[Result, ...], told: tuple[DeviationRun, ...]) -> Iterator[tuple[str, Run]]:
        yield from ((result.id, result.run) for result in results if result.run is not None)
        yield from ((f"row {one.procedure + 1}.{one.row + 1}", one.run) for one in told)

    def _situations(self, case: Case) -> Mapped:
        from seqcheck.analyse.mapping.mapping import situation_map
        from seqcheck.draw.drawing import About as Origin
        from seqcheck.draw.situation_map import map_drawing

        try:
            found = situation_map(self._model, (), self._limits(), self._line, case)
        except Unfit as unfit:
            return Mapped(map=str(unfit), drawn=Drawn(pictures=()))
        finally:
            self._line.clear()
        model, loaded = self._model, self._loaded
        origin = Origin(machine=model.name, revision=model.revision, file=Path(loaded.file).name, sha256=loaded.sha256)
        return Mapped(map=found, drawn=rendered(PictureKind.MAP, [map_drawing(found, Vocabulary.of(model), origin)]))

    def _pictures(self, kind: PictureKind) -> Drawn:
        """Draw the pictures of a kind that needs no other answer."""
        from seqcheck.cli.picturing import Kind, Pictures
        from seqcheck.cli.picturing import Question as PicturesAsked

        limits = self._limits()
        question = PicturesAsked(by=(), ids=(), limits=limits, began=time.monotonic(), link=link_of)
        searches = Searches(name=AUTO, searching=Within(), wanted=NOTHING_MORE, shelf=None)
        pictures = Pictures(self._loaded, self._machine, question, searches)
        drawings = [one.drawing for one in pictures.of(Kind(kind.value)) if one.drawing is not None]
        drawn = rendered(kind, drawings)
        return replace(drawn, missing=(*drawn.missing, *pictures.notes), complete=pictures.complete)

    def _sheets(self) -> "Sheets | str":
        """Make the acceptance tests, or say why not."""
        from seqcheck.analyse.testing.sheets import sheets_of
        from seqcheck.cli.sheet_replay import confirm as confirm_sheets

        try:
            made = sheets_of(self._model, self._limits(), self._line)
        except (Unfit, NoAnswerError) as none:
            return str(none)
        finally:
            self._line.clear()
        confirm_sheets(self._machine, made)
        return made

    def _model_of(self, result: Result) -> Model:
        """Return the machine that a result's run is a run of: with its faults, and with what observes it if that is needed."""
        model = compile_machine(self._machine, result.faults) if result.faults else self._model
        apart = any(p.id == result.id and isinstance(p.rule, Elsewhere) for p in model.properties)
        return compile_observed(self._machine, result.id, result.faults) if apart else model

    # --- faults ---
    def _faults(self, where: Where) -> "FaultStudy":
        """Study the faults: all sets at once first, then one by one what that left open; everything in this process."""
        from seqcheck.analyse.faults.crews import Here, Processes
        from seqcheck.analyse.faults.desk import Desk, Orders
        from seqcheck.analyse.faults.keeping import FORM, Heading, Kept
        from seqcheck.analyse.faults.study import Wanted as WantedOfFaults
        from seqcheck.analyse.faults.study import study as study_faults
        from seqcheck.check.deriving import sticks_every_signal
        from seqcheck.cli.faults import confirm_notice, machines_of

        machine, several = self._machine, self._options.up_to > 1
        heading = Heading(form=FORM, version=__version__, sequence_sha256=self._loaded.sha256, search=AUTO)
        crew = Processes if several else Here
        orders = Orders(
            engine=AUTO,
            limits=self._limits(),
            crew=crew,
            at_once=False,
            watch=silent if where is Where.BESIDE else self._line.keep_pace,
            together_first=not several,
        )
        wanted = WantedOfFaults(
            up_to=self._options.up_to,
            has_signals=sticks_every_signal(machine),
            tell=self._confirm_reached,
            notice=(lambda noticed: confirm_notice(machine, noticed)) if self._options.thorough else None,
        )
        try:
            with Desk(orders=orders, kept=Kept(None, heading).open()) as desk:
                return study_faults(machines_of(machine), desk, wanted)
        finally:
            self._line.clear()

    def _confirm_reached(self, reached: "Reached") -> None:
        from seqcheck.cli.faults import confirm

        if reached.result.run is not None:
            confirm(self._machine, reached.result.id, reached.result.run)

    # --- the audit ---
    def _audit(self, asked: "Collection[Question]", where: Where) -> "Answers":
        from seqcheck.analyse.auditing.audit import Asked, answers
        from seqcheck.analyse.auditing.removing import Removing
        from seqcheck.cli.audit import rebuilt
        from seqcheck.cli.audit import replay_all as replay_audit

        machine = self._machine
        how = Asked(
            observing=lambda id_: compile_observed(machine, id_),
            rebuilt=lambda duration, ticks: rebuilt(machine, duration, ticks),
            pairs=self._options.thorough,
        )
        observer = silent if where is Where.BESIDE else self._line
        began = time.monotonic()
        removing = Removing(limits=lambda: self._limits(began), observer=observer, engine=Within())
        try:
            found = answers(self._model, how, removing, asked)
        finally:
            self._line.clear()
        replay_audit(machine, found)
        return found


def link_of(name: str) -> str:
    """Return where a link to another picture of the review leads."""
    return f"#picture-{name}"


def rendered(kind: PictureKind, drawings: "Iterable[Drawing]") -> Drawn:
    """Render drawings; where that cannot be, say why."""
    from seqcheck.draw.render import NotRenderedError, svg_of

    pictures, missing = [], []
    for drawing in drawings:
        try:
            pictures.append(Picture(kind=kind, name=drawing.name, title=drawing.title, svg=svg_of(drawing)))
        except NotRenderedError as error:
            missing.append(f"{error}; {error.hint}")
    return Drawn(pictures=tuple(pictures), missing=tuple(dict.fromkeys(missing)))


def silent(_progress: "Progress | Pace") -> None:
    """Tell nobody."""
