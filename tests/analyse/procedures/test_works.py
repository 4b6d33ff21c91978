"""When a procedure works: whatever the plant does, at any moment allowed; and with which run it is shown that it does not."""

import pytest

from seqcheck.analyse.procedures.confirming import confirmed
from seqcheck.analyse.procedures.records import Class
from seqcheck.search.engine import Limits
from seqcheck.simulate.replay import replay
from tests.analyse.procedures.asking import PRESS, breaks, first, model_of, studied
from tests.outside.reading import machine_of

LAMP = """\
machine: Lamp
panel: {key: [out, in]}
outputs: {lamp: [dark, lit]}
parts: {fuse: [whole, blown, gone], hand: [off, on]}
commands:
  light: {permissives: {the key is in: key = in}, then: {lamp: lit}}
  darken: {then: {lamp: dark}}
people:
  put the hand on: {if: hand = off, then: {hand: on}}
"""


def lamp(steps: str, *, plant: str = "", hazard: str = "", ends: str = "") -> str:
    """Return the lamp with one procedure."""
    more = f"plant: {{{plant}}}\n" if plant else ""
    more += f"hazards: {{H1: {{must not be: {hazard}}}}}\n" if hazard else ""
    end = f", ends with: {ends}" if ends else ""
    return f"{LAMP}{more}procedures:\n  use: {{steps: [{steps}]{end}}}\n"


BLOWS = "blows: {when: lamp = lit AND fuse = whole, after: 2..4 s, then: {fuse: blown}}"
LIT = "{set: {key: in}}, light"


@pytest.mark.parametrize(
    "text",
    [
        lamp("{set: {key: in}}, light, {wait: 1 s}, darken", ends="lamp = dark"),
        lamp("{set: {key: out}}, darken"),  # a panel item that is there already
        lamp("{until: lamp = dark}, darken"),  # ends at once
        lamp(f"{LIT}, {{until: fuse = blown}}", plant=BLOWS, ends="fuse = blown"),
        lamp(f"{LIT}, {{wait: 4 s}}, {{until: fuse = blown}}", plant=BLOWS),
        lamp(f"{LIT}, {{wait: 1 s}}, darken, {{wait: 9 s}}", plant=BLOWS, ends="fuse = whole"),
        lamp("{wait: 1000000 s}, darken"),
        lamp("put the hand on", ends="hand = on"),
        PRESS,
    ],
)
def test_it_works(text: str) -> None:
    found = first(text)
    assert found.works is True
    assert found.breaks == ()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        # Refused, and not possible.
        (lamp("light"), "refused: step 1, “light” (not so: the key is in)"),
        (lamp("put the hand on, put the hand on"), "not possible: step 2, “put the hand on” (it needs hand = off)"),
        # The plant may move at the moment of the step, before it or after.
        (lamp(f"{LIT}, {{wait: 2 s}}", plant=BLOWS, ends="fuse = whole"), "stuck: it ends without “fuse = whole”"),
        (lamp(f"{LIT}, {{wait: 3 s}}", plant=BLOWS, ends="fuse = blown"), "stuck: it ends without “fuse = blown”"),
        # A rule without a latest time may never happen; nor may one whose condition goes.
        (
            lamp(f"{LIT}, {{until: fuse = blown}}", plant=BLOWS.replace("2..4 s", "2 s or more")),
            "stuck: step 3, wait until fuse = blown, may never end: what the run shows last can repeat for ever",
        ),
        (
            lamp("{until: lamp = lit}"),
            "stuck: step 1, wait until lamp = lit, may never end: what the run shows last can repeat for ever",
        ),
        # A hazard on the way, though the end is good; also at the very start.
        (lamp(f"{LIT}, darken", hazard="lamp = lit", ends="lamp = dark"), "MEETS H1: lamp = lit"),
        (lamp("darken", hazard="lamp = dark"), "MEETS H1: lamp = dark"),
        (lamp(f"{LIT}, {{wait: 2 s}}, darken", plant=BLOWS, hazard="fuse = blown"), "MEETS H1: fuse = blown"),
    ],
)
def test_it_does_not_work(text: str, told: str) -> None:
    found = first(text)
    assert found.works is False
    assert breaks(text)[0] == told
    model = model_of(text)
    for outcome in found.breaks:
        taken = confirmed(model, model.procedures[0], outcome)
        assert taken is not None
        assert replay(machine_of(text), taken.run).agrees


def test_without_end_in_no_time_is_no_way_to_avoid_the_end_of_a_wait() -> None:
    """Two rules that may follow each other at once, again and again, do not keep time from passing."""
    flips = "flip: {when: hand = off, then: {hand: on}}, flop: {when: hand = on, then: {hand: off}}"
    assert first(lamp(f"{LIT}, {{until: fuse = blown}}", plant=f"{BLOWS}, {flips}")).works is True


def test_round_and_round_with_time_passing_is_a_way() -> None:
    flips = "flip: {when: hand = off, after: 1 s, then: {hand: on}}, flop: {when: hand = on, after: 1 s, then: {hand: off}}"
    found = first(lamp("{until: fuse = blown}", plant=flips))
    way = found.breaks[0].way
    assert way is not None
    assert way.stuck == 0
    assert len(way.moves) == 4


