"""The procedures of the committed sequences: each of a machine that is as it should be works, and no deviation is dangerous."""

import json
import subprocess
import sys
from functools import cache

import pytest

from seqcheck.compile.compile import compile_machine
from tests.outside.reading import machine_of
from tests.sequences.verifying import SEQUENCES

GOOD = sorted(path.stem for path in SEQUENCES.glob("*.yaml") if not path.stem.endswith("_draft"))
ALL = sorted(path.stem for path in SEQUENCES.glob("*.yaml"))


def text_of(name: str) -> str:
    return (SEQUENCES / f"{name}.yaml").read_text(encoding="utf-8")


WITH_PROCEDURES = [name for name in GOOD if machine_of(text_of(name)).procedures]


@cache
def answer(name: str) -> dict[str, list[dict[str, str]]]:
    """Ask for the procedures of a sequence, as a user does."""
    command = [sys.executable, "-m", "seqcheck", "procedures", str(SEQUENCES / f"{name}.yaml"), "--json", "-"]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=SEQUENCES.parent)
    assert done.returncode == 0, done.stderr
    told: dict[str, list[dict[str, str]]] = json.loads(done.stdout)
    return told


def test_the_demo_has_procedures() -> None:
    assert "separator" in WITH_PROCEDURES


@pytest.mark.parametrize("name", ALL)
def test_every_sequence_marks_its_emergency_stop(name: str) -> None:
    stop = compile_machine(machine_of(text_of(name))).emergency_stop
    assert stop is not None
    assert stop.name == "estop"


@pytest.mark.parametrize("name", WITH_PROCEDURES)
def test_every_procedure_works(name: str) -> None:
    procedures = answer(name)["procedures"]
    assert len(procedures) == len(machine_of(text_of(name)).procedures)
    assert {procedure["name"]: procedure["works"] for procedure in procedures if not procedure["works"]} == {}


@pytest.mark.parametrize("name", WITH_PROCEDURES)
def test_no_deviation_meets_a_hazard_or_stays_undecided(name: str) -> None:
    """The machine holds its hazards whatever people do, so no deviation can meet one."""
    classes = {result["class"] for result in answer(name)["results"] if result["kind"] == "deviation"}
    assert classes & {"hazard", "undecided", "fails", "stuck"} == set()
    assert classes >= {"refused", "ends_well", "no_effect", "stuck_with_a_way_out"}
