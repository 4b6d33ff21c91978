"""Asks for what the pictures of one file show, kind by kind. Every run that is shown is replayed in the simulator first."""

import time
from collections.abc import Callable, Iterator, Mapping
from enum import Enum
from pathlib import Path

import click
from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.automatic.automatic import automatic_sequences
from seqcheck.analyse.mapping.records import SituationMap
from seqcheck.analyse.procedures.seen import seen_in_procedures
from seqcheck.analyse.record import Disagreement
from seqcheck.analyse.verdict import Case, Result, Verdict
from seqcheck.check.machine import Machine
from seqcheck.cli.beforehand import AUTO
from seqcheck.cli.load import Loaded
from seqcheck.cli.progress import ProgressLine
from seqcheck.cli.searching import Searches, Wanted
from seqcheck.cli.verifying import case_of
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.draw.drawing import About, Drawing
from seqcheck.draw.naming import slugs
from seqcheck.draw.step_chart import Link, procedure_charts
from seqcheck.draw.step_chart_automatic import automatic_charts
from seqcheck.model.model import Model, Observed
from seqcheck.model.run import Run
from seqcheck.report.narrate import Vocabulary
from seqcheck.search.engine import Limits, Unfit


class Kind(Enum):
    """A kind of pictures, as `--what` takes it."""

    STEPS = "steps"
    STATES = "states"
    MAP = "map"
    LOCKS = "locks"
    TIMING = "timing"


class Picture(Struct, frozen=True, kw_only=True):
    """A picture to be written: a drawing, or SVG that is made already. *name* ends its file's name; *map* is what is mapped."""

    name: str
    drawing: Drawing | None = None
    svg: str = ""
    map: SituationMap | None = None


class Question(Struct, frozen=True, kw_only=True):
    """What is asked of the pictures: the names that sort the map, and the ids whose runs are drawn."""

    by: tuple[str, ...]
    ids: tuple[str, ...]
    limits: Limits
    began: float
    link: Link

    def limits_now(self) -> Limits:
        """Return the limits with the time that is left."""
        if self.limits.seconds is None:
            return self.limits
        return replace(self.limits, seconds=max(0.0, self.limits.seconds - (time.monotonic() - self.began)))


def searched_alike() -> Searches:
    """Return searches that come to the same runs whenever the same file is drawn: pictures are kept and compared."""
    from seqcheck.search.planner.planner import Planner

    wanted = Wanted(resume=None, proof=False, exact_counts=False, first=False)
    return Searches(name=AUTO, searching=Planner(steady=True), wanted=wanted, shelf=None)


