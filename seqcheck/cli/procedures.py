"""`seqcheck procedures`: which procedures work, and what every deviation comes to. Runs are replayed before they are shown."""

from collections.abc import Iterator, Sequence
from difflib import get_close_matches
from pathlib import Path

import click

from seqcheck.analyse.procedures.confirming import confirmed
from seqcheck.analyse.procedures.deviations import row_count
from seqcheck.analyse.procedures.judging import procedure_result
from seqcheck.analyse.procedures.records import Class, Study
from seqcheck.analyse.procedures.study import study
from seqcheck.analyse.procedures.wording import Wording
from seqcheck.analyse.record import Disagreement, Memory
from seqcheck.analyse.verdict import Result, Verdict
from seqcheck.check.machine import Machine
from seqcheck.cli.load import REFUSED, Loaded, load
from seqcheck.cli.output import refuse_to_write_over, write_whole
from seqcheck.cli.progress import ProgressLine
from seqcheck.cli.verifying import COLOURS
from seqcheck.compile.compile import compile_machine
from seqcheck.model.model import Model
from seqcheck.model.run import Run
from seqcheck.report.narrate import duration_words
from seqcheck.report.procedures_text import procedures_text, row_text
from seqcheck.search.engine import Limits, Stop

BROKEN, UNDECIDED = 1, 3


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--json", "json_path", metavar="PATH", help="Also write the result as JSON, with all runs; - is standard output.")
@click.option("--procedure", "names", metavar="NAME", multiple=True, help="Only this procedure (may be given again).")
@click.option("--run", "row", metavar="P.R", help="Tell the runs of one row instead: procedure P, row R of the table.")
@click.option("--every-row", is_flag=True, help="Give each other command a line of its own.")
@click.option("--check-runs", is_flag=True, help="Take every run again with the definition and the simulator first: slow.")
@click.option("--max-states", type=click.IntRange(min=1), metavar="N", help="Give up after so many situations, or states.")
@click.option("--max-seconds", type=click.FloatRange(min=0), metavar="S", help="Give up after so many seconds.")
def procedures(  # noqa: PLR0913, PLR0917 - one argument for each option
    file: Path,
    json_path: str | None,
    names: tuple[str, ...],
    row: str | None,
    every_row: bool,
    check_runs: bool,
    max_states: int | None,
    max_seconds: float | None,
) -> None:
    """Tell which procedures of FILE work as written, and what comes of every deviation from them.

    Exit code: 0 all work and no deviation meets a hazard, 1 one does not work, or meets one, 2 FILE is refused or an option is
    wrong, 3 undecided (a limit was reached, or Ctrl-C), 70 internal error.
    """
    refuse_to_write_over([file], {"--json": json_path})
    loaded = load(file)
    machine = loaded.machine
    if machine is None:
        raise SystemExit(REFUSED)
    model = compile_machine(machine)
    numbers = chosen(model, names)
    wanted = None if row is None else row_asked(row, model, numbers)
    progress = ProgressLine(loaded.file)
    try:
        studied = study(
            model, numbers if wanted is None else wanted[:1], Limits(states=max_states, seconds=max_seconds), progress
        )
    finally:
        progress.clear()
    results = [procedure_result(model, one, Wording(model=model, duration=duration_words)) for one in studied.studied]
    replay_all(machine, runs_shown(model, studied, results, wanted, every=check_runs))
    for line in _lines(loaded, model, studied, results, wanted, every_row=every_row):
        click.echo(line, err=json_path == "-")
    if json_path is not None:
        from seqcheck.report.procedures_json import large_text, study_data

        write_whole(json_path, large_text(study_data(studied, model, results, file=loaded.file, sha256=loaded.sha256)))
    raise SystemExit(exit_code(studied))


