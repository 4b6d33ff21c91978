"""`seqcheck compare`: what a change of a file changes in what the machine does. Every run is replayed before it is shown."""

from fractions import Fraction
from math import gcd, lcm
from pathlib import Path

import click

from seqcheck.analyse.comparing.compare import DifferentTicksError, Search
from seqcheck.analyse.comparing.compare import compare as compare_subjects
from seqcheck.analyse.comparing.comparison import Comparison, Outcome
from seqcheck.analyse.comparing.naming import RenameError
from seqcheck.analyse.comparing.verdicts import Subject
from seqcheck.analyse.record import Disagreement
from seqcheck.cli.beforehand import AUTO
from seqcheck.cli.load import REFUSED, Loaded, load_any, refusal, show_diagnostics
from seqcheck.cli.output import refuse_to_write_over, write_whole
from seqcheck.cli.progress import ProgressLine
from seqcheck.cli.searching import searcher
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model.model import Model
from seqcheck.report.comparison_text import comparison_text
from seqcheck.report.narrate import Vocabulary, duration_words
from seqcheck.search.comparing.pair import Side
from seqcheck.search.engine import Limits

CODES = {Outcome.SAME: 0, Outcome.DIFFERS: 1, Outcome.UNDECIDED: 3}
COLOURS = {Outcome.SAME: "green", Outcome.DIFFERS: "red", Outcome.UNDECIDED: "yellow"}


@click.command()
@click.argument("old", metavar="OLD", type=click.Path(path_type=Path))
@click.argument("new", metavar="NEW", type=click.Path(path_type=Path))
@click.option(
    "--rename", "renames", multiple=True, metavar="OLD=NEW", help="What is called otherwise now (may be given again)."
)
@click.option("--json", "json_path", metavar="PATH", help="Also write the result as JSON; - is standard output.")
@click.option("--max-states", type=click.IntRange(min=1), metavar="N", help="Give up after so many states of a file.")
@click.option("--max-seconds", type=click.FloatRange(min=0), metavar="S", help="Give up after so many seconds.")
@click.option("--max-memory", type=click.FloatRange(min=1), metavar="MB", help="Give up when so many megabytes are taken.")
def compare(  # noqa: PLR0913, PLR0917 - one argument for each option
    old: Path,
    new: Path,
    renames: tuple[str, ...],
    json_path: str | None,
    max_states: int | None,
    max_seconds: float | None,
    max_memory: float | None,
) -> None:
    """Tell what sets the file NEW apart from the file OLD in behaviour, without faults.

    Compared are: verdicts, the commands accepted, the situations reached, and the steps possible in them. Layout, comments,
    texts and the order of entries do not count; names do, unless --rename says what is called otherwise now: variables,
    states (as variable.state), sensors, timers, commands, people's actions, plant rules, trips, hazards, requirements.

    Exit code: 0 same behaviour, 1 behaviour differs, 2 a file is refused or an option is wrong, 3 undecided (a limit was
    reached, or Ctrl-C), 70 internal error.
    """
    refuse_to_write_over((old, new), {"--json": json_path})
    loaded = [load_any(path) for path in (old, new)]
    for one in loaded:
        show_diagnostics(one)
        if one.machine is None:
            click.echo(refusal(one), err=True)
    if any(one.machine is None for one in loaded):
        raise SystemExit(REFUSED)
    told = _compared(loaded, renames, Limits(states=max_states, seconds=max_seconds, memory_mb=max_memory))
    _replay(told, loaded)
    files = [(one.file, one.sha256) for one in loaded]
    words = {side: Vocabulary.of(_subject(one).model) for side, one in zip(Side, loaded, strict=True)}
    for line in comparison_text(told, words, files, _painted):
        click.echo(line, err=json_path == "-")
    if json_path is not None:
        from seqcheck.report.comparison_json import comparison_data
        from seqcheck.report.json_form import text_of

        write_whole(json_path, text_of(comparison_data(told, files)))
    raise SystemExit(CODES[told.outcome])


def _painted(text: str, outcome: Outcome) -> str:
    return click.style(text, fg=COLOURS[outcome], bold=outcome is not Outcome.SAME)


def _subject(loaded: Loaded) -> Subject:
    machine = loaded.machine
    if machine is None:
        raise ValueError(loaded)

    def observing(id_: str) -> Model:
        return compile_observed(machine, id_)

    return Subject(model=compile_machine(machine), observing=observing)


def _compared(loaded: list[Loaded], renames: tuple[str, ...], limits: Limits) -> Comparison:
    """Compare two machines. Raises `click.ClickException`."""
    old, new = (_subject(one) for one in loaded)
    line = ProgressLine(f"{loaded[0].file} and {loaded[1].file}")
    try:
        return compare_subjects(old, new, renames, Search(engine=searcher(AUTO), limits=limits, observer=line))
    except RenameError as wrong:
        raise click.BadParameter(str(wrong), param_hint="--rename") from None
    except DifferentTicksError:
        raise click.ClickException(different_ticks(old.model.tick_s, new.model.tick_s)) from None
    finally:
        line.clear()


def different_ticks(old_s: Fraction, new_s: Fraction) -> str:
    """Return why files with different ticks are not compared, and what to do."""
    parts = lcm(old_s.denominator, new_s.denominator)
    finer = Fraction(gcd(int(old_s * parts), int(new_s * parts)), parts)
    return (
        f"the old file has a tick of {duration_words(old_s)}, the new one of {duration_words(new_s)}: time passes in other "
        "steps in each, so that hardly a situation would be the same. The tick is part of what a file means. To see what else "
        f"has changed, write `tick: {duration_words(finer)}` in both (in copies, if you like) and compare these; `seqcheck "
        "verify` gives the verdicts at each tick"
    )


def _replay(told: Comparison, loaded: list[Loaded]) -> None:
    """Play every run again in the simulator. Raises `Disagreement`."""
    from seqcheck.simulate.replay import replay

    machines = dict(zip(Side, (one.machine for one in loaded), strict=True))
    for side, run in dict.fromkeys(told.runs()):
        machine = machines[side]
        outcome = None if machine is None else replay(machine, run)
        if outcome is not None and outcome.disagreement is not None:
            raise Disagreement(f"the simulator does not confirm a run of the {side.value} file: {outcome.disagreement}")
