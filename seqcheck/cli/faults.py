"""`seqcheck faults`: which sets of faults bring about what, as results come. Every run is replayed before it is shown."""

from collections.abc import Callable, Iterator, Mapping
from contextlib import nullcontext
from pathlib import Path

import click
from msgspec import Struct

from seqcheck import __version__
from seqcheck.analyse.faults.asking import AUTO, Answer, Question
from seqcheck.analyse.faults.campaign import Campaign, Machines
from seqcheck.analyse.faults.collecting import Collector, Reached, subjects
from seqcheck.analyse.faults.crews import Cluster, Crew, NoCrewError, Processes
from seqcheck.analyse.faults.desk import Desk, Ended, Orders
from seqcheck.analyse.faults.keeping import FORM, Heading, Kept, NotOursError, checking
from seqcheck.analyse.faults.noticing import Noticed, question, told
from seqcheck.analyse.faults.study import Found, Study, study
from seqcheck.analyse.record import Disagreement
from seqcheck.check.deriving import sticks_every_signal
from seqcheck.check.machine import Machine
from seqcheck.cli.load import Loaded, load
from seqcheck.cli.output import write_whole
from seqcheck.cli.progress import ProgressLine
from seqcheck.cli.verify import refuse_to_write_over
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model.run import Run
from seqcheck.report.faults_text import reached_line, study_text
from seqcheck.report.narrate import Vocabulary
from seqcheck.search.engine import Limits, Unfit
from seqcheck.search.engines import NAMES

REACHED, REFUSED, UNDECIDED = 1, 2, 3
AT_LEAST_0, AT_LEAST_1 = click.IntRange(min=0), click.IntRange(min=1)


class Wanted(Struct, frozen=True, kw_only=True):
    """What the command line asks for."""

    up_to: int
    limits: Limits
    engine: str
    workers: int | None
    cluster: str | None
    resume: Path | None
    notice: bool
    runs: bool
    quiet: bool


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--up-to", type=AT_LEAST_0, default=1, show_default=True, metavar="K", help="Up to K faults at a time.")
@click.option("--json", "json_path", metavar="PATH", help="Also write the result as JSON; - is standard output.")
@click.option("--notice/--no-notice", default=True, help="Also find out whether each stuck signal is noticed.")
@click.option("--runs/--no-runs", default=True, help="Tell each run in words.")
@click.option("--resume", metavar="FILE", type=click.Path(path_type=Path), help="Keep what is found in FILE; go on from there.")
@click.option("--workers", type=AT_LEAST_1, metavar="N", help="Processes of this computer; one for each processor if left out.")
@click.option("--cluster", metavar="ADDRESS", help="Let a dask.distributed cluster work, one that you trust (host:port).")
@click.option("--engine", type=click.Choice((AUTO, *NAMES)), default=AUTO, show_default=True, help="How to search.")
@click.option("--max-states", type=AT_LEAST_1, metavar="N", help="Give up one set of faults after so many states.")
@click.option("--max-seconds", type=click.FloatRange(min=0), metavar="S", help="Give up the whole after so many seconds.")
def faults(  # noqa: PLR0913, PLR0917 - one argument for each option
    file: Path,
    up_to: int,
    json_path: str | None,
    notice: bool,
    runs: bool,
    resume: Path | None,
    workers: int | None,
    cluster: str | None,
    engine: str,
    max_states: int | None,
    max_seconds: float | None,
) -> None:
    """Find the smallest sets of faults that bring about each hazard of FILE, or break a requirement.

    Exit code: 0 nothing is brought about by up to K faults, or none, 1 something is, 2 FILE is refused or an option is wrong, 3
    undecided (a limit was reached, or Ctrl-C), 70 internal error.
    """
    if workers is not None and cluster is not None:
        raise click.UsageError("--workers is about this computer: leave it out with --cluster")
    refuse_to_write_over([file], {"--json": json_path, "--resume": resume})
    loaded = load(file)
    limits = Limits(states=max_states, seconds=max_seconds)
    wanted = Wanted(
        up_to=up_to,
        limits=limits,
        engine=engine,
        workers=workers,
        cluster=cluster,
        resume=resume,
        notice=notice,
        runs=runs,
        quiet=json_path == "-",
    )
    if loaded.machine is None:
        raise SystemExit(REFUSED)
    studied = Inquiry(loaded, loaded.machine, wanted).study()
    if json_path is not None:
        from seqcheck.report.faults_json import study_data
        from seqcheck.report.json_form import text_of

        write_whole(json_path, text_of(study_data(studied, file=loaded.file, sha256=loaded.sha256)))
    raise SystemExit(exit_code(studied))


def exit_code(studied: Study) -> int:
    """Return the exit code: an interruption before all others, since much was not looked at."""
    if studied.ended is Ended.INTERRUPTED:
        return UNDECIDED
    return REACHED if studied.reaches_anything else 0 if studied.complete else UNDECIDED


