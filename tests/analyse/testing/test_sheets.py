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

SLIDE = """
machine: A slide that goes on by itself
tick: 1 s
parts:
  slide: [in, out]
outputs:
  drive: [off, on]
commands:
  go: {then: {drive: on}}
plant:
  it moves: {when: drive = on AND slide = in, after: 3..5 s, then: {slide: out}}
hazards:
  H1: {text: It is out, must not be: slide = out}
"""

BUTTONS = """
machine: Two buttons that start a motor, if the second is pressed in time
tick: 1 s
parts:
  left: [away, held]
  right: [away, held]
  start: [in_time, late]
  motor: [still, turning]
sensors:
  left_held: left = held
  right_held: right = held
outputs:
  lamp: [off, on]
trips:
  light: {when: left_held AND right_held, then: {lamp: on}}
plant:
  it is late: {when: left = held AND start = in_time, after: 3 s, then: {start: late}}
  it turns: {when: left = held AND right = held AND start = in_time AND motor = still, after: at once, then: {motor: turning}}
people:
  press left: {if: left = away, then: {left: held}}
  press right: {if: left = held AND right = away, then: {right: held}}
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
    assert told["“warm it” is refused unless “the door is shut”"] == (
        "not testable alone: whenever it fails, “the door is not open” fails too"
    )
    assert told["“hush” is refused unless “always”"] == "not testable alone: it never fails in this model"
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
    row = row_of(made(model_of(OVEN)), "“sound” is refused unless “heated long”")
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
        when = "on this test and while the start condition is restored"
        assert test.cautions == (f"H1 may be met {when} as the machine is: It is warm",)
        assert test.restoring.lines[0] == "CAUTION: simulated signals only. H1 may be met on the way as the machine is."
        (row, *_) = [row for row in test.rows if "oven is warm" in row.action]
        assert (row.energy, row.hazards) == (Energy.SIMULATED, ("H1",))


def test_a_hazard_is_named_by_the_row_that_brings_it_about() -> None:
    sheets = made(model_of(OVEN + "hazards:\n  H1: {text: It sounds, must not be: horn = on}\n"))
    assert row_of(sheets, "“sound” is accepted").hazards == ("H1",)
    (test,) = made(model_of(CHAIN + "hazards:\n  H1: {text: It is open, must not be: door = open}\n")).tests
    assert [row.action for row in test.rows] == ["By hand: open it."]
    assert [(row.energy, row.hazards) for row in test.rows] == [(Energy.SIMULATED, ("H1",))]


def test_what_comes_after_the_last_row_is_told() -> None:
    (test,) = made(model_of(SLIDE)).tests
    assert [row.action for row in test.rows] == ["Give the command “go”."]
    assert (test.rows[0].energy, test.rows[0].hazards) == (Energy.SIMULATED, ("H1",))
    assert test.rows[0].why_energy == "H1 may be met after this row if nobody does anything."


def test_what_hangs_on_the_moment_is_not_promised() -> None:
    (test,) = made(model_of(BUTTONS)).tests
    (row,) = [row for row in test.rows if row.action == "By hand: press right."]
    assert row.timing is Timing.ANY
    assert row.expected == (
        "The trip “light” acts: lamp is now on. Right is now held. "
        "How motor then stands depends on when this is done, and on the machine's timing."
    )
    assert "motor" not in dict(row.effects)


def test_a_limit_leaves_things_open() -> None:
    sheets = made(model_of(OVEN), Limits(states=1))
    assert sheets.stopped is Stop.STATES
    assert all(cover.is_open and cover.reason.startswith("open:") for cover in sheets.covers if not cover.row)


def test_it_is_the_same_again() -> None:
    assert made(model_of(OVEN)) == made(model_of(OVEN))
