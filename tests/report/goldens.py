"""What `seqcheck verify` says of each file in `cases`, as people read it: the text that the golden files keep.

A line `# verify: …` of a case holds the options that it is verified with.
"""

import re
import shlex
from contextlib import chdir
from pathlib import Path

from click.testing import CliRunner, Result

from seqcheck.cli.main import group

CASES = Path(__file__).parent / "cases"
NAMES = tuple(sorted(path.stem for path in CASES.glob("*.yaml")))
ELAPSED = re.compile(r"(transitions? in )\d+\.\d\d s ")
HASH = re.compile(r"\bsha256 [0-9a-f]{12}\b")


def options(name: str) -> list[str]:
    """Return the options that a case is verified with."""
    marked = [line for line in written(name, "yaml").splitlines() if line.startswith("# verify:")]
    return shlex.split(marked[0].removeprefix("# verify:")) if marked else []


def written(name: str, ending: str) -> str:
    """Return the text of a case's file."""
    return (CASES / f"{name}.{ending}").read_text(encoding="utf-8")


def verify(name: str, *more: str) -> Result:
    """Verify a case as the command line does, from within its folder, so that no path of this machine is shown."""
    with chdir(CASES):
        return CliRunner().invoke(group, ["verify", f"{name}.yaml", *options(name), *more])


def printed_report(name: str) -> str:
    """Return all that is said of a case and its exit code, the time taken and the file's hash made the same everywhere."""
    result = verify(name)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    said = HASH.sub("sha256 ............", ELAPSED.sub(r"\1... s ", result.stdout))
    aside = f"--- standard error\n{result.stderr}" if result.stderr else ""
    return f"{said}{aside}--- exit code {result.exit_code}\n"
