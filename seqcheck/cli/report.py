"""`seqcheck report`: one file with everything that a reviewer reads and signs. Every run is replayed before it is shown."""

import os
import time
from datetime import UTC, datetime
from pathlib import Path

import click
from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.verdict import Verdict
from seqcheck.cli.load import load
from seqcheck.cli.output import refuse_to_write_over, write_whole
from seqcheck.cli.reviewing import Reviewing
from seqcheck.cli.verifying import UNDECIDED, VIOLATED, exit_code
from seqcheck.report.lines import counted
from seqcheck.review.gathering import gather
from seqcheck.review.record import Review
from seqcheck.search.engine import Limits
from seqcheck.search.limits import Interruption

REFUSED = 2


class Options(Struct, frozen=True, kw_only=True):
    """What the command line asks for; *began* is when, by the clock that never goes back."""

    up_to: int
    thorough: bool
    limits: Limits
    proof: str | None
    date: str
    began: float

    def limits_now(self) -> Limits:
        """Return the limits with the time that is left."""
        left = self.left()
        return self.limits if left is None else replace(self.limits, seconds=max(0.0, left))

    def left(self) -> float | None:
        """Return how many seconds are left; None without a limit."""
        return None if self.limits.seconds is None else self.limits.seconds - (time.monotonic() - self.began)


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--out", required=True, metavar="PATH", help="The file to write (HTML); - is standard output.")
@click.option(
    "--up-to", type=click.IntRange(min=0), default=1, show_default=True, metavar="K", help="Up to K faults at a time."
)
@click.option("--thorough", is_flag=True, help="Also what is left out to be quick, as said above.")
@click.option(
    "--proof", metavar="FILE", help="Also write a proof of all that holds, for check-proof, and name it in the review."
)
@click.option("--max-seconds", type=click.FloatRange(min=0), metavar="S", help="Give up after so many seconds.")
@click.option("--max-memory", type=click.FloatRange(min=1), metavar="MB", help="Give up when so many megabytes are taken.")
def report(  # noqa: PLR0913, PLR0917 - one argument for each option
    file: Path, out: str, up_to: int, thorough: bool, proof: str | None, max_seconds: float | None, max_memory: float | None
) -> None:
    """Write a review of FILE as one page that needs no network: verdicts, faults, procedures, permissives, drawings.

    Left out to be quick, but for --thorough: whether stuck signals are noticed, which pairs of permissives and trips may not go
    together, margins of durations; nothing besides the verification then takes more than a minute.

    Where a limit is reached, or after Ctrl-C, it is written all the same and says what was not answered.

    Exit code: 0 all hold, 1 something is violated, 2 FILE is refused or an option is wrong, 3 undecided or not wholly answered,
    70 internal error.
    """
    began = time.monotonic()
    refuse_to_write_over([file], {"--out": out, "--proof": proof})
    date = today()
    loaded = load(file)
    if loaded.machine is None:
        raise SystemExit(REFUSED)
    limits = Limits(seconds=max_seconds, memory_mb=max_memory)
    options = Options(up_to=up_to, thorough=thorough, limits=limits, proof=proof, date=date, began=began)
    reviewing = Reviewing(loaded, loaded.machine, options)
    with Interruption():
        review = gather(reviewing.about(), reviewing.questions())
        from seqcheck.review.page import page_of

        write_whole(out, page_of(review))
    click.echo(said(review, out), err=True)
    raise SystemExit(code_of(review))


def today() -> str:
    """Return the date of a review: that of SOURCE_DATE_EPOCH where it is set, else today's. Raises `click.ClickException`."""
    fixed = os.environ.get("SOURCE_DATE_EPOCH", "")
    if not fixed:
        return datetime.now().astimezone().date().isoformat()
    try:
        return datetime.fromtimestamp(int(fixed), UTC).date().isoformat()
    except (ValueError, OverflowError, OSError):
        raise click.ClickException(f"SOURCE_DATE_EPOCH is {fixed}, which is no number of seconds since 1970") from None


def said(review: Review, out: str) -> str:
    """Return the line that says what was written."""
    verdicts = [result.verdict for case in review.verification.cases for result in case.results]
    parts = [f"{verdicts.count(verdict):,} {verdict.value}" for verdict in Verdict if verdict in verdicts]
    left = sum(1 for one in review.unanswered if one.asked)
    more = f"; {counted(left, 'question')} not wholly answered: the review says which" if left else ""
    return f"{review.file}: {', '.join(parts)}{more}" + ("" if out == "-" else f"; written to {out}")


def code_of(review: Review) -> int:
    """Return the exit code: what is violated comes before what is not answered."""
    codes = [VIOLATED] if review.verification.has(Verdict.VIOLATED) else []
    return exit_code([*codes, *(UNDECIDED for one in review.unanswered if one.asked)])
