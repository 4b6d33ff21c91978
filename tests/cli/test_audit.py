"""`seqcheck audit`: exit codes, options, and what is said where a question could not be answered."""

import json
import signal
import subprocess
import time
from pathlib import Path

import pytest

from tests.cli.calling import call, command, told

SEQUENCES = Path(__file__).parents[2] / "sequences"
DEMO = str(SEQUENCES / "separator.yaml")
SMALL = str(SEQUENCES / "lift_gate.yaml")
DRAFT = str(SEQUENCES / "lift_gate_draft.yaml")
QUESTIONS = {"purposes", "refusals", "mends", "margins"}

WIDE = """
machine: A wide counter
parts: {level: {range: 0..30}}
sensors: {full: level > 20}
outputs: {valve: [shut, open]}
memory: {count: {range: 0..20000}}
commands:
  fill: {permissives: {not full: NOT full}, then: {valve: open}}
  stop: {then: {valve: shut}}
trips:
  it is full: {when: full, then: {valve: shut}}
plant:
  it fills: {when: valve = open AND level < 30, then: {level: level + 1}}
hazards:
  H1: {must not be: level > 25}
"""

FAILING = """
machine: A counter that leaves its range
parts: {lamp: [dark, lit]}
sensors: {lit: lamp = lit}
memory: {count: {range: 0..3}}
commands:
  add:   {permissives: {there is room: count < 3}, then: {count: count + 1}}
  share: {permissives: {there is some: count > 0, it fits: 6 / count < 4}, then: {count: 6 / count}}
hazards:
  H1: {must not be: lamp = lit}
"""

NO_VALUE = """
machine: A requirement on order that has no value somewhere
parts: {door: [shut, open]}
outputs: {gear: {range: 0..1}}
sensors: {open: door = open}
commands:
  engage: {permissives: {the door is open: open}, then: {gear: 1}}
requirements:
  R1: {before: gear = 1, first: 2 / (gear - 1) < 0}
  R2: {when: gear = 1, within: 1 s, then: 2 / (gear - 1) < 0}
"""


def written(folder: Path, text: str) -> str:
    path = folder / "machine.yaml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_a_requirement_without_a_value_is_told_and_its_run_replayed(tmp_path: Path) -> None:
    result = call("audit", written(tmp_path, NO_VALUE), "--runs")
    assert result.exit_code == 0, result.stderr
    for id_ in ("R1", "R2"):
        assert f"Without “the door is open” of “engage”: a step fails in 1 step: a condition of {id_} has" in result.stdout
    already = call("audit", written(tmp_path, NO_VALUE.replace("[shut, open]", "[open, shut]")))
    assert already.exit_code == 0, already.stderr
    assert "left aside: range: R1, range: R2." in already.stdout


def test_everything_is_answered() -> None:
    result = call("audit", SMALL)
    assert result.exit_code == 0
    for title in ("What each permissive and trip is for", "Refused without need", "Margins", "Assumptions"):
        assert f"\n{title}" in result.stdout
    assert "not wholly answered" not in result.stdout
    assert "What would keep a hazard away" not in result.stdout


def test_a_draft_is_told_what_would_keep_its_hazards_away() -> None:
    result = call("audit", DRAFT)
    assert result.exit_code == 0
    assert "“unlock the ground gate” asks in addition: car_at_ground" in result.stdout


def test_the_same_as_data(tmp_path: Path) -> None:
    path = tmp_path / "audit.json"
    result = call("audit", DRAFT, "--json", str(path))
    data = json.loads(path.read_text(encoding="utf-8"))
    assert result.exit_code == 0
    assert (data["schema"], data["complete"], data["missing"], data["stopped_by"]) == (1, True, {}, None)
    assert told(call("audit", DRAFT, "--json", "-").stdout) == data
    (offer,) = next(one for one in data["mends"] if one["id"] == "H1")["offers"]
    assert (offer["command"], offer["condition"]) == ("unlock the ground gate", "car_at_ground")
    for part in data["parts"]:
        for need in part["needed_for"]:
            assert need["steps"] == max((step["step"] or 0 for step in need["run"] or ()), default=None) or need["run"] is None


def test_runs_are_told_in_words() -> None:
    plain, told_too = call("audit", SMALL).stdout, call("audit", SMALL, "--runs").stdout
    assert "At the start:" not in plain
    assert told_too.count("  At the start: ") >= plain.count("without it")


def test_people_take_part_if_asked() -> None:
    assert "its condition" not in call("audit", SMALL).stdout
    assert "its condition" in call("audit", SMALL, "--people").stdout


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("nowhere.yaml",), "the file cannot be read"),
        ((SMALL, "--json", SMALL), "would be written over"),
        ((SMALL, "--max-seconds", "-1"), "--max-seconds"),
        ((SMALL, SMALL), "unexpected extra argument"),
    ],
)
def test_bad_input_is_refused(arguments: tuple[str, ...], said: str) -> None:
    result = call("audit", *arguments)
    assert result.exit_code == 2
    assert said in result.stderr
    assert "Traceback" not in result.stderr


def test_without_time_nothing_is_claimed() -> None:
    result = call("audit", DEMO, "--max-seconds", "0")
    assert result.exit_code == 3
    assert "without it" not in result.stdout
    assert "not needed" not in result.stdout
    assert "never refused" not in result.stdout
    assert "no verdict turns" not in result.stdout
    assert result.stdout.count("not wholly answered") == len(QUESTIONS)


def test_without_memory_nothing_is_claimed() -> None:
    result = call("audit", DEMO, "--max-memory", "1")
    assert result.exit_code == 3
    assert "not needed" not in result.stdout
    assert "Traceback" not in result.stderr


def test_what_is_missing_is_said_in_data_too() -> None:
    data = told(call("audit", DEMO, "--max-seconds", "0", "--json", "-").stdout)
    assert (data["complete"], data["stopped_by"]) == (False, "seconds")
    assert set(data["missing"]) == QUESTIONS  # type: ignore[arg-type]
    assert data["refusals"] is None
    assert data["margins"] is None


def test_a_machine_that_no_diagram_holds_is_audited_part_by_part(tmp_path: Path) -> None:
    result = call("audit", written(tmp_path, WIDE))
    assert result.exit_code == 3
    assert "“it is full”: without it H1 is violated in" in result.stdout
    assert result.stdout.count("count has 20,001 values") == 2


def test_a_part_that_keeps_a_step_from_failing_is_needed_for_that(tmp_path: Path) -> None:
    result = call("audit", written(tmp_path, FAILING))
    assert result.exit_code == 0
    assert "“there is room”: without it a step fails in 4 steps: “add”: count would become 4" in result.stdout
    assert "“there is some”: nothing: not needed" in result.stdout
    assert "Violated as it is, and so left aside: range: share." in result.stdout


def test_an_interruption_leaves_what_was_answered_and_says_what_was_not() -> None:
    draft = str(SEQUENCES / "separator_draft.yaml")
    process = subprocess.Popen(
        command("audit", draft, "--json", "-"), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    time.sleep(1.5)
    process.send_signal(signal.SIGINT)
    said, aside = process.communicate(timeout=30)
    assert process.returncode == 3, aside
    assert "Traceback" not in aside
    data = json.loads(said)
    assert data["stopped_by"] == "interrupted"
    assert data["missing"]
