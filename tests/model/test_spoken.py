"""Conditions and values said in words: short comparisons as people say them, all else as Structured Text."""

import pytest

from seqcheck.compile.compile import compile_machine
from seqcheck.model.expression import Const
from seqcheck.model.model import condition_of
from seqcheck.model.wording import spoken, wording
from tests.outside.reading import machine_of

MACHINE = """
machine: M
tick: 1 s
parts:
  main_door: {{states: [shut, half_open, open]}}
  level: {{range: -3..9}}
  wet: bool
  too_hot: bool
sensors:
  is_shut: main_door = shut
  oil: level
  place: main_door
outputs: {{lamp_on: [dark, lit]}}
timers: {{on_t: {{kind: TON, in: is_shut, pt: 2 s}}}}
faults: {{lamp stuck: {{output: lamp_on, stuck: lit}}}}
hazards:
  H1:
    must not be: "{condition}"
"""


def said(condition: str, *faults: str) -> str:
    model = compile_machine(machine_of(MACHINE.format(condition=condition)), faults)
    return spoken(model, condition_of(model.properties[0].rule).test)


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("main_door = half_open", "main door is half open"),
        ("main_door <> shut", "main door is not shut"),
        ("level < 3", "level is less than 3"),
        ("level > -2", "level is more than -2"),
        ("oil <= 3", "oil is at most 3"),
        ("oil >= level", "oil is at least level"),
        ("too_hot = TRUE", "too hot is TRUE"),
        ("wet AND is_shut", "wet and is shut"),
        ("wet OR too_hot", "wet or too hot"),
        ("too_hot", "too hot is true"),
        ("NOT too_hot", "too hot is false"),
        ("NOT is_shut", "is shut is false"),
        ("is_shut", "is shut is true"),
        ("lamp_on = lit", "lamp on is lit"),
        ("level + 1 > 2", "level + 1 > 2"),
        ("NOT (wet OR too_hot)", "NOT (wet OR too_hot)"),
        ("on_t.Q", "on_t.Q"),
        ("NOT on_t.Q", "NOT on_t.Q"),
        ("on_t.ET > 1", "on_t.ET > 1"),
        ("wet XOR too_hot", "wet XOR too_hot"),
        ("wet AND on_t.Q", "wet AND on_t.Q"),
        ("wet AND NOT too_hot", "wet AND NOT too_hot"),
    ],
)
def test_conditions(written: str, words: str) -> None:
    assert said(written) == words


def test_an_output_that_may_be_stuck_is_said_by_its_name() -> None:
    assert said("lamp_on = lit", "lamp stuck") == "lamp on is lit"
    assert said("lamp_on <> dark", "lamp stuck") == "lamp on is not dark"


@pytest.mark.parametrize(
    "condition",
    [
        "SEL(wet, is_shut, TRUE)",
        "SEL(wet, TRUE, is_shut)",
        "(wet AND is_shut) = TRUE",
        "FALSE = (level < 2)",
        "SEL(wet, is_shut, SEL(too_hot, TRUE, wet))",
        "MUX(level, wet, FALSE, is_shut)",
    ],
)
def test_a_truth_written_out_stays_a_truth(condition: str) -> None:
    model = compile_machine(machine_of(MACHINE.format(condition=condition)))
    worded = wording(model, condition_of(model.properties[0].rule).test)
    assert worded.replace("(level < 2)", "level < 2") == condition.replace("(level < 2)", "level < 2")


def test_a_constant_is_said_as_written() -> None:
    model = compile_machine(machine_of("machine: M\nparts: {a: bool}\n"))
    assert spoken(model, Const(1)) == "1"


def test_values_are_shown_as_the_file_names_them() -> None:
    model = compile_machine(machine_of(MACHINE.format(condition="wet")))
    shown = {variable.name: variable.shown(2 if variable.highest > 1 else 1) for variable in model.variables}
    assert (shown["main_door"], shown["level"], shown["wet"], shown["lamp_on"]) == ("open", 2, True, "lit")
    assert [str(sensor.shown(1)) for sensor in model.sensors] == ["True", "1", "half_open"]
