"""Writes what `verify` found in the forms that other programs read: JUnit XML, and a waveform of each run."""

import os
import re
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import click

from seqcheck.analyse.verdict import Result, Verification
from seqcheck.cli.answer import Answer
from seqcheck.cli.load import Loaded
from seqcheck.cli.output import write_whole
from seqcheck.diagnostics.render import render
from seqcheck.model.model import Model

LONGEST_STEM = 100
"""Characters of a name that become part of a file's name."""


DEVICE = re.compile(r"con|prn|aux|nul|com\d|lpt\d", re.IGNORECASE)
"""Names that are no files on Windows, whatever their ending."""


def write_junit(path: str, answers: Sequence[Answer], seconds: float) -> None:
    """Write the answers, which took *seconds*, as JUnit XML. Raises `click.ClickException`."""
    from seqcheck.report.junit import Checked, junit_of

    checked = [
        Checked(
            file=answer.loaded.file,
            sha256=answer.loaded.sha256,
            verification=answer.verified,
            words=answer.words,
            searches=answer.searches,
            refused=tuple(render(one, answer.loaded.file, answer.loaded.text) for one in answer.loaded.diagnostics),
        )
        for answer in answers
    ]
    write_whole(path, junit_of(checked, began=moment(seconds)))


def moment(seconds: float = 0.0) -> str:
    """Return the time *seconds* ago in UTC, or that of SOURCE_DATE_EPOCH where it is set. Raises `click.ClickException`."""
    fixed = os.environ.get("SOURCE_DATE_EPOCH", "")
    try:
        now = int(fixed) if fixed else datetime.now(UTC).timestamp() - seconds
        return datetime.fromtimestamp(now, UTC).strftime("%Y-%m-%dT%H:%M:%S")
    except (ValueError, OverflowError, OSError):
        raise click.ClickException(f"SOURCE_DATE_EPOCH is {fixed}, which is no number of seconds since 1970") from None


def make_folder(path: Path) -> None:
    """Make a folder, if it is not there. Raises `click.ClickException`."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise click.ClickException(f"cannot make the folder {path}: {error.strerror or error}") from None


def write_waveforms(folder: Path, verified: Verification, models: Sequence[Model], loaded: Loaded) -> int:
    """Write each run of a verification as a value change dump; return how many. Raises `click.ClickException`."""
    from seqcheck.report.vcd import vcd_of

    taken: set[str] = set()
    date = moment() if os.environ.get("SOURCE_DATE_EPOCH", "") else ""
    revision = f", revision {verified.revision}" if verified.revision else ""
    for model, case in zip(models, verified.cases, strict=False):
        for result in case.results:
            if result.run is not None:
                origin = f"{verified.machine}{revision} ({Path(loaded.file).name}, sha256 {loaded.sha256[:12]})"
                about = f"{origin}: {result.id} {result.verdict.value}: {result.text}"
                text = vcd_of(result.run, result.accounts, model, about=about, date=date)
                write_whole(str(folder / f"{file_stem(result, taken)}.vcd"), text)
    return len(taken)


def file_stem(result: Result, taken: set[str]) -> str:
    """Return the name of a result's file, without its ending, that no other has, upper and lower case alike; note it."""
    named = "_with_".join((result.id, *result.faults))
    plain = re.sub(r"[^A-Za-z0-9_-]+", "_", named)[:LONGEST_STEM].strip("_") or "run"
    if DEVICE.fullmatch(plain):
        plain = f"run_{plain}"
    chosen, number = plain, 1
    while chosen.lower() in taken:
        number += 1
        chosen = f"{plain}_{number}"
    taken.add(chosen.lower())
    return chosen
