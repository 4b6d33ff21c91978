"""The timers of IEC 61131-3 against their tables: in the simulator, in the plain semantics and in a search."""

import pytest

from seqcheck.compile.compile import compile_machine
from seqcheck.model import semantics
from seqcheck.model.model import Model, State
from seqcheck.model.run import By, StepKind
from seqcheck.simulate.simulator import Simulator
from tests.outside.conftest import Verify
from tests.outside.reading import machine_of
from tests.outside.timer_tables import ROWS, Row, by_hand, played

PICTURED = pytest.mark.parametrize("row", ROWS, ids=lambda row: row.kind)


def in_simulator(row: Row) -> list[str]:
    """Set the button by hand before each column is read; a tick lies between two columns."""
    simulator = Simulator(machine_of(by_hand(row)))
    pressed = False
    read = []
    for number, column in enumerate(row.in_):
        if number:
            simulator.wait(1)
        if pressed is not (column == "1"):
            pressed = not pressed
            outcome = simulator.take(By(kind=StepKind.PANEL, name="in_button", to=pressed))
            assert not outcome.refused_by
            assert outcome.failure is None
        q, et = dict(simulator.state())["t.Q"], dict(simulator.state())["t.ET"]
        read.append(f"{int(q)}{et}")
    return read


def in_semantics(row: Row) -> list[str]:
    """As in the simulator, by the plain definition."""
    model = compile_machine(machine_of(by_hand(row)))
    (button,) = [i for i, v in enumerate(model.variables) if v.name == "in_button"]
    (raw,) = semantics.raw_starts(model)
    state = semantics.settle(model, raw)
    read = []
    for number, column in enumerate(row.in_):
        if number:
            later = semantics.tick(model, state)
            assert later is not None
            state = later
        wanted = model.variables[button].labels.index(column == "1")
        if state[button] != wanted:
            state = pressed(model, state, button, wanted)
        timer = model.timers[0]
        read.append(f"{semantics.evaluate(model, timer.q, state)}{semantics.evaluate(model, timer.et, state)}")
    return read


def pressed(model: Model, state: State, button: int, wanted: int) -> State:
    """Return the one state in which the button has its other value."""
    led = [after for _, after in semantics.steps(model, state) if isinstance(after, tuple) and after[button] == wanted]
    assert len(led) == 1
    return led[0]


@PICTURED
def test_the_simulator_keeps_to_the_table(row: Row) -> None:
    assert in_simulator(row) == [q + et for q, et in zip(row.q, row.et, strict=True)]


@PICTURED
def test_the_plain_semantics_keeps_to_the_table(row: Row) -> None:
    assert in_semantics(row) == [q + et for q, et in zip(row.q, row.et, strict=True)]


@PICTURED
def test_a_search_keeps_to_the_table(verify: Verify, row: Row) -> None:
    given = verify(played(row))
    for column, (q, et) in enumerate(zip(row.q, row.et, strict=True)):
        result = given.plain.of(f"C{column}")
        assert (result.verdict, result.steps, result.seconds) == ("holds", column, column)
        assert (result.end["t.Q"], result.end["t.ET"]) == (q == "1", int(et))
