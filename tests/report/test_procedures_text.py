"""What `seqcheck procedures` says of a small machine, as people read it: the golden text, its width, its words.

To rewrite it after a change of wording: `python -m tests.report.test_procedures_text`; read the difference aloud.
"""

import json
import re
from contextlib import chdir
from pathlib import Path

from click.testing import CliRunner

from seqcheck.cli.main import group
from seqcheck.report.procedures_text import WIDTH

CASES = Path(__file__).parent / "procedures"
GOLDEN = CASES / "washer.out"
ELAPSED = re.compile(r"looked at in \d+\.\d\d s")
HASH = re.compile(r"\bsha256 [0-9a-f]{12}\b")


def printed(*options: str) -> str:
    """Return all that is said of the washer and the exit code, time and hash made the same everywhere."""
    with chdir(CASES):
        result = CliRunner().invoke(group, ["procedures", "washer.yaml", *options])
    said = HASH.sub("sha256 ............", ELAPSED.sub("looked at in ... s", result.stdout))
    return f"{said}--- exit code {result.exit_code}\n"


def test_the_report_is_the_golden_one() -> None:
    assert printed() == GOLDEN.read_text(encoding="utf-8")


def test_the_golden_report_shows_every_class() -> None:
    with chdir(CASES):
        told = json.loads(CliRunner().invoke(group, ["procedures", "washer.yaml", "--json", "-"]).stdout)
    classes = {result["class"] for result in told["results"] if result["kind"] == "deviation"}
    assert classes == {
        "hazard",
        "fails",
        "stuck_for_good",
        "stuck_with_a_way_out",
        "refused",
        "ends_well",
        "no_effect",
        "never_comes_about",
    }


def test_the_table_fits_a_terminal_of_100_columns() -> None:
    table = [line for line in printed().splitlines() if re.match(r" {2,}", line)]
    assert [line for line in table if len(line) > WIDTH and not line.startswith(("    ", "  At"))] == []


def test_every_row_has_a_line_of_its_own_if_asked() -> None:
    numbers = [int(number) for number in re.findall(r"^  ([ \d]{4}\d) ", printed("--every-row"), re.MULTILINE)]
    assert numbers[:10] == list(range(1, 21, 2))


def test_a_row_is_told_with_its_runs() -> None:
    told = printed("--run", "1.1")
    assert "row 1.1: left out; goes on after a refusal" in told
    assert "At the start: " in told


if __name__ == "__main__":
    GOLDEN.write_text(printed(), encoding="utf-8")
