"""Verifies file after file: each one's hazards and requirements judged, each counterexample replayed before it is shown."""

import itertools
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click
from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.record import Disagreement
from seqcheck.analyse.verdict import Case, Result, Verdict, Verification
from seqcheck.analyse.verify import verification, verify_case
from seqcheck.check.machine import Machine
from seqcheck.cli.answer import Answer
from seqcheck.cli.load import Loaded, load_any, refusal, show_diagnostics
from seqcheck.cli.output import write_whole
from seqcheck.cli.progress import ProgressLine
from seqcheck.cli.searching import Searches, Wanted, searches_of
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model.model import Model
from seqcheck.model.run import Run
from seqcheck.report.lines import counted
from seqcheck.report.narrate import Vocabulary
from seqcheck.report.text import report
from seqcheck.search.engine import Limits

if TYPE_CHECKING:
    from seqcheck.search.planner.standby import Standby
    from seqcheck.simulate.replay import Replay

COLOURS = {Verdict.HOLDS: "green", Verdict.VIOLATED: "red", Verdict.UNDECIDED: "yellow"}
VIOLATED, REFUSED, UNDECIDED = 1, 2, 3


class Asked(Struct, frozen=True, kw_only=True):
    """What the command line asks of every file."""

    fault_count: int
    fault_names: tuple[str, ...]
    limits: Limits
    engine: str
    wanted: Wanted
    proof: str | None
    waveforms: Path | None
    began: float
    standby: "Standby | None" = None

    def limits_now(self) -> Limits:
        """Return the limits with the time that is left."""
        if self.limits.seconds is None:
            return self.limits
        left = self.limits.seconds - (time.monotonic() - self.began)
        return replace(self.limits, seconds=max(0.0, left))


def answer_all(files: Sequence[Path], asked: Asked, *, quiet: bool) -> list[Answer]:
    """Verify file after file; an interruption leaves out those not begun."""
    answers: list[Answer] = []
    for path in files:
        if answers:
            click.echo("", err=quiet)
        answers.append(_verify_file(path, asked, quiet=quiet))
        verified = answers[-1].verified
        if verified is not None and verified.cases[-1].interrupted:
            for left in files[len(answers) :]:
                click.echo(f"{left}: not begun, because of the interruption", err=True)
            break
    return answers


def exit_code(codes: Sequence[int]) -> int:
    """Return the code that stands for several: 2 before 1 before 3 before 0."""
    return next((code for code in (REFUSED, VIOLATED, UNDECIDED) if code in codes), 0)


def _verify_file(path: Path, asked: Asked, *, quiet: bool) -> Answer:
    loaded = load_any(path)
    show_diagnostics(loaded)
    if loaded.machine is None:
        click.echo(refusal(loaded), err=True)
        return Answer(code=REFUSED, loaded=loaded, verified=None)
    models = [compile_machine(loaded.machine, chosen) for chosen in fault_sets(loaded.machine, asked)]
    searches = searches_of(loaded, asked.engine, asked.wanted, asked.standby)
    verified = verification(models, lambda model: case_of(model, loaded, asked.limits_now(), searches))
    searches.close(complete=all(case.complete for case in verified.cases) and not verified.not_begun)
    words = Vocabulary.of(models[0])
    for line in report(verified, words, searches.told, file=loaded.file, sha256=loaded.sha256, paint=_painted):
        click.echo(line, err=quiet)
    if asked.proof is not None:
        write_whole(asked.proof, proof_text(models, verified, searches, loaded))
    if asked.waveforms is not None:
        from seqcheck.cli.exporting import write_waveforms

        number = write_waveforms(asked.waveforms, verified, models, loaded)
        click.echo(f"{counted(number, 'run')} written as waveforms to {asked.waveforms}", err=True)
    return Answer(code=_code(verified), loaded=loaded, verified=verified, words=words, searches=searches.told)