class Pictures:
    """The pictures of one file. *notes* is what is to be said besides; not *complete*: a limit left something open.

    They are searched for by *searches*, if these are given.
    """

    def __init__(self, loaded: Loaded, machine: Machine, question: Question, searches: Searches | None = None) -> None:
        self._loaded = loaded
        self._machine = machine
        self._question = question
        self._model = compile_machine(machine)
        self._words = Vocabulary.of(self._model)
        self._line = ProgressLine(loaded.file)
        self._searches = searched_alike() if searches is None else searches
        self._case: Case | None = None
        self.notes: list[str] = []
        self.complete = True

    @property
    def about(self) -> About:
        """What every picture says of its origin."""
        model, loaded = self._model, self._loaded
        return About(machine=model.name, revision=model.revision, file=Path(loaded.file).name, sha256=loaded.sha256)

    def of(self, kind: Kind) -> Iterator[Picture]:
        """Yield the pictures of a kind."""
        asked: Mapping[Kind, Callable[[], Iterator[Picture]]] = {
            Kind.STEPS: self._steps,
            Kind.STATES: self._states,
            Kind.MAP: self._map,
            Kind.LOCKS: self._locks,
            Kind.TIMING: self._timing,
        }
        try:
            yield from asked[kind]()
        except Unfit as unfit:
            self.notes.append(f"no pictures of the kind {kind.value}: {unfit}")
        finally:
            self._line.clear()

    def refuse_unknown(self) -> None:
        """Raise `click.BadParameter`, before anything is drawn, for a name that sorts nothing and an id that has no run."""
        from seqcheck.analyse.mapping.axes import UnknownNameError, named

        try:
            named(self._model, self._question.by)
        except UnknownNameError as unknown:
            offered = f"did you mean {unknown.near!r}?" if unknown.near else f"it has: {', '.join(unknown.known)}"
            raise click.BadParameter(f"{unknown}; {offered}", param_hint="--by") from None
        if self._question.ids:
            self._runs(self._verified())
            self._line.clear()

    # --- kinds ---
    def _steps(self) -> Iterator[Picture]:
        model, words, limits = self._model, self._words, self._question.limits_now
        seen = seen_in_procedures(model, limits(), self._line)
        self.complete = self.complete and all(one.works is not None for one in seen)
        yield from map(drawn, procedure_charts(model, seen, words, self.about, self._question.link))
        automatic = automatic_sequences(model, self._searches, limits(), self._line)
        if not automatic.complete:
            self.complete = False
            self.notes.append("there may be more automatic sequences than are drawn: not all beginnings were looked at")
        for sequence in automatic.sequences:
            self._confirm(sequence.run, "what goes on by itself")
        yield from map(drawn, automatic_charts(automatic, model, words, self.about))
        if not model.procedures and not automatic.sequences and automatic.complete:
            self.notes.append("no step charts: the file has no procedures, and no command or trip sets anything going")

    def _states(self) -> Iterator[Picture]:
        from seqcheck.analyse.charting import state_charts
        from seqcheck.draw.state_chart import machine_charts, part_charts

        charts = state_charts(self._model, self._question.limits_now(), self._line)
        if charts.stopped is not None:
            self.complete = False
            self.notes.append(f"there may be more state charts than are drawn: the search ended at {charts.stopped.value}")
        whole = machine_charts(charts, self._words, self.about)
        yield from map(drawn, (*whole, *part_charts(charts, self._words, self.about)))

    def _map(self) -> Iterator[Picture]:
        from seqcheck.analyse.mapping.mapping import TooFineError, situation_map
        from seqcheck.draw.situation_map import map_drawing

        case = self._verified()
        try:
            found = situation_map(self._model, self._question.by, self._question.limits_now(), self._line, case)
        except TooFineError as fine:
            raise click.BadParameter(str(fine), param_hint="--by") from None
        self.complete = self.complete and found.stopped is None
        yield replace(drawn(map_drawing(found, self._words, self.about)), map=found)

    def _locks(self) -> Iterator[Picture]:
        from seqcheck.analyse.locking import locking
        from seqcheck.draw.locking import locking_drawings

        yield from map(drawn, locking_drawings(locking(self._model), self.about))

    def _timing(self) -> Iterator[Picture]:
        from seqcheck.draw.timing import timing_svg

        results = self._runs(self._verified())
        for result, name in zip(results, slugs([result.id for result in results]), strict=True):
            if result.run is not None:
                model = self._model_of(result)
                svg = timing_svg(result.run, result.accounts, model, self._words, about=self.about, result=result)
                yield Picture(name=f"timing.{name}", svg=svg)

    # --- what they rest on ---
    def _verified(self) -> Case:
        """Return the verdicts; every run is replayed."""
        if self._case is None:
            self._case = case_of(self._model, self._loaded, self._question.limits_now(), self._searches)
            self.complete = self.complete and self._case.complete
        return self._case

    def _runs(self, case: Case) -> list[Result]:
        """Return the results whose runs are drawn: those asked for, else all violations, else all that has a run."""
        shown = [result for result in case.results if result.run is not None]
        if self._question.ids:
            return [self._asked(case, id_) for id_ in dict.fromkeys(self._question.ids)]
        violated = [result for result in shown if result.verdict is Verdict.VIOLATED]
        if not shown:
            known = (
                "nothing is violated, and nothing is shown to be reachable"
                if case.complete
                else "the search ended early and had found no run"
            )
            self.notes.append(f"no timing diagrams: {known}")
        return violated or shown

    @staticmethod
    def _asked(case: Case, id_: str) -> Result:
        found = next((result for result in case.results if result.id == id_), None)
        with_run = ", ".join(result.id for result in case.results if result.run is not None) or "none"
        if found is None:
            raise click.BadParameter(f"the file has no {id_!r}; these have a run: {with_run}", param_hint="--run")
        if found.run is None:
            said = f"{id_} {found.verdict.value} and has no run to show; these have one: {with_run}"
            raise click.BadParameter(said, param_hint="--run")
        return found

    def _model_of(self, result: Result) -> Model:
        """Return the machine that a result's run is one of: with what observes it, where that is needed."""
        if any(p.id == result.id and isinstance(p.rule, Observed) for p in self._model.properties):
            return self._model
        observed = result.kind in {"response", "precedence"}
        return compile_observed(self._machine, result.id, self._model.faults) if observed else self._model

    def _confirm(self, run: Run, what: str) -> None:
        """Play a run again in the simulator. Raises `Disagreement`."""
        from seqcheck.simulate.replay import replay

        outcome = replay(self._machine, run)
        if outcome.disagreement is not None:
            raise Disagreement(f"the simulator does not confirm the run to {what}: {outcome.disagreement}")


def drawn(drawing: Drawing) -> Picture:
    """Return a drawing as a picture."""
    return Picture(name=drawing.name, drawing=drawing)
