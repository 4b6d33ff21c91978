"""`seqcheck procedures`: exit codes, what it refuses, JSON that can be played, and what Ctrl-C and limits leave."""

import json
import signal
import subprocess
import time
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from tests.cli.calling import call, command, put

GOOD = """\
machine: Lamp
panel: {stop: {states: [released, pressed], role: emergency_stop}}
outputs: {lamp: [dark, lit]}
parts: {fuse: [whole, blown]}
commands:
  light: {permissives: {the stop is released: stop = released}, then: {lamp: lit}}
  darken: {then: {lamp: dark}}
plant: {the fuse blows: {when: lamp = lit AND fuse = whole, after: 3 s, then: {fuse: blown}}}
procedures:
  signal: {steps: [light, {wait: 2 s}, darken], ends with: lamp = dark}
  again: {after: signal, steps: [light, darken]}
"""
BROKEN = GOOD.replace("wait: 2 s", "wait: 9 s").replace("ends with: lamp = dark", "ends with: fuse = whole")
DANGEROUS = GOOD + "hazards: {H1: {text: The fuse blows, must not be: fuse = blown}}\n"
NONE = GOOD.split("procedures:", maxsplit=1)[0]
SLOW = "machine: Slow\nparts: {" + ", ".join(f"c{n}: {{range: 0..9}}" for n in range(9)) + "}\nplant:\n" + "".join(
    f"  c{n} turns: {{when: c{n} >= 0, then: {{c{n}: (c{n} + 1) MOD 10}}}}\n" for n in range(9)
) + "procedures: {use: {steps: [{wait: 1 s}]}}\n"  # fmt: skip


def answered(text: str, folder: Path, *options: str) -> tuple[int | str | None, dict[str, Any]]:
    """Return the exit code and the JSON."""
    called = call("procedures", *put(folder, file=text), "--json", "-", *options)
    data: dict[str, Any] = json.loads(called.stdout)
    return called.exit_code, data


@pytest.mark.parametrize(("text", "code"), [(GOOD, 0), (BROKEN, 1), (DANGEROUS, 1), (NONE, 2), ("machine: x\nq: 1\n", 2)])
def test_exit_codes(text: str, code: int, tmp_path: Path) -> None:
    assert call("procedures", *put(tmp_path, file=text)).exit_code == code


def test_an_unknown_procedure_is_refused_with_near_names(tmp_path: Path) -> None:
    files = put(tmp_path, file=GOOD)
    called = call("procedures", *files, "--procedure", "signl")
    assert called.exit_code == 2
    assert "no procedure “signl”; did you mean “signal”?" in called.stderr
    assert "its procedures: “signal” or “again”" in call("procedures", *files, "--procedure", "xyz").stderr


@pytest.mark.parametrize(("row", "said"), [("x", "x is no row"), ("3.1", "there is no procedure 3"), ("1.999", "rows 1 to ")])
def test_a_row_that_is_not_there_is_refused(row: str, said: str, tmp_path: Path) -> None:
    called = call("procedures", *put(tmp_path, file=GOOD), "--run", row)
    assert called.exit_code == 2
    assert said in called.stderr


def test_a_file_without_procedures_says_where_to_write_them(tmp_path: Path) -> None:
    assert "write them down under `procedures`" in call("procedures", *put(tmp_path, file=NONE)).stderr


def test_one_procedure_alone(tmp_path: Path) -> None:
    _, data = answered(GOOD, tmp_path, "--procedure", "again")
    assert [procedure["name"] for procedure in data["procedures"]] == ["again"]
    assert {result["id"].split(".")[0] for result in data["results"] if result["kind"] == "deviation"} == {"2"}


def test_every_run_is_checked_if_asked(tmp_path: Path) -> None:
    assert call("procedures", *put(tmp_path, file=DANGEROUS), "--check-runs").exit_code == 1


def test_what_cannot_be_formed_is_said(tmp_path: Path) -> None:
    text = GOOD.replace(", role: emergency_stop", "").replace("steps: [light, darken]", "steps: [light]")
    said = " ".join(call("procedures", *put(tmp_path, file=text)).stdout.split())
    assert "No panel item is marked `role: emergency_stop`" in said
    assert "“again” has one step only, so none is swapped with the next." in said
    assert "“again” has no `ends with`" in said
    bare = "machine: Bare\nparts: {p: [a, b]}\npeople: {go: {if: p = a, then: {p: b}}}\nprocedures: {use: {steps: [go]}}\n"
    assert "no commands, so none is given instead" in " ".join(call("procedures", *put(tmp_path, file=bare)).stdout.split())


