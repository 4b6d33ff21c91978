"""`seqcheck verify`: every file's hazards and requirements judged, each counterexample replayed before it is shown."""

import itertools
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import click
from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.record import Disagreement
from seqcheck.analyse.verdict import Case, Result, Verdict, Verification
from seqcheck.analyse.verify import verification, verify_case
from seqcheck.check.machine import Machine
from seqcheck.cli.answer import Answer
from seqcheck.cli.load import Loaded, load_any, refusal, show_diagnostics
from seqcheck.cli.output import refuse_to_write_over, write_whole
from seqcheck.cli.progress import ProgressLine
from seqcheck.cli.searching import AUTO, CHOICES, Searches, Wanted, searches_of
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model.model import Model
from seqcheck.report.lines import counted
from seqcheck.report.narrate import Vocabulary
from seqcheck.report.text import report
from seqcheck.search.engine import Limits

COLOURS = {Verdict.HOLDS: "green", Verdict.VIOLATED: "red", Verdict.UNDECIDED: "yellow"}
AT_LEAST_0, AT_LEAST_1 = click.IntRange(min=0), click.IntRange(min=1)
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

    def limits_now(self) -> Limits:
        """Return the limits with the time that is left."""
        if self.limits.seconds is None:
            return self.limits
        left = self.limits.seconds - (time.monotonic() - self.began)
        return replace(self.limits, seconds=max(0.0, left))


@click.command()
@click.argument("files", nargs=-1, required=True, metavar="FILE…", type=click.Path(path_type=Path))
@click.option("--json", "json_path", metavar="PATH", help="Also write the result as JSON; - is standard output.")
@click.option("--faults", "fault_count", type=AT_LEAST_0, default=0, metavar="K", help="Also with each set of up to K faults.")
@click.option("--fault", "fault_names", multiple=True, metavar="NAME", help="Also with this fault (given again: each alone).")
@click.option("--max-states", type=AT_LEAST_1, metavar="N", help="Give up after so many states.")
@click.option("--max-seconds", type=click.FloatRange(min=0), metavar="S", help="Give up after so many seconds.")
@click.option("--max-memory", type=click.FloatRange(min=1), metavar="MB", help="Give up when so many megabytes are taken.")
@click.option("--engine", "engine_name", type=click.Choice(CHOICES), default=AUTO, show_default=True, help="How to search.")
@click.option("--exact-counts", is_flag=True, help="Count the states of the machine as written: all engines do.")
@click.option("--first", is_flag=True, help="Stop at the first violation: its shortest run is shown, the rest stays undecided.")
@click.option("--resume", metavar="FILE", type=click.Path(path_type=Path), help="Keep the search in FILE; go on from there.")
@click.option("--proof", metavar="FILE", help="Also write a proof of all that holds, for check-proof.")
@click.option("--junit", metavar="PATH", help="Also write the result as JUnit XML, for CI servers; - is standard output.")
@click.option("--waveforms", metavar="FOLDER", type=click.Path(path_type=Path), help="Also write each run as a waveform (VCD).")
def verify(  # noqa: PLR0913, PLR0917 - one argument for each option
    files: tuple[Path, ...],
    json_path: str | None,
    fault_count: int,
    fault_names: tuple[str, ...],
    max_states: int | None,
    max_seconds: float | None,
    max_memory: float | None,
    engine_name: str,
    exact_counts: bool,
    first: bool,
    resume: Path | None,
    proof: str | None,
    junit: str | None,
    waveforms: Path | None,
) -> None:
    """Search every reachable state of each FILE and judge its hazards and requirements.

    Exit code: 0 all hold, 1 something is violated, 2 a file is refused, 3 something is undecided, 70 internal error.
    """
    asked = Asked(
        fault_count=fault_count,
        fault_names=fault_names,
        limits=Limits(states=max_states, seconds=max_seconds, memory_mb=max_memory),
        engine=engine_name,
        wanted=Wanted(resume=resume, proof=proof is not None, exact_counts=exact_counts, first=first),
        proof=proof,
        waveforms=waveforms,
        began=time.monotonic(),
    )
    written = {"--json": json_path, "--junit": junit, "--resume": resume, "--proof": proof, "--waveforms": waveforms}
    refuse_to_write_over(files, written)
    if waveforms is not None:
        from seqcheck.cli.exporting import make_folder

        make_folder(waveforms)
    answers = answer_all(files, asked, quiet="-" in {json_path, junit})
    if json_path is not None:
        from seqcheck.cli.answer_data import answers_text

        write_whole(json_path, answers_text(answers))
    if junit is not None:
        from seqcheck.cli.exporting import write_junit

        write_junit(junit, answers, time.monotonic() - asked.began)
    raise SystemExit(exit_code([answer.code for answer in answers]))


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
    searches = searches_of(loaded, asked.engine, asked.wanted)
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
    try:
        case = verify_case(model, searches, limits, line, observing)
    finally:
        line.clear()
    _replay(case, loaded)
    return case


def _replay(case: Case, loaded: Loaded) -> None:
    """Play every run again in the simulator. Raises `Disagreement`."""
    runs = [(result.id, result.run, must_be_confirmed(result)) for result in case.results if result.run is not None]
    runs += [(finding.kind, finding.run, False) for finding in case.findings if finding.run is not None]
    if not runs or loaded.machine is None:
        return
    from seqcheck.simulate.replay import replay

    for name, run, violates in runs:
        outcome = replay(loaded.machine, run)
        if outcome.disagreement is not None:
            raise Disagreement(f"the simulator does not confirm the run of {name}: {outcome.disagreement}")
        if violates and name not in outcome.violated:
            raise Disagreement(f"the simulator does not confirm that the run of {name} violates it")


def must_be_confirmed(result: Result) -> bool:
    """Tell whether a result's run must violate a requirement on time or order, as the simulator judges it itself."""
    return result.verdict is Verdict.VIOLATED and result.kind in {"response", "precedence"}
