"""What deviations come to, on machines worked out by hand, and how many rows there are."""

from itertools import pairwise

import pytest

from seqcheck.analyse.procedures.confirming import confirmed
from seqcheck.analyse.procedures.deviations import row_count
from seqcheck.analyse.procedures.records import Class, Deviation, Row, Studied
from seqcheck.analyse.procedures.wording import Wording
from seqcheck.search.engine import Limits
from tests.analyse.procedures.asking import PRESS, first, met, model_of, row, studied, worst
from tests.sequences.verifying import SEQUENCES

PRESSED = first(PRESS)
MODEL = model_of(PRESS)
PROCEDURE = MODEL.procedures[0]
COMMANDS = {step.name: number for number, step in enumerate(MODEL.steps)}


def told(found: Row) -> list[str]:
    words = Wording(model=MODEL)
    return [words.outcome(PROCEDURE, outcome, found) for outcome in found.outcomes]


def classes(step: int, deviation: Deviation, *, regardless: bool = True, other: str | None = None) -> list[Class]:
    number = None if other is None else COMMANDS[other]
    return met(row(PRESSED, step, deviation, regardless=regardless, other=number))


def test_a_step_left_out_is_noticed_by_a_later_permissive() -> None:
    assert told(row(PRESSED, 1, Deviation.LEFT_OUT, regardless=False)) == [
        "refused: step 3, “start the stroke” (not so: machine is ready)"
    ]
    assert told(row(PRESSED, 1, Deviation.LEFT_OUT, regardless=True)) == [
        "stuck: step 4, wait until ram = bottom, may never end; way out: release the gate",
        "refused: step 3, “start the stroke” (not so: machine is ready)",
    ]


def test_what_changes_nothing_has_no_effect() -> None:
    assert classes(1, Deviation.REPEATED) == [Class.NO_EFFECT]
    assert classes(2, Deviation.REPEATED) == [Class.NO_EFFECT]
    assert classes(1, Deviation.SWAPPED) == [Class.NO_EFFECT]


def test_a_step_before_its_wait_is_over_comes_to_different_things_at_different_moments() -> None:
    early = row(PRESSED, 6, Deviation.EARLY, regardless=True)
    assert met(early) == [Class.WAY_OUT, Class.REFUSED, Class.NO_EFFECT]
    assert classes(3, Deviation.EARLY, regardless=False) == [Class.REFUSED]


def test_a_wait_left_out_that_the_machine_makes_up_for_still_ends_well() -> None:
    assert classes(4, Deviation.LEFT_OUT) == [Class.WELL]


def test_an_emergency_stop_on_the_way_down_leaves_it_stuck_for_good() -> None:
    assert classes(4, Deviation.STOPPED) == [Class.LOST, Class.REFUSED]
    assert classes(4, Deviation.STOPPED, regardless=False) == [Class.LOST, Class.REFUSED]
    assert worst(row(PRESSED, 4, Deviation.STOPPED, regardless=False)).about == "after the refusal at step 3"
    assert classes(1, Deviation.STOPPED) == [Class.WELL]


def test_an_emergency_stop_comes_at_any_moment_of_a_wait() -> None:
    """Only while it waits does the fuse blow, and only with the stop pressed is that a hazard."""
    text = (
        "machine: Lamp\npanel: {stop: {states: [released, pressed], role: emergency_stop}}\noutputs: {lamp: [dark, lit]}\n"
        "parts: {fuse: [whole, blown]}\ncommands: {light: {then: {lamp: lit}}}\n"
        "trips: {stops: {when: stop = pressed, then: {lamp: dark}}}\n"
        "plant: {blows: {when: lamp = lit AND fuse = whole, after: 3 s, then: {fuse: blown}}}\n"
        "hazards: {H1: {must not be: fuse = blown AND stop = pressed}}\n"
        "procedures: {use: {steps: [light, {wait: 5 s}]}}\n"
    )
    found = first(text)
    assert met(row(found, 1, Deviation.STOPPED, regardless=True)) == [Class.WELL]
    assert met(row(found, 2, Deviation.STOPPED, regardless=True)) == [Class.HAZARD, Class.WELL]


def test_no_effect_asks_where_it_came_from() -> None:
    """A lamp toggled twice is where it might have been from the other start, but not as it would be from this one."""
    text = (
        "machine: Toggle\noutputs: {lamp: {states: [dark, lit], starts: any}}\n"
        'commands: {toggle: {then: {lamp: "SEL(lamp = lit, lit, dark)"}}}\nprocedures: {use: {steps: [toggle]}}\n'
    )
    assert met(row(first(text), 1, Deviation.REPEATED, regardless=True)) == [Class.WELL]


def test_another_command_instead() -> None:
    assert told(row(PRESSED, 5, Deviation.INSTEAD, regardless=False, other=COMMANDS["release the gate"])) == [
        "refused: step 5, “release the gate” (not so: ram is at the top; not so: drive is off)"
    ]


DOOR = """\
machine: Door
parts: {door: [shut, open], steam: [none, hot]}
outputs: {valve: [shut, open]}
commands:
  let steam in: {permissives: {the door is shut: is_shut}, then: {valve: open}}
  shut the valve: {then: {valve: shut}}
sensors: {is_shut: door = shut}
plant:
  steam comes: {when: valve = open AND steam = none, after: 2 s, then: {steam: hot}}
people:
  open the door: {if: door = shut, then: {door: open}}
hazards: {H1: {text: The door is open and steam comes, must not be: door = open AND steam = hot}}
procedures:
  heat and cool: {steps: [let steam in, {wait: 1 s}, shut the valve, open the door], ends with: door = open}
"""


