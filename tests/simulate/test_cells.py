"""What holds values: nothing undeclared can come about."""

import pytest
from transitions import Machine as StateMachine

from seqcheck.check.typed import NumberType, StatesType, TruthType, Type, Value
from seqcheck.simulate.cells import MOST_STATES, admits, make_cell
from seqcheck.simulate.errors import SimulateError

MANY = StatesType(tuple(f"s{n}" for n in range(MOST_STATES + 1)))


@pytest.mark.parametrize(
    ("kind", "start", "other", "foreign"),
    [
        (TruthType(), False, True, 3),
        (StatesType(("off", "down", "up")), "off", "up", "sideways"),
        (NumberType(-2, 7), -2, 7, 8),
        (MANY, "s0", "s64", "s65"),
    ],
)
def test_moves(kind: Type, start: Value, other: Value, foreign: Value) -> None:
    cell = make_cell(kind, start)
    assert cell.value == start
    cell.move_to(other)
    assert cell.value == other
    assert type(cell.value) is type(other)
    cell.move_to(other)
    assert cell.value == other
    with pytest.raises((SimulateError, KeyError)):
        cell.move_to(foreign)
    assert cell.value == other
    cell.put_back(start)
    assert cell.value == start


def test_every_state_can_be_moved_to_from_every_other() -> None:
    states = ("state", "value", "trigger", "is_state", "set_x")
    cell = make_cell(StatesType(states), "state")
    for old in states:
        for new in states:
            cell.put_back(old)
            cell.move_to(new)
            assert cell.value == new


def test_one_state_only() -> None:
    cell = make_cell(StatesType(("only",)), "only")
    cell.move_to("only")
    assert cell.value == "only"


def test_states_are_kept_by_a_state_machine_and_numbers_are_plain() -> None:
    kept = vars(make_cell(StatesType(("off", "on")), "off"))
    assert any(isinstance(each, StateMachine) for each in kept.values())
    assert not any(isinstance(each, StateMachine) for each in vars(make_cell(NumberType(0, 1), 0)).values())


@pytest.mark.parametrize(
    ("kind", "value", "expected"),
    [
        (TruthType(), True, True),
        (TruthType(), 1, False),
        (TruthType(), "TRUE", False),
        (NumberType(0, 1), True, False),
        (NumberType(0, 1), 1, True),
        (NumberType(0, 1), 2, False),
        (NumberType(0, 1), -1, False),
        (NumberType(0, 1), "1", False),
        (StatesType(("off", "on")), "on", True),
        (StatesType(("off", "on")), "ON", False),
    ],
)
def test_admits(kind: Type, value: Value, expected: bool) -> None:
    assert admits(kind, value) is expected
