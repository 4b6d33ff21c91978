"""Nothing that the text says may be wrong or at odds with itself, and the file's own readable names are used."""

import re

import pytest
from msgspec.structs import replace

from seqcheck.report.text import coverage
from seqcheck.search.engine import Stop
from tests.analyse.asking import case_of
from tests.cli.calling import HOLDS
from tests.report.goldens import NAMES, printed_report


def account(name: str, begins: str) -> str:
    """Return the paragraph of a case's report that begins with some words."""
    (found,) = [part for part in printed_report(name).split("\n\n") if part.startswith(begins)]
    return found


def test_a_permissive_without_a_value_is_not_said_to_hold() -> None:
    told = account("zero_permissive", "range: start the pump")
    assert "Its permissives all hold" not in told
    assert "the controller accepts it" not in told


def test_a_condition_without_a_value_is_no_step_that_cannot_be_completed() -> None:
    assert "a step cannot be completed" not in account("zero_hazard", "range: H1")


def test_of_a_stuck_output_is_told_what_it_really_does() -> None:
    """`drive off` at the end and `drive is on` in the next line would leave a reader at a loss."""
    told = account("fault", "H1  Drive on while the guard is open (with the fault contactor welded)")
    assert "drive commanded off but really on" in told
    assert not re.search(r"drive off\.\n", told.split("At the end")[1])


@pytest.mark.parametrize("name", NAMES)
def test_one_is_no_plural(name: str) -> None:
    assert not re.search(r"\b1 (states|transitions|steps|errors)\b", printed_report(name))


@pytest.mark.parametrize("unreadable", ["cv1", "rotor_spd", "ls1", "k1", "es = "])
def test_where_the_file_gives_a_readable_name_no_other_is_told(unreadable: str) -> None:
    assert unreadable not in account("labels", "H1  Cover open at speed")


def test_a_state_never_entered_is_told_in_readable_names() -> None:
    (line,) = [line for line in printed_report("never").splitlines() if " is never half" in line]
    assert "the garden gate is never half open" in line


def test_how_far_a_search_came() -> None:
    case = case_of(HOLDS)
    assert coverage(case) == "every reachable state was visited"
    stopped = replace(case, stopped=Stop.MEMORY, complete_steps=7)
    assert coverage(stopped) == (
        "the search ended early at the end of the memory it may take: every run of up to 7 steps was searched; "
        "what is beyond is not known"
    )
    none = coverage(replace(case, stopped=Stop.INTERRUPTED, complete_steps=-1))
    assert "an interruption from the keyboard" in none
    assert "there is no number of steps of which all runs were searched" in none
