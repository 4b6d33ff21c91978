"""What sheets say of small machines: reasons, timing, trips in the wake of others, ways back, cautions."""

import pytest

from seqcheck.analyse.testing import second_look
from seqcheck.analyse.testing.records import Energy, Kind, Row, Sheets, Timing
from seqcheck.search.engine import Limits, Stop
from tests.analyse.testing.making import made, model_of

CHAIN = """
machine: One trip in the wake of another
tick: 1 s
parts:
  door: [shut, open]
sensors:
  door_shut: door = shut
outputs:
  fan: [on, off]
memory:
  alarm: [no, yes]
trips:
  alarm: {when: NOT door_shut, then: {alarm: yes}}
  fan off: {when: alarm = yes, then: {fan: off}}
people:
  open it: {if: door = shut, then: {door: open}}
  shut it: {if: door = open, then: {door: shut}}
"""

OVEN = """
machine: An oven
tick: 1 s
parts:
  oven: [cold, warm]
  door: [shut, open]
panel:
  key: [out, in]
sensors:
  warm_now: oven = warm
  door_shut: door = shut
outputs:
  heat: [off, on]
  horn: [off, on]
timers:
  heated: {kind: TON, in: warm_now, pt: 10 s}
commands:
  warm it: {permissives: {the door is shut: door_shut, the door is not open: NOT (door = open)}, then: {heat: on}}
  sound: {permissives: {heated long: heated.Q}, then: {horn: on}}
  hush: {permissives: {always: horn = on OR horn = off}, then: {horn: off}}
trips:
  too long: {when: heated.Q AND heat = on, then: {heat: off}}
plant:
  it warms: {when: heat = on AND oven = cold, after: 2..4 s, then: {oven: warm}}
  it cools: {when: heat = off AND oven = warm, after: 30 s or more, then: {oven: cold}}
people:
  open it: {if: door = shut AND heat = off, then: {door: open}}
  shut it: {if: door = open, then: {door: shut}}
requirements:
  R1: {text: Off in time, when: heated.Q, within: 3 s, then: heat = off}
""".replace("NOT (door = open)", "NOT NOT door_shut")


def reasons(sheets: Sheets) -> dict[str, str]:
    """Return why things are shown by no test."""
    return {cover.text: cover.reason for cover in sheets.covers if not cover.row}


def row_of(sheets: Sheets, text: str) -> Row:
    """Return the row that shows something."""
    (id_,) = [cover.row for cover in sheets.covers if cover.text == text]
    return next(row for row in sheets.rows() if row.id == id_)


def test_why_something_cannot_be_shown() -> None:
    told = reasons(made(model_of(OVEN)))
    assert told["“warm it” is refused: not so: “the door is shut”"] == (
        "not testable alone: whenever it fails, “the door is not open” fails too"
    )
    assert told["“hush” is refused: not so: “always”"] == "not testable alone: it never fails in this model"
    assert len(told) == 3


def test_waits_say_what_is_seen_and_how_long_it_takes() -> None:
    sheets = made(model_of(OVEN))
    (row,) = {row.action: row for row in sheets.rows() if row.action == "Wait until oven is warm."}.values()
    assert (row.least_ticks, row.most_ticks) == (2, 4)
    assert row.limit == "takes 2 s to 4 s; allow at most 4 s"


def test_a_trip_by_a_timer_has_the_time_of_the_requirement_that_names_it() -> None:
    row = row_of(made(model_of(OVEN)), "the trip “too long” acts on heat")
    assert row.kind is Kind.TRIP
    assert row.action == "Wait until heat is off and the timer “heated” has run out (10 s)."
    assert "takes 10 s; allow at most 10 s" in row.limit
    assert row.deadlines == ("R1",)
    assert row.limit.endswith("“heat = off” within 3 s (R1)")


def test_a_trip_without_such_a_requirement_has_a_blank_to_record() -> None:
    row = row_of(made(model_of(OVEN.split("requirements:", maxsplit=1)[0])), "the trip “too long” acts on heat")
    assert row.limit.endswith("no limit in the file; record: ______ s")


def test_a_machine_that_may_never_move_is_said_to() -> None:
    text = OVEN.replace("after: 2..4 s", "after: 2 s or more")
    rows = [row for row in made(model_of(text)).rows() if row.action == "Wait until oven is warm."]
    assert rows
    assert {(row.timing, row.most_ticks) for row in rows} == {(Timing.OPEN, None)}


def test_a_window_is_told() -> None:
    """The horn is refused as long as it has not been warm for ten seconds."""
    row = row_of(made(model_of(OVEN)), "“sound” is refused: not so: “heated long”")
    assert row.timing is Timing.ANY


@pytest.mark.parametrize("most", [25_000, 0])
def test_a_trip_in_the_wake_of_another_is_shown(most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Step by step on a small machine, by flags on a large one."""
    monkeypatch.setattr(second_look, "MOST", most)
    sheets = made(model_of(CHAIN))
    assert reasons(sheets) == {}
    row = row_of(sheets, "the trip “fan off” acts on fan")
    assert row.action == "By hand: open it."
    assert row.effects == (("alarm", "yes"), ("fan", "off"), ("door", "open"))


@pytest.mark.parametrize("most", [25_000, 0])
def test_a_trip_that_is_never_seen_to_act(most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """What the second trip writes a third one takes back at once."""
    monkeypatch.setattr(second_look, "MOST", most)
    text = CHAIN.replace("people:", "  fan on: {when: NOT door_shut, then: {fan: on}}\npeople:")
    text = text.replace("when: alarm = yes", "when: alarm = yes AND NOT door_shut")
    told = reasons(made(model_of(text)))
    assert set(told) == {"the trip “fan off” acts on fan", "the trip “fan on” acts on fan"}
    if most:
        assert set(told.values()) == {"not testable: it never acts so that fan is seen to take what it writes"}


def test_a_trip_that_never_acts() -> None:
    text = CHAIN.replace("when: alarm = yes", "when: alarm = yes AND alarm = no")
    assert reasons(made(model_of(text))) == {"the trip “fan off” acts on fan": "not testable: it never acts in this model"}


def test_a_way_back_or_none() -> None:
    there = made(model_of(OVEN)).tests
    assert all(test.restoring.found for test in there)
    (gone,) = made(model_of(CHAIN)).tests
    assert not gone.restoring.found
    assert gone.restoring.lines == ("Not found: restore by hand, under the eyes of somebody competent.",)


def test_a_hazard_on_the_way_is_a_caution() -> None:
    text = OVEN + "hazards:\n  H1: {text: It is warm, must not be: oven = warm}\n"
    sheets = made(model_of(text))
    warm = [test for test in sheets.tests if any("oven is warm" in row.action for row in test.rows)]
    assert warm
    for test in warm:
        assert test.cautions == ("H1 may be met on this test as the machine is: It is warm",)
        (row, *_) = [row for row in test.rows if "oven is warm" in row.action]
        assert (row.energy, row.hazards) == (Energy.SIMULATED, ("H1",))


def test_a_limit_leaves_things_open() -> None:
    sheets = made(model_of(OVEN), Limits(states=1))
    assert sheets.stopped is Stop.STATES
    assert all(cover.is_open and cover.reason.startswith("open:") for cover in sheets.covers if not cover.row)


def test_it_is_the_same_again() -> None:
    assert made(model_of(OVEN)) == made(model_of(OVEN))