def test_the_form_of_the_json(tmp_path: Path) -> None:
    code, data = answered(DANGEROUS, tmp_path)
    assert code == 1
    text = {"type": "string"}
    number = {"type": ["integer", "null"]}
    deviation = {
        "required": ["id", "procedure", "row", "step", "deviation", "other", "after_refusal", "class", "text", "hazard",
                     "refused", "way_out", "steps", "seconds", "start", "run"],
        "properties": {
            "id": text,
            "row": {"type": "integer", "minimum": 1},
            "deviation": {"enum": ["left_out", "repeated", "swapped", "early", "instead", "stopped"]},
            "after_refusal": {"enum": ["goes_on", "stops"]},
            "steps": number,
            "run": {"type": "array", "items": {"required": ["step", "by", "wait_s"]}},
        },
    }  # fmt: skip
    schema = {
        "required": ["schema", "file", "machine", "file_sha256", "tick_s", "complete", "stopped_by", "situations", "states",
                     "procedures", "results"],
        "properties": {
            "schema": {"const": 1},
            "results": {"items": {"if": {"properties": {"kind": {"const": "deviation"}}}, "then": deviation}},
            "procedures": {"items": {"required": ["number", "name", "works", "steps", "ends_with", "after", "rows", "breaks"]}},
        },
    }  # fmt: skip
    jsonschema.validate(data, schema)
    for procedure in data["procedures"]:
        rows = {r["row"] for r in data["results"] if r["kind"] == "deviation" and r["procedure"] == procedure["name"]}
        assert rows == set(range(1, procedure["rows"] + 1))


def test_a_run_of_the_json_can_be_played(tmp_path: Path) -> None:
    files = put(tmp_path, file=DANGEROUS)
    written = tmp_path / "told.json"
    call("procedures", *files, "--json", str(written))
    results = json.loads(written.read_text(encoding="utf-8"))["results"]
    hazard = next(result for result in results if result.get("class") == "hazard")
    played = call("simulate", *files, "--play", str(written), "--result", hazard["id"])
    assert played.exit_code == 0
    assert "fuse = blown" in played.stdout


def test_verify_judges_procedures_too(tmp_path: Path) -> None:
    assert call("verify", *put(tmp_path, file=GOOD)).exit_code == 0
    called = call("verify", *put(tmp_path, file=BROKEN), "--json", "-")
    assert called.exit_code == 1
    verdicts = {r["id"]: (r["kind"], r["verdict"]) for r in json.loads(called.stdout)["results"] if r["kind"] == "procedure"}
    assert verdicts == {"procedure: signal": ("procedure", "violated"), "procedure: again": ("procedure", "holds")}


def test_with_faults_under_study_procedures_are_not_judged(tmp_path: Path) -> None:
    text = GOOD + "faults: {the fuse is bad: {then: {fuse: blown}}}\n"
    data = json.loads(call("verify", *put(tmp_path, file=text), "--faults", "1", "--json", "-").stdout)
    kinds = [{result["kind"] for result in case["results"]} for case in data["cases"]]
    assert ["procedure" in each for each in kinds] == [True, False]


def test_a_limit_is_exit_code_3(tmp_path: Path) -> None:
    called = call("procedures", *put(tmp_path, file=SLOW), "--max-states", "500")
    assert called.exit_code == 3
    assert "it ended early at the limit on states: what was not looked at is undecided" in called.stdout
    assert "UNDECIDED" in called.stdout


def test_verify_leaves_a_procedure_undecided_at_a_limit(tmp_path: Path) -> None:
    called = call("verify", *put(tmp_path, file=SLOW), "--engine", "symbolic", "--max-seconds", "1")
    assert called.exit_code == 3
    assert "undecided  procedure: use" in called.stdout


def test_ctrl_c_says_what_was_covered(tmp_path: Path) -> None:
    started = subprocess.Popen(
        command("procedures", *put(tmp_path, file=SLOW), "--max-states", "100000000"),
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    time.sleep(1.5)
    started.send_signal(signal.SIGINT)
    said, _ = started.communicate(timeout=30)
    assert started.returncode == 3
    assert "it ended early at an interruption from the keyboard: what was not looked at is undecided" in said
