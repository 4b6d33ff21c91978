"""The strict time bounds among the assumptions: conditions true only while something has not elapsed, and nothing else."""

import pytest

from seqcheck.analyse.assumptions import GENERAL, assumptions
from tests.analyse.asking import model_of

TEXT = """
machine: Timers
panel: {button: bool}
parts: {p: [a, b], n: {range: 0..9}}
sensors: {at_a: p = a}
memory: {m: bool}
timers:
  on: {kind: TON, in: button, pt: 3 s}
  late: {kind: TOF, in: button, pt: 3 s}
  pulse: {kind: TP, in: button, pt: 3 s}
commands: {go: {permissives: {allowed: PERMISSIVE}, then: {m: TRUE}}}
people: {act: {if: ACT, then: {p: b}}}
trips: {trip: {when: TRIP, then: {m: FALSE}}}
plant: {moves: {when: PLANT, then: {p: a}}}
hazards: {H1: {must not be: HAZARD}}
"""
PLACES = ("PERMISSIVE", "ACT", "TRIP", "PLANT", "HAZARD")


def strict(**written: str) -> list[str]:
    """Return the strict bounds of the machine with some of its conditions written out, the others plain."""
    text = TEXT
    for place in PLACES:
        text = text.replace(place, written.get(place.lower(), "at_a" if place != "HAZARD" else "m"))
    listed = assumptions(model_of(text))
    assert listed[: len(GENERAL)] == GENERAL
    assert listed[len(GENERAL)] == "time passes in ticks of 1 s"
    bounds = listed[len(GENERAL) + 1 :]
    assert all(
        line.startswith("strict time bound: ") and line.endswith("; verify again at a finer tick to check it")
        for line in bounds
    )
    return [
        line.removeprefix("strict time bound: ").removesuffix("; verify again at a finer tick to check it") for line in bounds
    ]


def test_a_machine_without_strict_bounds_lists_none() -> None:
    assert strict() == []


@pytest.mark.parametrize(
    ("written", "bound"),
    [
        ("NOT on.Q", "NOT on.Q"),
        ("at_a AND NOT on.Q", "NOT on.Q"),
        ("late.Q", "late.Q"),
        ("at_a OR late.Q", "late.Q"),
        ("pulse.Q", "pulse.Q"),
        ("on.ET < 2", "on.ET < …"),
        ("2 > on.ET", "on.ET > …"),
        ("pulse.ET <= 1", "pulse.ET <= …"),
        ("late.ET <> 1", "late.ET <> …"),
    ],
)
@pytest.mark.parametrize(("place", "where"), [("permissive", "go"), ("act", "act"), ("plant", "moves")])
def test_a_condition_true_only_while_something_has_not_elapsed(written: str, bound: str, place: str, where: str) -> None:
    assert strict(**{place: written}) == [f"“{bound}” in “{where}”"]


@pytest.mark.parametrize("written", ["on.Q", "at_a AND on.Q", "NOT (at_a AND m) OR on.Q"])
@pytest.mark.parametrize("place", ["act", "plant"])
def test_a_condition_true_once_something_has_elapsed_is_no_strict_bound(written: str, place: str) -> None:
    assert strict(**{place: written}) == []


@pytest.mark.parametrize("written", ["NOT late.Q", "NOT pulse.Q AND at_a"])
def test_the_end_of_a_delay_or_a_pulse_is_no_strict_bound(written: str) -> None:
    assert strict(act=written) == []


@pytest.mark.parametrize("written", ["NOT (on.Q AND at_a)", "on.Q = FALSE", "on.Q XOR TRUE", "NOT (on.Q OR m)"])
def test_a_strict_bound_is_known_however_it_is_written(written: str) -> None:
    assert strict(act=written) != []


def test_a_strict_bound_in_a_hazard_counts_too() -> None:
    assert strict(hazard="m AND NOT on.Q") != []


def test_a_trip_on_an_elapsed_timer_is_named() -> None:
    assert strict(trip="on.Q") == ["“trip” acts the moment on elapses"]
    assert strict(trip="NOT late.Q") == ["“trip” acts the moment late elapses"]


def test_a_trip_on_a_sensor_that_reads_a_timer_is_named() -> None:
    text = TEXT.replace("at_a: p = a", "at_a: p = a, elapsed: on.Q").replace("TRIP", "elapsed")
    for place in PLACES:
        text = text.replace(place, "at_a" if place != "HAZARD" else "m")
    assert [line for line in assumptions(model_of(text)) if "“trip” acts the moment on elapses" in line] != []


def test_an_at_once_rule_on_an_elapsed_timer_is_named() -> None:
    text = TEXT.replace("{when: PLANT, then", "{when: on.Q, after: at once, then")
    for place in PLACES:
        text = text.replace(place, "at_a" if place != "HAZARD" else "m")
    assert any("“moves” acts the moment on elapses" in line for line in assumptions(model_of(text)))


def test_a_bound_used_twice_in_one_place_is_listed_once() -> None:
    assert strict(act="late.Q OR late.Q AND at_a") == ["“late.Q” in “act”"]


def test_a_timer_that_times_another_is_a_place() -> None:
    text = TEXT.replace("late: {kind: TOF, in: button", "late: {kind: TOF, in: NOT on.Q")
    for place in PLACES:
        text = text.replace(place, "at_a" if place != "HAZARD" else "m")
    assert any("“NOT on.Q” in the input of late" in line for line in assumptions(model_of(text)))


def test_the_tick_is_named_in_seconds() -> None:
    assert "time passes in ticks of 0.25 s" in assumptions(model_of("machine: M\ntick: 250 ms\nparts: {p: [a, b]}\n"))
