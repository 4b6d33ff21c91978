"""The JSON form: every key that programs rely on, with its type; integers that every reader keeps; exact times."""

import json
from fractions import Fraction

import pytest
from msgspec.structs import replace

from seqcheck.model.run import Beyond, By, Endless, StepKind
from seqcheck.report.json_form import (
    LARGEST_EXACT,
    Json,
    by_data,
    failure_data,
    integer,
    run_data,
    text_of,
    value,
    verification_data,
)
from seqcheck.report.searched import Searched
from tests.analyse.asking import judged
from tests.cli.calling import listed as rows

RESULT = {
    "id": str,
    "kind": str,
    "text": str,
    "verdict": str,
    "faults": list,
    "steps": int,
    "seconds": float,
    "start": dict,
    "run": list,
    "end": dict,
}
TOP = {
    "schema": int,
    "machine": str,
    "revision": str,
    "file_sha256": str,
    "tick_s": float,
    "engine": str,
    "engine_reason": str,
    "bytes_per_state": float,
    "exact_counts": bool,
    "seconds_before": float,
    "states": int,
    "transitions": int,
    "complete": bool,
    "seconds": float,
    "results": list,
    "findings": list,
    "assumptions": list,
}
STEP = {"step": int, "by": dict, "wait_s": float, "changes": dict, "settled": list}

TEXT = """
machine: Press
revision: "C"
tick: 500 ms
parts: {ram: [top, moving, bottom], made: {range: 0..1}}
panel: {estop: [released, pressed], light: bool}
sensors: {at_top: ram = top}
outputs: {drive: [off, down]}
timers: {held: {kind: TON, in: drive = down, pt: 1 s}}
commands: {start: {permissives: {ram is up: at_top}, then: {drive: down}}}
trips: {emergency stop: {when: estop = pressed, then: {drive: off}}}
plant:
  starts: {when: drive = down AND ram = top, after: at once, then: {ram: moving}}
  lands: {when: ram = moving AND held.Q, after: 1 s, then: {ram: bottom, made: 1}}
faults: {sticks: {output: drive, stuck: down}}
hazards: {H1: {text: Part made, must not be: made = 1 AND estop = pressed AND light}}
requirements: {R1: {reachable: ram = bottom AND made = 0}}
"""


SEARCHED = Searched(engine="packed", bytes_per_state=12.5, exact_counts=False, spent_before_s=1.25)


def told(*faults: tuple[str, ...]) -> dict[str, Json]:
    searches = {case: replace(SEARCHED, reason=" and ".join(case)) for case in ((), *faults)}
    return verification_data(judged(TEXT, *faults), searches, file="press.yaml", sha256="ab" * 32)


def assert_typed(data: dict[str, Json], types: dict[str, type], *, optional: tuple[str, ...] = ()) -> None:
    for key, kind in types.items():
        assert key in data
        if not (key in optional and data[key] is None):
            assert type(data[key]) is kind, (key, data[key])


def test_the_top_level_has_every_key_with_its_type() -> None:
    data = told()
    assert_typed(data, TOP)
    assert "cases" not in data
    assert (data["machine"], data["revision"], data["tick_s"]) == ("Press", "C", 0.5)


def test_every_case_says_how_it_was_searched() -> None:
    data = told(("sticks",))
    for case, reason in zip(rows(data, "cases"), ("", "sticks"), strict=True):
        assert (case["engine"], case["engine_reason"], case["bytes_per_state"]) == ("packed", reason, 12.5)
        assert (case["exact_counts"], case["seconds_before"]) == (False, 1.25)


def test_every_result_has_every_key_with_its_type() -> None:
    results = rows(told(), "results")
    assert [result["id"] for result in results] == ["H1", "R1", "range", "settling"]
    for result in results:
        assert_typed(result, RESULT, optional=("steps", "seconds"))


def test_a_run_numbers_its_steps_and_no_wait() -> None:
    run = rows(rows(told(), "results")[0], "run")
    for step in run:
        assert_typed(step, STEP, optional=("step", "wait_s"))
        assert (step["step"] is None) is (step["by"]["kind"] == "wait")  # type: ignore[index,call-overload]
        assert (step["wait_s"] is None) is (step["step"] is not None)
    assert [step["step"] for step in run if step["step"] is not None] == [1, 2, 3, 4]
    assert rows(told(), "results")[0]["steps"] == 4
    assert sum(step["wait_s"] or 0 for step in run) == rows(told(), "results")[0]["seconds"] == 2.0  # type: ignore[misc]


