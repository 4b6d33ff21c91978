"""`python -m tests.benchmarks`: measures the tool with each of its engines, and its rivals, and prints a table.

    python -m tests.benchmarks --quick
    python -m tests.benchmarks --case cells-2 --case pocket-cube --contestant packed --contestant C

Progress goes to standard error. Nothing else should run on the machine meanwhile.
"""

import sys
import tempfile
from pathlib import Path

import click

from tests.benchmarks.cases import CASES, QUICK
from tests.benchmarks.contestants import RIVALS, Row, Setting, engines, raced
from tests.benchmarks.measuring import Bounds
from tests.benchmarks.table import machine, remarks, table

NAMES = [case.name for case in CASES]


@click.command()
@click.option("--case", "chosen", multiple=True, type=click.Choice(NAMES), help="Only this machine. May be repeated.")
@click.option("--contestant", "contestants", multiple=True, help="Only this engine or rival. May be repeated.")
@click.option("--repeats", type=click.IntRange(min=1), default=3, show_default=True, help="Runs of which the median counts.")
@click.option("--seconds", type=float, default=120.0, show_default=True, help="End a run after so many seconds.")
@click.option("--memory", type=float, default=6000.0, show_default=True, help="End a run at so many megabytes.")
@click.option("--quick", is_flag=True, help="Only small machines, once each.")
def measure(
    chosen: tuple[str, ...], contestants: tuple[str, ...], repeats: int, seconds: float, memory: float, *, quick: bool
) -> None:
    """Measure engines and rivals; print a table in Markdown."""
    known = [*engines(), *RIVALS]
    unknown = [name for name in contestants if name not in known]
    if unknown:
        raise click.BadParameter(f"{', '.join(unknown)}; known are {', '.join(known)}", param_hint="--contestant")
    cases = [case for case in CASES if case.name in (chosen or (QUICK if quick else NAMES))]
    rows: list[Row] = []
    here = machine()
    with tempfile.TemporaryDirectory() as folder:
        setting = Setting(
            repeats=1 if quick else repeats, bounds=Bounds(seconds=seconds, memory_mb=memory), folder=Path(folder)
        )
        for case in cases:
            for name in [one for one in known if one in contestants or not contestants]:
                rows.append(raced(case, name, setting))
                sys.stderr.write(f"{case.name} {name}: {rows[-1].verdict or rows[-1].note or 'done'}\n")
    sys.stdout.write(table(rows) + "\n" + "\n".join(remarks(rows, here)) + "\n")


if __name__ == "__main__":
    measure()
