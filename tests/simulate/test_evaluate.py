"""Expressions: values after IEC 61131-3 as this language restates it; every operand is evaluated."""

from collections.abc import Sequence

import pytest

from seqcheck.check.typed import Operator, Value
from seqcheck.simulate.errors import NoValueError
from seqcheck.simulate.evaluate import evaluate
from seqcheck.simulate.situation import Situation
from tests.simulate.build import Parts, X, asked, et, number, op, q, read, sense, sensor, states, timer, truth

MACHINE = Parts(
    variables=(states("mode", "idle busy"), number("n", -5, 5), truth("wet")),
    sensors=(sensor("busy", read("mode").is_("busy")), sensor("twice", sense("busy") & sense("busy"))),
    timers=(timer("late", "TOF", sense("busy"), 3),),
).machine


def value(expression: X) -> Value:
    situation = Situation(MACHINE, {"mode": "busy", "n": -5, "wet": True})
    return evaluate(expression.tree, situation)


@pytest.mark.parametrize(
    ("operator", "operands", "expected"),
    [
        (Operator.NOT, (True,), False),
        (Operator.NEG, (4,), -4),
        (Operator.POWER, (2, 10), 1024),
        (Operator.POWER, (0, 0), 1),
        (Operator.TIMES, (3, -4), -12),
        (Operator.DIVIDE, (7, 2), 3),
        (Operator.DIVIDE, (-7, 2), -3),
        (Operator.DIVIDE, (7, -2), -3),
        (Operator.DIVIDE, (-7, -2), 3),
        (Operator.DIVIDE, (0, -2), 0),
        (Operator.MOD, (7, 3), 1),
        (Operator.MOD, (-7, 3), -1),
        (Operator.MOD, (7, -3), 1),
        (Operator.MOD, (-7, -3), -1),
        (Operator.PLUS, (1, 2), 3),
        (Operator.MINUS, (1, 2), -1),
        (Operator.LESS, (1, 2), True),
        (Operator.LESS, (2, 2), False),
        (Operator.GREATER, (2, 1), True),
        (Operator.GREATER, (2, 2), False),
        (Operator.AT_MOST, (2, 2), True),
        (Operator.AT_MOST, (3, 2), False),
        (Operator.AT_LEAST, (2, 2), True),
        (Operator.AT_LEAST, (1, 2), False),
        (Operator.EQUAL, ("idle", "idle"), True),
        (Operator.EQUAL, ("idle", "busy"), False),
        (Operator.UNEQUAL, (1, 2), True),
        (Operator.UNEQUAL, (True, True), False),
        (Operator.AND, (True, True, True), True),
        (Operator.AND, (True, False, True), False),
        (Operator.OR, (False, False, True), True),
        (Operator.OR, (False, False), False),
        (Operator.XOR, (True, False), True),
        (Operator.XOR, (True, True), False),
        (Operator.SEL, (False, "a", "b"), "a"),
        (Operator.SEL, (True, "a", "b"), "b"),
        (Operator.MUX, (0, 10, 20, 30), 10),
        (Operator.MUX, (2, 10, 20, 30), 30),
        (Operator.MIN, (3, 1, 2), 1),
        (Operator.MAX, (3, 1, 2), 3),
        (Operator.LIMIT, (0, -4, 9), 0),
        (Operator.LIMIT, (0, 40, 9), 9),
        (Operator.LIMIT, (0, 4, 9), 4),
        (Operator.LIMIT, (9, 4, 0), 0),
        (Operator.ABS, (-4,), 4),
    ],
)
def test_operators(operator: Operator, operands: Sequence[Value], expected: Value) -> None:
    came = value(op(operator, *operands))
    assert came == expected
    assert type(came) is type(expected)


@pytest.mark.parametrize(
    ("expression", "problem"),
    [
        (op(Operator.DIVIDE, 5, 0), "5 is divided by zero"),
        (op(Operator.MOD, 5, 0), "5 MOD zero has no value"),
        (op(Operator.POWER, 2, -1), "2 is raised to the negative power -1"),
        (op(Operator.MUX, 3, 1, 2, 3), "MUX is asked for input 3, and it has inputs 0 to 2"),
        (op(Operator.MUX, -1, 1, 2, 3), "MUX is asked for input -1, and it has inputs 0 to 2"),
        (op(Operator.AND, False, op(Operator.LESS, op(Operator.DIVIDE, 1, 0), 2)), "1 is divided by zero"),
        (op(Operator.OR, True, op(Operator.LESS, op(Operator.DIVIDE, 1, 0), 2)), "1 is divided by zero"),
        (op(Operator.SEL, False, 1, op(Operator.DIVIDE, 1, 0)), "1 is divided by zero"),
        (op(Operator.MUX, 0, 1, op(Operator.DIVIDE, 1, 0)), "1 is divided by zero"),
    ],
)
def test_no_value_whatever_the_other_operands_are(expression: X, problem: str) -> None:
    with pytest.raises(NoValueError) as raised:
        value(expression)
    assert raised.value.problem == problem


def test_reads() -> None:
    assert value(read("mode")) == "busy"
    assert value(asked("n")) == -5
    assert value(sense("busy")) is True
    assert value(sense("twice")) is True
    assert value(q("late")) is False
    assert value(et("late")) == 3


def test_sensors_that_read_sensors_twice_cost_no_more_than_each_once() -> None:
    doubling = [sensor("s0", read("wet").is_(True))]
    doubling += [sensor(f"s{n}", sense(f"s{n - 1}") & sense(f"s{n - 1}")) for n in range(1, 60)]
    machine = Parts(variables=(truth("wet"),), sensors=tuple(doubling)).machine
    assert Situation(machine, {"wet": True}).sensor("s59") is True


def test_the_standards_own_example_of_precedence() -> None:
    """IEC 61131-3: A+B-C*ABS(D) with 1, 2, 3, 4 is -9 and (A+B-C)*ABS(D) is 0 (from memory)."""
    product = op(Operator.TIMES, 3, op(Operator.ABS, 4))
    assert value(op(Operator.MINUS, op(Operator.PLUS, 1, 2), product)) == -9
    total = op(Operator.MINUS, op(Operator.PLUS, 1, 2), 3)
    assert value(op(Operator.TIMES, total, op(Operator.ABS, 4))) == 0
