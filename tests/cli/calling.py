"""Small sequence files, and the command line called in this process or in one of its own."""

import io
import json
import subprocess
import sys
from collections.abc import Mapping
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

from seqcheck.cli.main import code_of
from seqcheck.report.json_form import Json

HOLDS = "machine: Fine\nparts: {p: [a, b]}\npeople: {go: {if: p = a, then: {p: b}}, back: {if: p = b, then: {p: a}}}\n"
VIOLATED = HOLDS.replace("Fine", "Bad") + "hazards: {H1: {text: It is b, must not be: p = b}}\n"
REFUSED = "machine: Refused\nparts: {p: [a, b]}\nhazards: {H1: {must not be: q = b}}\n"
FAULTY = (
    HOLDS.replace("Fine", "Faulty").replace("[a, b]", "[a, b, c, d]")
    + "faults: {breaks: {then: {p: c}}, wears: {if: p = b, then: {p: d}}}\n"
    + "hazards: {H1: {text: It is c, must not be: p = c}}\n"
)


def counters(many: int, up_to: int) -> str:
    """Return a machine of (*up_to* + 1) ** *many* states in which every counter goes round by itself."""
    names = [f"c{number}" for number in range(many)]
    parts = "\n".join(f"  {name}: {{range: 0..{up_to}}}" for name in names)
    plant = "\n".join(
        f"  {name} turns: {{when: {name} >= 0, then: {{{name}: ({name} + 1) MOD {up_to + 1}}}}}" for name in names
    )
    last = " AND ".join(f"{name} = {up_to}" for name in names)
    asked = f"hazards:\n  near: {{must not be: c0 = 1}}\n  far: {{must not be: {last}}}"
    return f"machine: Counters\nparts:\n{parts}\nplant:\n{plant}\n{asked}\n"


def mixer(many: int, values: int) -> str:
    """Return a machine of some *values* ** *many* states in which numbers mix so that no engine comes to the end."""
    lines = ["machine: Mixer", "parts:", *(f"  m{i}: {{range: 0..{values - 1}}}" for i in range(many)), "people:"]
    for i in range(many):
        j, k = (i + 1) % many, (i + 2) % many
        mixed = f"(m{i} * 3 + m{j} * m{k} + 7) MOD {values}"
        lines += [f"  mix {i}: {{if: m{k} MOD 3 <> 1, then: {{m{i}: {mixed}}}}}"]
        lines += [f"  swap {i}: {{if: m{i} > m{j}, then: {{m{i}: m{j}, m{j}: m{i}}}}}"]
    far = " AND ".join(f"m{i} = {values - 1}" for i in range(many))
    return "\n".join([*lines, "hazards:", f"  near: {{must not be: m0 = 7}}\n  far: {{must not be: {far}}}\n"])


def put(folder: Path, **texts: str) -> list[str]:
    """Write files named after the keywords; return their paths."""
    for name, text in texts.items():
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8")
    return [str(folder / f"{name}.yaml") for name in texts]


@dataclass(frozen=True, slots=True, kw_only=True)
class Called:
    """What one call gave."""

    exit_code: int | str | None
    stdout: str
    stderr: str


def call(*arguments: str) -> Called:
    """Call all of the entry function but its end in this process."""
    said, aside = io.StringIO(), io.StringIO()
    code: int | str | None = 0
    with redirect_stdout(said), redirect_stderr(aside):
        try:
            code = code_of(list(arguments))
        except SystemExit as ended:
            code = ended.code
    return Called(exit_code=code, stdout=said.getvalue(), stderr=aside.getvalue())


def told(text: str) -> dict[str, Json]:
    """Read one JSON object."""
    data = json.loads(text)
    assert isinstance(data, dict)
    return data


def listed(data: Mapping[str, Json], key: str) -> list[dict[str, Json]]:
    """Return the list of objects under a key."""
    rows = data[key]
    assert isinstance(rows, list)
    return rows


def command(*arguments: str) -> list[str]:
    """Return the command line of a process of its own."""
    return [sys.executable, "-m", "seqcheck", *arguments]


def process(*arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the tool in a process of its own."""
    return subprocess.run(
        command(*arguments), capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL, timeout=60
    )
