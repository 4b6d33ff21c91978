"""What is said of the faults of a press, word for word. To renew: `python -m tests.report.test_faults_text`."""

import json
from pathlib import Path

import pytest

from seqcheck.analyse.faults.category import Behaviour
from seqcheck.analyse.faults.desk import Desk
from seqcheck.analyse.faults.study import Study, Wanted, study
from seqcheck.check.deriving import sticks_every_signal
from seqcheck.report.faults_json import study_data
from seqcheck.report.faults_text import study_text
from seqcheck.report.json_form import text_of
from seqcheck.report.narrate import Vocabulary
from seqcheck.search.engine import Limits
from tests.analyse.faults.press import OWN, SOME_DERIVED
from tests.analyse.faults.studying import desk_of, machines_of
from tests.outside.reading import machine_of

HERE = Path(__file__).parent / "fault_studies"
CASES = {"own": (OWN, 1), "own_none_at_a_time": (OWN, 0), "some_derived": (SOME_DERIVED, 2)}


def studied(text: str, up_to: int, desk: Desk | None = None, *, notice: bool = True) -> Study:
    machine = machine_of(text)
    wanted = Wanted(
        up_to=up_to,
        has_signals=sticks_every_signal(machine),
        tell=lambda _: None,
        notice=(lambda _: None) if notice else None,
    )
    with desk or desk_of(engine="plain") as at:
        return study(machines_of(machine), at, wanted)


def written(name: str) -> tuple[str, str]:
    text, up_to = CASES[name]
    told = studied(text, up_to)
    words = Vocabulary.of(machines_of(machine_of(text)).everything)
    lines = study_text(told, words, file=f"{name}.yaml", sha256="0" * 64, runs=True)
    return "\n".join(lines) + "\n", text_of(study_data(told, file=f"{name}.yaml", sha256="0" * 64))


@pytest.mark.parametrize("name", CASES)
def test_a_study_is_told_as_the_golden_file_has_it(name: str) -> None:
    text, data = written(name)
    assert text == (HERE / f"{name}.txt").read_text(encoding="utf-8")
    assert data == (HERE / f"{name}.json").read_text(encoding="utf-8")


def test_no_line_is_too_long_to_be_read() -> None:
    for name in CASES:
        text, _ = written(name)
        assert [line for line in text.splitlines() if len(line) > 115] == []


def test_long_ids_stand_above_the_table_with_the_numbers_of_their_columns() -> None:
    text = OWN.replace("  H1:", "  gate open while the ram moves:")
    words = Vocabulary.of(machines_of(machine_of(text)).everything)
    lines = list(study_text(studied(text, 1), words, file="f", sha256="0", runs=False))
    first = lines.index("What reaches what")
    assert lines[first + 1 : first + 3] == ["  (1) gate open while the ram moves", "  (2) R1"]
    assert lines[first + 6].split() == ["(1)", "(2)", "(3)", "(4)", "(5)"]


def data_of(text: str, up_to: int, desk: Desk | None = None) -> dict:  # type: ignore[type-arg]
    data = json.loads(text_of(study_data(studied(text, up_to, desk), file="f", sha256="0")))
    assert isinstance(data, dict)
    return data


def test_an_empty_set_means_that_no_fault_is_needed_and_no_set_that_none_reaches_it() -> None:
    results = {row["id"]: row for row in data_of(OWN, 1)["results"]}
    assert results["R2"]["minimal_fault_sets"] == [[]]
    assert results["H1"]["minimal_fault_sets"] == [["gate switch stuck shut"], ["drive fails to stop"]]
    assert results["R5"]["minimal_fault_sets"] == []
    for row in results.values():
        assert [run["faults"] for run in row["runs"]] == row["minimal_fault_sets"]
    assert [run["steps"] for run in results["H1"]["runs"]] == [5, 3]


