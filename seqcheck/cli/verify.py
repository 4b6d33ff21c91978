"""`seqcheck verify`: what is asked, and where the answers are written.

All that reads, judges and reports is imported after an engine's process has begun, which imports the engine beside that.
"""

import time
from pathlib import Path

import click

from seqcheck.cli.beforehand import AUTO, CHOICES, standby_for
from seqcheck.cli.output import refuse_to_write_over, write_whole
from seqcheck.search.engine import Limits

AT_LEAST_0, AT_LEAST_1 = click.IntRange(min=0), click.IntRange(min=1)


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
    written = {"--json": json_path, "--junit": junit, "--resume": resume, "--proof": proof, "--waveforms": waveforms}
    refuse_to_write_over(files, written)
    if waveforms is not None:
        from seqcheck.cli.exporting import make_folder

        make_folder(waveforms)
    limits = Limits(states=max_states, seconds=max_seconds, memory_mb=max_memory)
    with standby_for(files[0], engine_name, limits) as standby:
        from seqcheck.cli.searching import Wanted
        from seqcheck.cli.verifying import Asked, answer_all, exit_code

        asked = Asked(
            fault_count=fault_count,
            fault_names=fault_names,
            limits=limits,
            engine=engine_name,
            wanted=Wanted(resume=resume, proof=proof is not None, exact_counts=exact_counts, first=first),
            proof=proof,
            waveforms=waveforms,
            began=time.monotonic(),
            standby=standby,
        )
        answers = answer_all(files, asked, quiet="-" in {json_path, junit})
    if json_path is not None:
        from seqcheck.cli.answer_data import answers_text

        write_whole(json_path, answers_text(answers))
    if junit is not None:
        from seqcheck.cli.exporting import write_junit

        write_junit(junit, answers, time.monotonic() - asked.began)
    raise SystemExit(exit_code([answer.code for answer in answers]))