def proof_text(models: Sequence[Model], verified: Verification, searches: Searches, loaded: Loaded) -> str:
    """Return the proof of all that holds."""
    from seqcheck.proof.text import text_of
    from seqcheck.proof.writing import Verified, proof_of

    proved = []
    for model, case in zip(models, verified.cases, strict=False):
        proved.append(Verified(model=model, case=case, evidence=searches.evidence[model.study]))
        apart = _that_hold(case, loaded)
        proved += [Verified(model=one, case=case, evidence=searches.evidence[one.study]) for one in apart]
    return text_of(proof_of(proved, loaded.sha256))


def _that_hold(case: Case, loaded: Loaded) -> Iterator[Model]:
    """Yield the models with an observer whose requirement holds."""
    holding = {result.id for result in case.results if result.verdict is Verdict.HOLDS}
    for one in case.observed:
        if loaded.machine is not None and one.id in holding:
            yield compile_observed(loaded.machine, one.id, case.faults)


def _painted(text: str, verdict: Verdict) -> str:
    return click.style(text, fg=COLOURS[verdict], bold=verdict is not Verdict.HOLDS)


def _code(verified: Verification) -> int:
    if verified.has(Verdict.VIOLATED):
        return VIOLATED
    return UNDECIDED if verified.has(Verdict.UNDECIDED) else 0


def fault_sets(machine: Machine, asked: Asked) -> Iterator[tuple[str, ...]]:
    """Yield the sets of faults to verify with, the empty one first. Raises `click.BadParameter` for an unknown name."""
    known = {fault.name: fault for fault in machine.faults}
    for name in asked.fault_names:
        if name not in known:
            offered = ", ".join(f"“{one}”" for one in known) or "none"
            raise click.BadParameter(f"the file has no fault “{name}”; its faults: {offered}", param_hint="--fault")
    yield ()
    yielded = set()
    for size in range(1, asked.fault_count + 1):
        for chosen in itertools.combinations(known, size):
            stuck = [known[name].stuck for name in chosen]
            signals = [(one.signal, one.is_sensor) for one in stuck if one is not None]
            if len(set(signals)) == len(signals):
                yielded.add(chosen)
                yield chosen
    yield from ((name,) for name in dict.fromkeys(asked.fault_names) if (name,) not in yielded)


def case_of(model: Model, loaded: Loaded, limits: Limits, searches: Searches) -> Case:
    """Judge one machine, and replay every run. Raises `Disagreement`."""

    def observing(id_: str) -> Model:
        if loaded.machine is None:
            raise ValueError(loaded)
        return compile_observed(loaded.machine, id_, model.faults)

    line = ProgressLine(f"{loaded.file}{' with ' + ' and '.join(model.faults) if model.faults else ''}")
    replays = Replays(loaded)
    try:
        case = verify_case(model, searches, limits, line, observing, replays.ahead)
    finally:
        line.clear()
    replays.confirm(case)
    return case


class Replays:
    """Plays the runs of one case again in the simulator, each once."""

    def __init__(self, loaded: Loaded) -> None:
        self._machine = loaded.machine
        self._known: dict[int, tuple[Run, Replay]] = {}

    def ahead(self, run: Run) -> None:
        """Play a run that will be asked for."""
        if self._machine is not None and id(run) not in self._known:
            from seqcheck.simulate.replay import replay

            self._known[id(run)] = (run, replay(self._machine, run))

    def confirm(self, case: Case) -> None:
        """Play every run of a case. Raises `Disagreement`."""
        runs = [(result.id, result.run, must_be_confirmed(result)) for result in case.results if result.run is not None]
        runs += [(finding.kind, finding.run, False) for finding in case.findings if finding.run is not None]
        for name, run, violates in runs if self._machine is not None else ():
            self.ahead(run)
            outcome = self._known[id(run)][1]
            if outcome.disagreement is not None:
                raise Disagreement(f"the simulator does not confirm the run of {name}: {outcome.disagreement}")
            if violates and name not in outcome.violated:
                raise Disagreement(f"the simulator does not confirm that the run of {name} violates it")


def must_be_confirmed(result: Result) -> bool:
    """Tell whether a result's run must violate a requirement on time or order, as the simulator judges it itself."""
    return result.verdict is Verdict.VIOLATED and result.kind in {"response", "precedence"}
