"""`seqcheck faults`: which sets of faults bring about what, as results come. Every run is replayed before it is shown."""

from collections.abc import Callable
from pathlib import Path
from typing import NoReturn

import click
from msgspec import Struct

from seqcheck import __version__
from seqcheck.analyse.faults.asking import AUTO
from seqcheck.analyse.faults.campaign import Machines
from seqcheck.analyse.faults.collecting import Reached
from seqcheck.analyse.faults.crews import Cluster, Crew, NoCrewError, Processes
from seqcheck.analyse.faults.desk import Desk, Ended, Orders
from seqcheck.analyse.faults.keeping import FORM, CannotKeepError, Heading, Kept, NotOursError
from seqcheck.analyse.faults.noticing import Noticed
from seqcheck.analyse.faults.study import Study, Wanted, study
from seqcheck.analyse.record import Disagreement
from seqcheck.check.deriving import sticks_every_signal
from seqcheck.check.machine import Machine
from seqcheck.cli.load import Loaded, load_any, refusal, show_diagnostics
from seqcheck.cli.output import refuse_to_write_over, write_whole
from seqcheck.cli.progress import ProgressLine
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model.run import Run
from seqcheck.report.faults_text import reached_line, study_text
from seqcheck.report.narrate import Vocabulary
from seqcheck.search.engine import Limits, Unfit
from seqcheck.search.engines import NAMES
from seqcheck.search.planner.reasons import bits

MANY_BITS = 72
"""A machine with more bits of state is not small enough to be searched in this process first."""

REACHED, REFUSED, UNDECIDED = 1, 2, 3
AT_LEAST_0, AT_LEAST_1 = click.IntRange(min=0), click.IntRange(min=1)


class Options(Struct, frozen=True, kw_only=True):
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
    loaded = load_any(file)
    show_diagnostics(loaded)
    limits = Limits(states=max_states, seconds=max_seconds)
    options = Options(
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
        refuse(loaded, json_path)
    studied = Inquiry(loaded, loaded.machine, options).study()
    if json_path is not None:
        from seqcheck.report.faults_json import study_data
        from seqcheck.report.json_form import text_of

        write_whole(json_path, text_of(study_data(studied, file=loaded.file, sha256=loaded.sha256)))
    raise SystemExit(exit_code(studied))


def refuse(loaded: Loaded, json_path: str | None) -> NoReturn:
    """Say that a file is refused, and end."""
    click.echo(refusal(loaded), err=True)
    if json_path is not None:
        from seqcheck.cli.answer_data import diagnostics_data
        from seqcheck.report.json_form import text_of

        write_whole(json_path, text_of(diagnostics_data(loaded)))
    raise SystemExit(REFUSED)


def exit_code(studied: Study) -> int:
    """Return the exit code; where it was broken off, much may not have been looked at."""
    if studied.ended in {Ended.INTERRUPTED, Ended.NOBODY}:
        return UNDECIDED
    return REACHED if studied.reaches_anything else 0 if studied.complete else UNDECIDED


def machines_of(machine: Machine) -> Machines:
    """Return a machine as a campaign asks for it."""
    return Machines(
        everything=compile_machine(machine, [fault.name for fault in machine.faults]),
        studying=lambda chosen: compile_machine(machine, chosen),
        observing=lambda id_, chosen: compile_observed(machine, id_, chosen),
    )


def confirm(machine: Machine, id_: str, run: Run) -> None:
    """Play a run again in the simulator. Raises `Disagreement`."""
    from seqcheck.simulate.replay import replay

    outcome = replay(machine, run)
    if outcome.disagreement is not None:
        raise Disagreement(f"the simulator does not confirm the run of {id_}: {outcome.disagreement}")


def confirm_notice(machine: Machine, noticed: Noticed) -> None:
    """Play the run again in which a fault is not noticed, if there is one. Raises `Disagreement`."""
    if noticed.result is not None and noticed.result.run is not None:
        confirm(machine, noticed.result.id, noticed.result.run)


class Inquiry:
    """The study of one file's faults."""

    def __init__(self, loaded: Loaded, machine: Machine, options: Options) -> None:
        self._loaded = loaded
        self._machine = machine
        self._options = options
        self._machines = machines_of(machine)
        self._words = Vocabulary.of(self._machines.everything)
        self._line = ProgressLine(loaded.file)

    def study(self) -> Study:
        """Make the study and print it. Raises `click.ClickException`."""
        try:
            return self._made()
        except (NoCrewError, NotOursError) as error:
            raise click.ClickException(self._why(error)) from None
        except Unfit as unfit:
            raise click.ClickException(f"the engine {self._options.engine} is not made for this machine: {unfit}") from None
        except CannotKeepError as error:
            raise click.ClickException(f"cannot keep what is found in {self._options.resume}: {error}") from None
        finally:
            self._line.clear()

    def _why(self, error: Exception) -> str:
        if isinstance(error, NoCrewError):
            return str(error)
        return f"{self._options.resume} was left as it was; it keeps nothing of {self._loaded.file}: {error}"

    def _made(self) -> Study:
        options = self._options
        search = f"{options.engine}" + (f", {options.limits.states:,} states" if options.limits.states is not None else "")
        heading = Heading(form=FORM, version=__version__, sequence_sha256=self._loaded.sha256, search=search)
        kept = Kept(options.resume, heading).open()
        desk = Desk(orders=self._orders(), kept=kept)
        try:
            with desk:
                studied = study(self._machines, desk, self._asked())
        finally:
            kept.close()
        self._tell(studied, desk)
        return studied

    def _orders(self) -> Orders:
        options = self._options
        cluster = options.cluster
        crew: Callable[[], Crew] = (lambda: Processes(options.workers)) if cluster is None else (lambda: Cluster(cluster))
        return Orders(
            engine=options.engine,
            limits=options.limits,
            crew=crew,
            at_once=cluster is not None or options.workers is not None or bits(self._machines.everything) > MANY_BITS,
            watch=self._line.keep_pace,
        )

    def _asked(self) -> Wanted:
        return Wanted(
            up_to=self._options.up_to,
            has_signals=sticks_every_signal(self._machine),
            tell=self._show,
            notice=(lambda noticed: confirm_notice(self._machine, noticed)) if self._options.notice else None,
        )

    # --- showing ---
    def _show(self, reached: Reached) -> None:
        if reached.result.run is not None:
            confirm(self._machine, reached.result.id, reached.result.run)
        self._line.clear()
        click.echo(reached_line(reached, self._words), err=self._options.quiet)

    def _tell(self, studied: Study, desk: Desk) -> None:
        self._line.clear()
        loaded, quiet = self._loaded, self._options.quiet
        click.echo("", err=quiet)
        for line in study_text(studied, self._words, file=loaded.file, sha256=loaded.sha256, runs=self._options.runs):
            click.echo(line, err=quiet)
        if desk.ended is not None and self._options.resume is not None:
            click.echo(f"what was found is kept in {self._options.resume}: the same command takes it up again", err=True)