def test_what_came_to_a_limit_is_not_complete() -> None:
    data = data_of(OWN, 1, desk_of(engine="plain", limits=Limits(states=10)))
    assert data["complete"] is False
    results = {row["id"]: row for row in data["results"]}
    reasons = {one["reason"] for one in results["R5"]["undecided_fault_sets"]}
    assert reasons == {"the search ended at the limit on states"}
    assert results["H1"]["category"]["behaviour"] == "not known"


SAFE = """
machine: Guard
parts: {gate: [shut, open], shaft: [still, turning]}
sensors: {gate_shut: gate = shut, gate_shut_too: gate = shut, disagree: gate_shut <> gate_shut_too}
outputs: {motor: [off, on]}
memory: {wrong: [no, yes]}
commands:
  start: {permissives: {shut: gate_shut AND gate_shut_too, no fault seen: wrong = no}, then: {motor: on}}
trips:
  opened: {when: NOT (gate_shut AND gate_shut_too), then: {motor: off}}
  seen:   {when: disagree, then: {wrong: yes}}
plant:
  turns: {when: motor = on AND shaft = still, after: at once, then: {shaft: turning}}
  stops: {when: motor = off AND shaft = turning, after: at once, then: {shaft: still}}
people:
  open the gate: {if: gate = shut, then: {gate: open}}
  shut the gate: {if: gate = open, then: {gate: shut}}
faults:
  one stuck:     {sensor: gate_shut, stuck: TRUE}
  another stuck: {sensor: gate_shut_too, stuck: TRUE}
  FAULTS
hazards:
  H1: {must not be: gate = open AND shaft = turning, risk: {severity: S2, exposure: F1, avoidance: P1}}
"""
WELDED = "welded: {output: motor, stuck: on}"


@pytest.mark.parametrize(
    ("faults", "up_to", "behaviour", "left"),
    [
        ("", 1, Behaviour.THREE, 2),  # pairs and other signals were not looked at
        ("", 2, Behaviour.THREE, 1),
        (WELDED, 2, Behaviour.B_OR_1, 0),
        ("", 0, Behaviour.UNKNOWN, 1),
    ],
)
def test_the_category_behaviour_of_a_guard(faults: str, up_to: int, behaviour: Behaviour, left: int) -> None:
    told = studied(SAFE.replace("FAULTS", faults), up_to)
    (one,) = told.indications
    assert (one.behaviour, one.required_level) == (behaviour, "c")
    assert len(one.not_looked_at) == left


WATCHED = """
machine: Guard on parts alone
parts: {gate: [shut, open], shaft: [still, turning]}
sensors: {gate_shut: gate = shut, gate_open: gate = open}
memory: {wrong: [no, yes]}
outputs: {lamp: [dark, lit]}
trips:
  seen: {when: gate_shut = gate_open, then: {wrong: yes}}
commands:
  light: {permissives: {nothing is wrong: wrong = no}, then: {lamp: lit}}
people:
  open the gate: {if: gate = shut AND shaft = still, then: {gate: open}}
faults: {derive: [sensors, outputs]}
hazards:
  H1: {must not be: gate = open AND shaft = turning, risk: {severity: S1, exposure: F1, avoidance: P1}}
"""


def test_what_no_pair_of_faults_reaches_shows_category_4_if_all_signals_were_looked_at() -> None:
    (two,), (one,) = studied(WATCHED, 2).indications, studied(WATCHED, 1).indications
    assert (two.behaviour, two.not_looked_at, two.required_level) == (Behaviour.FOUR, (), "a")
    assert (one.behaviour, one.not_looked_at) == (Behaviour.THREE, ("pairs of faults (--up-to 2)",))


def test_notice_is_asked_only_if_it_is_wanted() -> None:
    assert studied(OWN, 0, notice=False).noticed == ()


if __name__ == "__main__":
    for case in CASES:
        for content, ending in zip(written(case), ("txt", "json"), strict=True):
            (HERE / f"{case}.{ending}").write_text(content, encoding="utf-8")