def test_a_run_tells_who_acted_what_changed_and_what_settled() -> None:
    start = rows(rows(told(), "results")[0], "run")[0]
    assert start["by"] == {"kind": "command", "name": "start"}
    assert start["changes"] == {"ram": "moving", "drive": "down", "at_top": False}
    assert start["settled"] == ["starts"]
    panel = [step["by"] for step in rows(rows(told(), "results")[0], "run") if step["by"]["kind"] == "panel"]  # type: ignore[index,call-overload]
    assert panel == [{"kind": "panel", "name": "light", "to": True}, {"kind": "panel", "name": "estop", "to": "pressed"}]


def test_start_and_end_are_whole_states() -> None:
    result = rows(told(), "results")[0]
    names = ["ram", "made", "estop", "light", "drive"]
    assert list(result["start"]) == names  # type: ignore[arg-type]
    assert list(result["end"]) == [*names, "at_top", "held.Q", "held.ET"]  # type: ignore[arg-type]


def test_the_first_case_has_no_faults_and_is_the_top_level() -> None:
    data = told(("sticks",))
    cases = rows(data, "cases")
    assert [case["faults"] for case in cases] == [[], ["sticks"]]
    for key in ("states", "transitions", "results", "findings", "complete", "seconds"):
        assert cases[0][key] == data[key]
    assert all(result["faults"] == ["sticks"] for result in rows(cases[1], "results"))
    assert cases[1]["states"] != cases[0]["states"]


@pytest.mark.parametrize(
    ("number", "shown"),
    [
        (0, 0),
        (LARGEST_EXACT, 9007199254740992),
        (LARGEST_EXACT + 1, "9007199254740993"),
        (-LARGEST_EXACT, -9007199254740992),
        (-LARGEST_EXACT - 1, "-9007199254740993"),
    ],
)
def test_integers_that_doubles_would_round_are_strings(number: int, shown: Json) -> None:
    assert integer(number) == shown
    assert type(integer(number)) is type(shown)


def test_truths_stay_truths_and_states_stay_names() -> None:
    assert [value(each) for each in (True, False, 1, 0, "on", LARGEST_EXACT + 1)] == [
        True,
        False,
        1,
        0,
        "on",
        "9007199254740993",
    ]
    assert type(value(True)) is bool
    assert type(value(1)) is int


@pytest.mark.parametrize(("after", "seconds"), [("300 ms", 0.3), ("700 ms", 0.7), ("1100 ms", 1.1)])
def test_times_are_the_nearest_double(after: str, seconds: float) -> None:
    """Three ticks of a tenth of a second are 0.3 s, not 0.30000000000000004 s."""
    text = f"machine: M\ntick: 100 ms\nparts: {{a: [x, y]}}\nplant: {{go: {{when: a = x, after: {after}, then: {{a: y}}}}}}\n"
    data = verification_data(judged(text + "hazards: {H1: {must not be: a = y}}\n"), {(): SEARCHED}, file="m.yaml", sha256="")
    found = rows(data, "results")[0]
    assert found["seconds"] == seconds
    assert rows(found, "run")[0]["wait_s"] == seconds


def test_where_there_is_no_run_the_keys_are_there() -> None:
    empty: dict[str, Json] = {"steps": None, "seconds": None, "start": {}, "run": [], "end": {}, "failure": None}
    assert run_data(None, Fraction(1)) == empty


def test_failures() -> None:
    assert failure_data(None) is None
    assert failure_data(Endless(names=("a", "b"))) == {"kind": "settling", "names": ["a", "b"]}
    beyond = Beyond(rule="r", variable="v", problem="v would become 4")
    assert failure_data(beyond) == {"kind": "range", "rule": "r", "variable": "v", "problem": "v would become 4"}


def test_a_panel_item_set_to_a_truth_or_a_number_says_so() -> None:
    assert by_data(By(kind=StepKind.PANEL, name="p", to=False)) == {"kind": "panel", "name": "p", "to": False}
    assert by_data(By(kind=StepKind.PANEL, name="p", to=0)) == {"kind": "panel", "name": "p", "to": 0}
    assert by_data(By(kind=StepKind.WAIT)) == {"kind": "wait", "name": ""}


def test_the_text_is_json_that_keeps_other_scripts_and_ends_its_line() -> None:
    text = text_of({"text": "Überdruck “hoch”"})
    assert "Überdruck" in text
    assert text.endswith("}\n")
    assert json.loads(text) == {"text": "Überdruck “hoch”"}


def test_what_json_cannot_say_is_refused() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        text_of({"seconds": float("nan")})
