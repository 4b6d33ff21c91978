"""Words of the narration: durations, values, lists, and what is left out because it has just been said."""

from fractions import Fraction

import pytest

from seqcheck.model.run import Beyond, By, Endless, RunStep, StepKind
from seqcheck.report.narrate import (
    Vocabulary,
    duration_words,
    how_it_fails,
    how_it_stands,
    listed,
    sentence,
    shown,
    what_follows,
    who_acts,
)

WORDS = Vocabulary(
    labels={"k1": "the motor contactor"},
    sensors=frozenset({"cover_shut"}),
    timers=frozenset({"held.Q"}),
    tick_s=Fraction(1, 2),
)


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        ("0", "0 s"),
        ("1/1000", "1 ms"),
        ("1/10", "100 ms"),
        ("999/1000", "999 ms"),
        ("1", "1 s"),
        ("3/2", "1.5 s"),
        ("119", "119 s"),
        ("239/2", "119.5 s"),
        ("120", "2 min"),
        ("90", "90 s"),
        ("150", "2 min 30 s"),
        ("3600", "1 h"),
        ("3661", "1 h 1 min 1 s"),
        ("7320", "2 h 2 min"),
        ("7205", "2 h 5 s"),
    ],
)
def test_durations(seconds: str, words: str) -> None:
    assert duration_words(Fraction(seconds)) == words


@pytest.mark.parametrize("seconds", ["100000001/1000", "12345678/10", "1234567/10000"])
def test_no_duration_is_rounded(seconds: str) -> None:
    """A time that is told wrongly is worse than one that is told clumsily."""
    told = duration_words(Fraction(seconds))
    units = {"h": Fraction(3600), "min": Fraction(60), "s": Fraction(1), "ms": Fraction(1, 1000)}
    parts = told.split()
    assert sum(Fraction(number) * units[unit] for number, unit in zip(parts[::2], parts[1::2], strict=True)) == Fraction(
        seconds
    )


def test_values() -> None:
    assert [shown(value) for value in (True, False, 7, -1, "moving_down", "shut")] == [
        "true",
        "false",
        "7",
        "-1",
        "moving down",
        "shut",
    ]


@pytest.mark.parametrize(
    ("parts", "joined"),
    [([], ""), (["a"], "a"), (["a", "b"], "a and b"), (["a", "b", "c"], "a, b and c")],
)
def test_lists(parts: list[str], joined: str) -> None:
    assert listed(parts) == joined


def test_sentences_begin_with_a_capital_and_end_once() -> None:
    assert [sentence(words) for words in ("it stops", "It stops.", "stop!", "why?")] == [
        "It stops.",
        "It stops.",
        "Stop!",
        "Why?",
    ]


@pytest.mark.parametrize(
    ("by", "said"),
    [
        (By(kind=StepKind.COMMAND, name="go"), "The command “go” is given, and the controller accepts it."),
        (By(kind=StepKind.PERSON, name="open it"), "A person acts: open it."),
        (By(kind=StepKind.PANEL, name="mode_switch", to="set_up"), "On the panel, mode switch is set to set up."),
        (By(kind=StepKind.PANEL, name="k1", to=False), "On the panel, the motor contactor is set to false."),
        (By(kind=StepKind.PLANT, name="it lands"), "The machine does this by itself: it lands."),
        (By(kind=StepKind.FAULT, name="it tears"), "A fault occurs: it tears."),
    ],
)
def test_who_acts(by: By, said: str) -> None:
    assert who_acts(RunStep(by=by), WORDS) == said


def test_waiting_is_told_in_time_not_ticks() -> None:
    assert who_acts(RunStep(by=By(kind=StepKind.WAIT), ticks=3), WORDS) == "Nobody does anything for 1.5 s."


def test_what_follows_is_told_in_the_order_acted_changed_read_timed() -> None:
    step = RunStep(
        by=By(kind=StepKind.COMMAND, name="go"),
        changes=(("k1", "on"), ("cover_shut", False), ("held.Q", False)),
        acted=("t", "u"),
    )
    assert list(what_follows(step, WORDS)) == [
        "At once these act: “t” and “u”.",
        "The motor contactor is now on.",
        "The controller now reads cover shut: false.",
        "The timer “held” switches off.",
    ]


def test_a_panel_item_is_not_told_twice() -> None:
    step = RunStep(by=By(kind=StepKind.PANEL, name="es", to="in"), changes=(("es", "in"),))
    assert list(what_follows(step, WORDS)) == []


def test_a_command_named_like_an_output_still_tells_the_output() -> None:
    step = RunStep(by=By(kind=StepKind.COMMAND, name="drive"), changes=(("drive", "on"),))
    assert list(what_follows(step, WORDS)) == ["Drive is now on."]


def test_how_it_stands_leaves_out_what_the_controller_derives() -> None:
    values = (("k1", "off"), ("moving_part", "up"), ("cover_shut", True), ("held.Q", False), ("held.ET", 2))
    assert how_it_stands(values, WORDS) == "the motor contactor off; moving part up"


def test_one_rule_does_not_chase_each_other() -> None:
    said = how_it_fails(Endless(names=("flutters",)), WORDS)
    assert "“flutters”" in said
    assert "each other" not in said


@pytest.mark.parametrize("problem", ["divides by zero", "takes MOD of zero", "raises to a negative power"])
def test_a_failure_without_a_variable_is_a_sentence(problem: str) -> None:
    said = how_it_fails(Beyond(rule="shares", variable=None, problem=problem), WORDS)
    assert f"“shares” {problem}" in said
