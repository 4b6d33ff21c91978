"""Acceptance-test sheets of the committed sequences: every row in the simulator, everything covered or said why not."""

from pathlib import Path

import pytest

from seqcheck.analyse.testing.records import Energy, Kind, Timing
from seqcheck.analyse.testing.sheets import sheets_of
from seqcheck.cli.load import load_any
from seqcheck.cli.sheet_replay import confirm
from seqcheck.compile.compile import compile_machine
from seqcheck.search.engine import Limits

SEQUENCES = Path(__file__).parents[2] / "sequences"
SMALL = ("burner", "lift_gate", "robot_cell_draft", "steam_door", "separator")


@pytest.mark.parametrize("name", SMALL)
def test_every_row_comes_out_in_the_simulator_and_everything_is_accounted_for(name: str) -> None:
    machine = load_any(SEQUENCES / f"{name}.yaml").machine
    assert machine is not None
    sheets = sheets_of(compile_machine(machine), Limits(), lambda _progress: None)
    confirm(machine, sheets)
    assert all(cover.row or cover.reason.startswith("not testable") for cover in sheets.covers)
    assert sheets.exact
    assert sheets.tests
    assert all(test.restoring.found for test in sheets.tests)
    shown = {item for row in sheets.rows() for item in row.items}
    assert shown == {cover.item for cover in sheets.covers if cover.row}
    if name == "separator":
        assert all(cover.row for cover in sheets.covers)
        asked = {row.refused_by: row for row in sheets.rows() if row.kind is Kind.REFUSED}
        assert asked["the rotor has stood still for 5 seconds"].energy is Energy.SIMULATED
        assert asked["the feed is open"].energy is Energy.CHOOSE


def test_a_trip_is_shown_by_what_it_changes_not_by_what_was_so_before() -> None:
    """Of the press: too late, and the clutch has not come on; that it is off then shows nothing of the trip."""
    machine = load_any(SEQUENCES / "two_hand_press.yaml").machine
    assert machine is not None
    made = sheets_of(compile_machine(machine), Limits(), lambda _: None)
    rows = [row for row in made.rows() if "“a hand leaves its button” acts: clutch is now off" in row.expected]
    assert rows
    assert all(row.timing is not Timing.ANY for row in rows)
