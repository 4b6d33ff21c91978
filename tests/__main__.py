"""Runs all tests, in as many processes as there are processors: `python -m tests`. Arguments are passed on to pytest.

Each process runs pytest on one folder after the other, the longest first. `python -m pytest` runs the same in one process.
"""

import os
import re
import subprocess
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path

TESTS = Path(__file__).parent
LONGEST_FIRST = (
    "search/packed", "search/planner", "sequences", "cli", "outside", "proof", "analyse", "search", "review", "draw", "simulate"
)  # fmt: skip
"""Folders that take long; those within one of them are run by themselves. All others follow."""

NO_TESTS = 5
"""pytest's exit code where there are none."""


@dataclass(frozen=True)
class Ended:
    """What came of one folder."""

    folder: str
    code: int
    printed: str
    seconds: float

    def count(self, word: str) -> int:
        """Return how many tests pytest's last line says have *passed*, *failed* and so on."""
        lines = self.printed.strip().splitlines() or [""]
        return sum(int(found) for found in re.findall(rf"(\d+) {word}", lines[-1]))


def folders() -> list[str]:
    """Return the folders to run, each test file being in one of them or in a folder within."""
    others = sorted({path.relative_to(TESTS).parts[0] for path in TESTS.rglob("test_*.py")})
    return [*LONGEST_FIRST, *(one for one in others if one not in LONGEST_FIRST)]


def run(folder: str, arguments: Sequence[str]) -> Ended:
    """Run the tests of one folder, without those within it that are run by themselves."""
    within = [one for one in LONGEST_FIRST if one.startswith(f"{folder}/")]
    apart = [f"--ignore={TESTS / one}" for one in within]
    command = [sys.executable, "-m", "pytest", "--no-header", "-rs", *apart, *arguments, str(TESTS / folder)]
    began = time.monotonic()
    done = subprocess.run(
        command,
        cwd=TESTS.parent,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
        start_new_session=True,
    )
    return Ended(folder, done.returncode, done.stdout, time.monotonic() - began)


def say(text: str) -> None:
    """Print at once."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def main(arguments: Sequence[str]) -> int:
    """Run everything; return the exit code."""
    ended: list[Ended] = []
    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        for future in as_completed([pool.submit(run, folder, arguments) for folder in folders()]):
            one = future.result()
            ended.append(one)
            say(f"=== tests/{one.folder}: {one.seconds:.0f} s\n{one.printed}")
    passed, skipped = (sum(one.count(word) for one in ended) for word in ("passed", "skipped"))
    failed = sum(one.count("failed") + one.count("errors?") for one in ended)
    wrong = [one.folder for one in ended if one.code not in {0, NO_TESTS}]
    say(f"not well: {', '.join(wrong)}" if wrong else "all well")
    say(f"{passed} passed, {failed} failed, {skipped} skipped")
    return 1 if wrong or not passed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
