"""Durations and intervals as written."""

from fractions import Fraction

import pytest

from seqcheck.syntax.durations import Bounds, read_duration, read_interval, spell
from seqcheck.syntax.places import source_offsets


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("500 ms", Fraction(1, 2)),
        ("1.5 s", Fraction(3, 2)),
        ("1S", Fraction(1)),
        (" 2  min ", Fraction(120)),
        ("0.5 h", Fraction(1800)),
        ("0 s", Fraction(0)),
        ("t#1h2m", Fraction(3720)),
        ("TIME#250ms", Fraction(1, 4)),
    ],
)
def test_durations(text: str, seconds: Fraction) -> None:
    assert read_duration(text) == seconds


@pytest.mark.parametrize(
    "text", ["", "1", "s", "1 m", "1 d", "-1 s", "1,5 s", "1 s 2 s", "T#", "1e3 s", "1" * 300 + " s", "one s", "1 s\u0663"]
)
def test_what_is_no_duration(text: str) -> None:
    assert read_duration(text) is None


@pytest.mark.parametrize(
    "text",
    ["", "..", "1..", "..2 s", "1..2", "1..2..3 s", "or more", "1 or more", "at once or more", "1 s..", "1 s - 2 s", "1..T#2s"],
)
def test_what_is_no_interval(text: str) -> None:
    assert read_interval(text) is None


def test_intervals() -> None:
    assert read_interval("1..2 s") == Bounds(Fraction(1), Fraction(2))
    assert read_interval("90 s..2 min") == Bounds(Fraction(90), Fraction(120))
    assert read_interval("3 s OR  more") == Bounds(Fraction(3), None)
    assert read_interval("3 s" + " " * 200 + "or more") is None


@pytest.mark.parametrize("text", ["3 h", "2 min", "90 s", "1500 ms", "500 ms", "0 s", "1 ms"])
def test_durations_are_spelled_as_written(text: str) -> None:
    seconds = read_duration(text)
    assert seconds is not None
    assert spell(seconds) == text


def test_fractions_of_a_millisecond_are_spelled() -> None:
    assert spell(Fraction(1, 10_000)) == "0.1 ms"


def test_characters_that_cannot_be_found_get_the_place_of_the_one_before() -> None:
    assert source_offsets("x: abc", 3, "", "ab?c") == [3, 4, 4, 5]
    assert source_offsets("x: abc", 3, "", "?") == [3]
    assert source_offsets("x: |", 3, "|", "") == []
    assert source_offsets('"\\', 0, '"', "a") == [1]