class Inquiry:
    """The study of one file's faults."""

    def __init__(self, loaded: Loaded, machine: Machine, wanted: Wanted) -> None:
        self._loaded = loaded
        self._machine = machine
        self._wanted = wanted
        self._machines = Machines(
            everything=compile_machine(machine, [fault.name for fault in machine.faults]),
            studying=lambda chosen: compile_machine(machine, chosen),
            observing=lambda id_, chosen: compile_observed(machine, id_, chosen),
        )
        self._words = Vocabulary.of(self._machines.everything)
        self._line = ProgressLine(loaded.file)

    def study(self) -> Study:
        """Make the study and print it. Raises `click.ClickException`."""
        try:
            return self._made()
        except (NoCrewError, NotOursError) as error:
            raise click.ClickException(self._why(error)) from None
        except Unfit as unfit:
            raise click.ClickException(f"the engine {self._wanted.engine} is not made for this machine: {unfit}") from None
        except OSError as error:
            raise click.ClickException(f"cannot keep what is found: {error.strerror or error}") from None
        finally:
            self._line.clear()

    def _why(self, error: Exception) -> str:
        if isinstance(error, NoCrewError):
            return str(error)
        return f"{self._wanted.resume} was left as it was; it keeps nothing of {self._loaded.file}: {error}"

    def _made(self) -> Study:
        wanted = self._wanted
        search = f"{wanted.engine}" + (f", {wanted.limits.states:,} states" if wanted.limits.states is not None else "")
        heading = Heading(form=FORM, version=__version__, sequence_sha256=self._loaded.sha256, search=search)
        kept = Kept(wanted.resume, heading).open()
        desk = Desk(orders=self._orders(), kept=kept)
        try:
            with desk:
                studied = self._searched(desk)
        finally:
            kept.close()
        self._tell(studied, desk)
        return studied

    def _orders(self) -> Orders:
        wanted = self._wanted
        cluster = wanted.cluster
        crew: Callable[[], Crew] = (lambda: Processes(wanted.workers)) if cluster is None else (lambda: Cluster(cluster))
        return Orders(
            engine=wanted.engine,
            limits=wanted.limits,
            crew=crew,
            at_once=cluster is not None or wanted.workers is not None,
            watch=self._line.keep_pace,
        )

    def _searched(self, desk: Desk) -> Study:
        everything = self._machines.everything
        collector = Collector(subjects(everything), everything.faults)
        asked = list(self._about_notice()) if self._wanted.notice else []
        besides = [one for one in asked if isinstance(one, Question)]
        campaign = Campaign(machines=self._machines, up_to=self._wanted.up_to, desk=desk, collector=collector, besides=besides)
        if self._wanted.engine == AUTO and self._wanted.limits.states is None:
            desk.wholes = campaign.wholes()
        for reached in campaign.run():
            self._show(reached)
        noticed = tuple(self._noticed(asked, campaign.answered))
        rows = collector.rows()
        found = Found(up_to=self._wanted.up_to, rows=rows, covered=tuple(campaign.covered), ended=desk.ended, noticed=noticed)
        return study(everything, found, has_signals=sticks_every_signal(self._machine))

    def _about_notice(self) -> Iterator[Question | Noticed]:
        for fault in self._machine.faults:
            asked = question(compile_machine(self._machine, [fault.name])) if fault.stuck is not None else None
            if asked is not None:
                yield asked

    def _noticed(self, asked: list[Question | Noticed], answers: Mapping[tuple[str, ...], Answer]) -> Iterator[Noticed]:
        """Yield what is known of notice, in file order. Raises `NotOursError` if an answer that was kept is damaged."""
        for one in asked:
            if isinstance(one, Noticed):
                yield one
            elif one.study in answers:
                with checking(one.study) if self._wanted.resume is not None else nullcontext():
                    known = told(one, answers[one.study])
                if known.result is not None and known.result.run is not None:
                    self._replay(known.result.id, known.result.run)
                yield known

    # --- showing ---
    def _show(self, reached: Reached) -> None:
        if reached.result.run is not None:
            self._replay(reached.result.id, reached.result.run)
        self._line.clear()
        click.echo(reached_line(reached, self._words), err=self._wanted.quiet)

    def _replay(self, id_: str, run: Run) -> None:
        """Play a run again in the simulator. Raises `Disagreement`."""
        from seqcheck.simulate.replay import replay

        outcome = replay(self._machine, run)
        if outcome.disagreement is not None:
            raise Disagreement(f"the simulator does not confirm the run of {id_}: {outcome.disagreement}")

    def _tell(self, studied: Study, desk: Desk) -> None:
        self._line.clear()
        loaded, quiet = self._loaded, self._wanted.quiet
        click.echo("", err=quiet)
        for line in study_text(studied, self._words, file=loaded.file, sha256=loaded.sha256, runs=self._wanted.runs):
            click.echo(line, err=quiet)
        if desk.ended is not None and self._wanted.resume is not None:
            click.echo(f"what was found is kept in {self._wanted.resume}: the same command takes it up again", err=True)