def test_a_condition_that_holds_only_in_between_ends_an_until() -> None:
    """The plant passes through the condition in no time; the wait is over when it does."""
    through = (
        "blows: {when: lamp = lit AND fuse = whole, after: 2 s, then: {fuse: blown}}, "
        "falls out: {when: fuse = blown, after: 0..1 s, then: {fuse: gone}}"
    )
    assert first(lamp(f"{LIT}, {{until: fuse = blown}}, {{wait: 2 s}}", plant=through, ends="fuse = gone")).works is True


def test_settling_in_between_is_no_state_and_ends_no_until() -> None:
    text = LAMP + (
        "trips: {dark again: {when: lamp = lit, then: {lamp: dark}}}\n"
        "procedures: {use: {steps: [{set: {key: in}}, light, {until: lamp = lit}]}}\n"
    )
    assert first(text).works is False


def test_a_plant_rule_at_its_latest_moment_happens_during_a_wait() -> None:
    exactly = BLOWS.replace("2..4 s", "3 s")
    assert first(lamp(f"{LIT}, {{wait: 2 s}}, darken", plant=exactly, ends="fuse = whole")).works is True
    assert first(lamp(f"{LIT}, {{wait: 4 s}}, darken", plant=exactly, ends="fuse = blown")).works is True
    assert first(lamp(f"{LIT}, {{wait: 3 s}}, darken", plant=exactly, ends="fuse = blown")).works is False


def test_a_step_that_is_never_completed_breaks_it() -> None:
    text = (
        "machine: Slide\nparts: {slide: {range: 0..1}}\npeople: {push: {then: {slide: slide + 1}}}\n"
        "procedures: {use: {steps: [push, push]}}\n"
    )
    assert breaks(text) == ["CANNOT BE COMPLETED: “push” puts slide outside its range"]
    (outcome,) = first(text).breaks
    assert outcome.way is not None
    assert outcome.way.fails


def test_endless_settling_breaks_it_at_a_step_and_at_the_start() -> None:
    blinker = "machine: Blinker\npanel: {key: [off, on]}\noutputs: {lamp: bool}\n"
    blinker += "trips: {blink: {when: key = on, then: {lamp: NOT lamp}}}\nprocedures: {use: {steps: [{set: {key: on}}]}}\n"
    told = ["CANNOT BE COMPLETED: settling never ends: “blink”"]
    assert breaks(blinker) == told
    assert breaks(blinker.replace("key: [off, on]}", "key: {states: [off, on], starts: on}}")) == told


def test_a_condition_without_a_value_breaks_it() -> None:
    divides = "machine: Divides\nparts: {n: {range: 0..2}}\npeople: {up: {if: n < 2, then: {n: n + 1}}}\n"
    until = f"{divides}procedures: {{use: {{steps: [{{until: 2 / n = 1}}]}}}}\n"
    assert breaks(until) == ["CANNOT BE COMPLETED: the condition of “until” of “use” has no value: 2 / n = 1"]
    ends = f"{divides}procedures: {{use: {{steps: [{{wait: 1 s}}], ends with: 2 / n = 1}}}}\n"
    assert breaks(ends) == ["CANNOT BE COMPLETED: the condition of “ends with” of “use” has no value: 2 / n = 1"]


def test_it_begins_in_every_start_state() -> None:
    anywhere = lamp("put the hand on").replace("hand: [off, on]", "hand: {states: [off, on], starts: any}")
    assert breaks(anywhere) == ["not possible: step 1, “put the hand on” (it needs hand = off)"]


def test_it_begins_in_every_state_in_which_the_one_before_may_end() -> None:
    text = lamp(f"{LIT}, {{wait: 3 s}}", plant=BLOWS)
    after = f"{text}  then: {{after: use, steps: [{{wait: 9 s}}, darken], ends with: fuse = blown}}\n"
    assert [one.works for one in studied(after).studied] == [True, True]
    at_once = f"{text}  then: {{after: use, steps: [darken], ends with: fuse = blown}}\n"
    found = studied(at_once).studied[1]
    assert found.works is False
    assert found.breaks[0].way is not None
    assert found.breaks[0].way.begins == 5  # the key, the light, three ticks


def test_one_that_begins_after_what_never_ends_does_not_work() -> None:
    text = lamp("{until: lamp = lit}") + "  then: {after: use, steps: [darken]}\n"
    found = studied(text).studied[1]
    assert found.works is False
    assert [outcome.met for outcome in found.breaks] == [Class.STUCK]
    assert found.breaks[0].about == "what it begins after never comes to its end"


def test_items_are_set_one_after_the_other() -> None:
    text = (
        "machine: Keys\npanel: {a: [off, on], b: [off, on]}\nparts: {seen: bool}\noutputs: {x: bool}\n"
        "plant: {sees: {when: a = on AND b = off, then: {seen: TRUE}}}\n"
        "procedures: {use: {steps: [{set: {a: on, b: on}}], ends with: NOT seen}}\n"
    )
    assert first(text).works is False
    assert first(text.replace("{a: on, b: on}", "{b: on, a: on}")).works is True


def test_a_limit_leaves_it_undecided() -> None:
    text = lamp("{wait: 600 s}, darken", plant="ages: {when: TRUE, after: 600 s, then: {fuse: gone}}")
    found = studied(text, Limits(states=1))
    assert found.studied[0].works is None
    assert {tuple(outcome.met for outcome in row.outcomes) for row in found.studied[0].rows} == {(Class.UNDECIDED,)}