def test_a_hazard_that_comes_after_the_last_step_all_by_itself_counts() -> None:
    """The valve left open ends well at that moment, but steam comes while nobody does anything."""
    found = first(DOOR)
    assert found.works is True
    left_out = row(found, 3, Deviation.LEFT_OUT, regardless=True)
    assert met(left_out) == [Class.HAZARD, Class.WELL]
    hazard = worst(left_out)
    assert hazard.way is not None
    model = model_of(DOOR)
    names = [model.steps[move].name for move in hazard.way.moves if move >= 0]
    assert names == ["let steam in", "open the door", "steam comes"]


KEYED = """\
machine: Keyed valve
parts: {steam: [none, hot]}
panel: {key: [out, in]}
outputs: {valve: [shut, open]}
commands:
  let steam in: {then: {valve: open}}
  shut the valve: {permissives: {the key is in: key = in}, then: {valve: shut}}
plant:
  steam comes: {when: valve = open AND steam = none, after: 2 s, then: {steam: hot}}
hazards: {H1: {text: Steam, must not be: steam = hot}}
procedures:
  rinse: {steps: [let steam in, {set: {key: in}}, shut the valve], ends with: valve = shut}
"""


def test_a_hazard_while_nothing_more_is_done_after_a_refusal_counts() -> None:
    found = first(KEYED)
    assert found.works is True
    assert met(row(found, 2, Deviation.LEFT_OUT, regardless=False)) == [Class.HAZARD, Class.REFUSED]
    assert met(row(found, 2, Deviation.LEFT_OUT, regardless=True)) == [Class.HAZARD, Class.WAY_OUT, Class.REFUSED]


def test_several_hazards_of_one_row_are_all_told() -> None:
    two = DOOR.replace("hazards: {", "hazards: {H2: {text: Steam at all, must not be: steam = hot}, ")
    assert [outcome.hazard for outcome in row(first(two), 3, Deviation.LEFT_OUT, regardless=True).outcomes[:2]] == [0, 1]


def test_a_step_that_never_comes_has_no_moment_for_a_deviation() -> None:
    text = DOOR.replace("steps: [let steam in,", "steps: [{until: steam = hot}, let steam in,")
    found = first(text)
    assert met(row(found, 3, Deviation.LEFT_OUT, regardless=True)) == [Class.NO_MOMENT]


def test_a_wait_that_is_over_at_once_leaves_no_earlier_moment() -> None:
    text = DOOR.replace("{wait: 1 s}, shut", "{until: valve = open}, shut")
    assert met(row(first(text), 3, Deviation.EARLY, regardless=True)) == [Class.NO_MOMENT]


def counted(text: str) -> list[tuple[int, int, int, int, int, int]]:
    """Return for each procedure: steps, commands among them, those right after a wait, commands, stops, rows found."""
    model = model_of(text)
    return [
        (
            len(procedure.steps),
            *kinds(text, one),
            sum(step.kind.value == "command" for step in model.steps),
            model.emergency_stop is not None,
            len(one.rows),
        )
        for procedure, one in zip(model.procedures, studied(text).studied, strict=True)
    ]


def kinds(text: str, one: Studied) -> tuple[int, int]:
    model = model_of(text)
    steps = [type(step).__name__ for step in model.procedures[one.procedure].steps]
    acts = [getattr(step, "step", None) for step in model.procedures[one.procedure].steps]
    commands = sum(act is not None and model.steps[act].kind.value == "command" for act in acts)
    early = sum(a in {"Wait", "Until"} and b not in {"Wait", "Until"} for a, b in pairwise(steps))
    return commands, early


@pytest.mark.parametrize("text", [PRESS, DOOR, (SEQUENCES / "separator.yaml").read_text(encoding="utf-8")])
def test_the_number_of_rows_is_that_of_the_formula(text: str) -> None:
    model = model_of(text)
    for procedure, (n, k, e, c, stop, rows) in zip(model.procedures, counted(text), strict=True):
        assert rows == 2 * (3 * n - 1 + e + n * c - k + n * stop) == row_count(model, procedure)


def test_without_an_emergency_stop_there_are_no_such_rows() -> None:
    assert not any(each.deviation is Deviation.STOPPED for each in first(DOOR).rows)


def test_a_limit_leaves_rows_undecided_and_never_without_saying_so() -> None:
    """What was found before the limit is told; a row that leads to what was not looked at says so."""
    whole = first(PRESS)
    for states in (1, 30, 100, 200, 300):
        part = studied(PRESS, Limits(states=states))
        for one, other in zip(part.studied[0].rows, whole.rows, strict=False):
            if Class.UNDECIDED not in met(one) and Class.STUCK not in met(one):
                assert met(one) == met(other)


def test_every_way_of_the_press_shows_what_it_is_said_to() -> None:
    for each in PRESSED.rows:
        for outcome in each.outcomes:
            taken = confirmed(MODEL, PROCEDURE, outcome)
            assert (taken is None) == (outcome.met is Class.NO_MOMENT)
