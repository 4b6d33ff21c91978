"""Writes rows as a table in Markdown, with the ratio of each time to that of the C rival, and the machine it was run on."""

import os
import platform
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from tests.benchmarks import c_rival
from tests.benchmarks.contestants import Row

HEAD = ("case", "engine", "verdicts", "states", "seconds", "transitions/s", "peak MB", "bytes a state", "x C", "note")
LEFT = {"case", "engine", "verdicts", "note"}
MOST_DIGITS = 10**12
YARDSTICK, YARDSTICK_S = "cells-2", 7.0
"""The C rival must do this case in so many seconds, else the ratios do not count."""


def table(rows: Sequence[Row]) -> str:
    """Return all rows as a table."""
    of_c = {row.case: row.seconds for row in rows if row.contestant == "C" and row.seconds is not None}
    lines = [HEAD, *(cells_of(row, of_c) for row in rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(HEAD))]
    rule = [("-" * w if name in LEFT else "-" * (w - 1) + ":") for w, name in zip(widths, HEAD, strict=True)]
    return "\n".join(written(line, widths) for line in (HEAD, tuple(rule), *lines[1:])) + "\n"


def written(line: Sequence[str], widths: Sequence[int]) -> str:
    """Return one line of the table."""
    texts = (text.ljust(w) if name in LEFT else text.rjust(w) for text, w, name in zip(line, widths, HEAD, strict=True))
    return "| " + " | ".join(texts) + " |"


def cells_of(row: Row, of_c: Mapping[str, float]) -> tuple[str, ...]:
    """Return the texts of one row."""
    rate = ratio = ""
    if row.seconds and row.transitions is not None:
        rate = counted(round(row.transitions / row.seconds))
    if row.seconds is not None and row.case in of_c:
        times = row.seconds / of_c[row.case]
        ratio = f"{times:,.0f}" if times >= 100 else f"{times:.3g}"
    return (
        row.case,
        row.contestant,
        row.verdict,
        "" if row.states is None else counted(row.states),
        "" if row.seconds is None else f"{row.seconds:.3f}",
        rate,
        "" if row.peak_mb is None else f"{row.peak_mb:,.0f}",
        "" if row.bytes_a_state is None else f"{row.bytes_a_state:.1f}",
        ratio,
        row.note.replace("|", "/"),
    )


def counted(number: int) -> str:
    """Return a count with its thousands apart, or its first digits if it is very large."""
    if number < MOST_DIGITS:
        return f"{number:,}"
    digits = str(number)
    return f"{digits[0]}.{digits[1:3]}e{len(digits) - 1}"


def remarks(rows: Sequence[Row], machine: str) -> Iterator[str]:
    """Yield what a reader of the table must know; *machine* is what it was measured on."""
    yield f"Whole processes, medians; {machine}."
    yield "MB: peak resident of the process tree. x C: time as a multiple of the C rival's (its compilation not counted)."
    if c_rival.compiler() is None:
        yield "There is no gcc here: the C rival was left out, and with it the ratios."
    yield from disagreements(rows)
    for row in rows:
        if (row.case, row.contestant) == (YARDSTICK, "C") and row.seconds is not None and row.seconds > YARDSTICK_S:
            yield f"The ratios do not count: the C rival took {row.seconds:.1f} s for {YARDSTICK}, more than {YARDSTICK_S:g} s."


def disagreements(rows: Sequence[Row]) -> Iterator[str]:
    """Yield the cases whose states or transitions were not the same for all who counted them all."""
    for case in dict.fromkeys(row.case for row in rows):
        counts = {
            row.contestant: (row.states, row.transitions) for row in rows if row.case == case and row.whole and row.states
        }
        if len(set(counts.values())) > 1:
            told = ", ".join(f"{name} {states:,} and {transitions:,}" for name, (states, transitions) in counts.items())
            yield f"Those who searched {case} disagree on its states and transitions: {told}."


def machine() -> str:
    """Return what measurements are made on, and how busy it is now."""
    info = Path("/proc/cpuinfo")
    lines = info.read_text(encoding="utf-8").splitlines() if info.exists() else []
    model = next((line.partition(":")[2].strip() for line in lines if line.startswith("model name")), platform.machine())
    load = os.getloadavg()[0]
    return f"{os.cpu_count()} x {model}, Python {platform.python_version()}, {gcc_version()}, load beforehand {load:.1f}"


def gcc_version() -> str:
    """Return the version of the compiler."""
    if c_rival.compiler() is None:
        return "no gcc"
    done = subprocess.run(["gcc", "-dumpfullversion"], capture_output=True, text=True, check=True)
    return f"gcc {done.stdout.strip()}"