def chosen(model: Model, names: Sequence[str]) -> list[int]:
    """Return the numbers of the procedures asked for, all if none is named. Raises `click.ClickException`."""
    known = [procedure.name for procedure in model.procedures]
    if not known:
        raise click.ClickException("the file has no procedures: write them down under `procedures`")
    for name in names:
        if name not in known:
            near = get_close_matches(name, known)
            offered = " or ".join(f"“{one}”" for one in near or known)
            hint = f"did you mean {offered}?" if near else f"its procedures: {offered}"
            raise click.BadParameter(f"the file has no procedure “{name}”; {hint}", param_hint="--procedure")
    return [number for number, name in enumerate(known) if not names or name in names]


def row_asked(text: str, model: Model, numbers: Sequence[int]) -> tuple[int, int]:
    """Return the procedure and the row that `--run` means, from 0. Raises `click.BadParameter`."""
    parts = text.split(".")
    if len(parts) not in {2, 3} or not all(part.isdecimal() for part in parts):
        raise click.BadParameter(f"{text} is no row; write it like 1.15, as in the table", param_hint="--run")
    number, row = int(parts[0]) - 1, int(parts[1]) - 1
    if number not in numbers:
        raise click.BadParameter(f"there is no procedure {number + 1} among those asked for", param_hint="--run")
    rows = row_count(model, model.procedures[number])
    if not 0 <= row < rows:
        name = model.procedures[number].name
        raise click.BadParameter(f"“{name}” has the rows 1 to {rows}, not {row + 1}", param_hint="--run")
    return number, row


def runs_shown(
    model: Model, studied: Study, results: Sequence[Result], wanted: tuple[int, int] | None, *, every: bool
) -> Iterator[tuple[str, Run]]:
    """Yield the runs that break procedures, those of the row asked for, and of deviations that meet a hazard or fail.

    *every*: also all others. Raises `Disagreement` if one does not show what it is said to.
    """
    yield from ((result.id, result.run) for result in results if result.run is not None)
    memory: Memory = {}
    for one in studied.studied:
        procedure = model.procedures[one.procedure]
        for number, row in enumerate(one.rows):
            shown = every or wanted == (one.procedure, number)
            for outcome in row.outcomes:
                if shown or outcome.met in {Class.HAZARD, Class.FAILS}:
                    taken = confirmed(model, procedure, outcome, memory)
                    if taken is not None:
                        yield f"row {one.procedure + 1}.{number + 1}", taken.run


def replay_all(machine: Machine, runs: Iterator[tuple[str, Run]]) -> None:
    """Play runs again in the simulator, each once. Raises `Disagreement`."""
    played: set[Run] = set()
    for name, run in runs:
        if run in played:
            continue
        from seqcheck.simulate.replay import replay

        played.add(run)
        outcome = replay(machine, run)
        if outcome.disagreement is not None:
            raise Disagreement(f"the simulator does not confirm the run of {name}: {outcome.disagreement}")


def _lines(
    loaded: Loaded,
    model: Model,
    studied: Study,
    results: Sequence[Result],
    wanted: tuple[int, int] | None,
    *,
    every_row: bool,
) -> Iterator[str]:
    revision = f", revision {model.revision}" if model.revision else ""
    yield f"{model.name}{revision}   ({loaded.file}, sha256 {loaded.sha256[:12]})"
    yield f"{studied.situations:,} situations and {studied.states:,} states were looked at in {studied.seconds:.2f} s"
    if studied.stopped is not None:
        yield f"it ended early at {studied.stopped.value}: what was not looked at is undecided"
    if wanted is None:
        yield from procedures_text(studied, model, results, grouped=not every_row, paint=_painted)
    else:
        yield from row_text(studied.studied[0], wanted[1], model)


def _painted(text: str, verdict: Verdict) -> str:
    return click.style(text, fg=COLOURS[verdict], bold=verdict is not Verdict.HOLDS)


def exit_code(studied: Study) -> int:
    """Return the exit code: an interruption before all others, since much was not looked at."""
    if studied.stopped is Stop.INTERRUPTED:
        return UNDECIDED
    met = {outcome.met for one in studied.studied for row in one.rows for outcome in row.outcomes}
    if any(one.works is False for one in studied.studied) or Class.HAZARD in met:
        return BROKEN
    return UNDECIDED if studied.stopped is not None or any(one.works is None for one in studied.studied) else 0
