"""The checked tree of good files: what each form of the language means."""

from fractions import Fraction

import pytest

from seqcheck.check.machine import (
    Act,
    Forbid,
    Interval,
    Only,
    Precedence,
    Reachable,
    Recoverable,
    Response,
    Risk,
    Section,
    SetPanel,
    Stuck,
    TimerKind,
    Until,
    Wait,
)
from seqcheck.check.typed import Literal, NumberType, Operation, Operator, Read, ReadSensor, ReadTimer, StatesType, TruthType
from seqcheck.syntax.words import TRUTHS
from tests.check.examples import PRESS, SMALL, accepted, codes, expression_of


def test_the_press_of_the_language_page_is_understood_whole() -> None:
    press = accepted(PRESS)
    assert (press.name, press.revision, press.tick_s) == ("Hand-loaded press", "A", Fraction(1, 2))
    assert [(v.name, v.section, v.starts) for v in press.variables] == [
        ("ram", Section.PART, ("top",)),
        ("gate", Section.PART, ("shut",)),
        ("parts_made", Section.PART, (0,)),
        ("estop", Section.PANEL, ("released",)),
        ("drive", Section.OUTPUT, ("off",)),
        ("gate_lock", Section.OUTPUT, ("engaged",)),
        ("ready", Section.MEMORY, ("no",)),
    ]
    assert [s.expression_text for s in press.sensors] == ["gate = shut", "ram = top", "ram = bottom"]
    settled = press.timers[0]
    assert (settled.kind, settled.pt_ticks, settled.input.text) == (TimerKind.TON, 2, "gate_shut")
    assert [p.name for p in press.commands[1].permissives] == [
        "machine is ready",
        "gate has been shut for a second",
        "ram is at the top",
    ]
    assert [r.interval for r in press.plant] == [
        Interval(earliest=0, latest=0, at_once=True, source=""),
        Interval(earliest=2, latest=4, at_once=False, source=""),
        Interval(earliest=1, latest=1, at_once=False, source=""),
        Interval(earliest=2, latest=4, at_once=False, source=""),
    ]
    assert [f.stuck for f in press.faults] == [
        Stuck(signal="gate_shut", is_sensor=True, value=True),
        Stuck(signal="drive", is_sensor=False, value="down"),
        None,
    ]
    assert press.hazards[0].risk == Risk(severity="S2", exposure="F2", avoidance="P2")
    kinds = (Reachable, Recoverable, Response, Precedence, Forbid, Only)
    assert [type(r.rule) for r in press.requirements] == list(kinds)
    assert [r.text for r in press.requirements][:2] == ["It can make a part", "It can always be freed"]
    (procedure,) = press.procedures
    assert [type(step) for step in procedure.steps] == [Act, Wait, Act, Until, Until, Act]
    assert procedure.ends_with is not None


def test_requirements_carry_their_parts() -> None:
    rules = {r.id: r.rule for r in accepted(PRESS).requirements}
    response, precedence, forbid, only = rules["R3"], rules["R4"], rules["R5"], rules["R6"]
    assert isinstance(response, Response)
    assert (response.when.text, response.within_ticks, response.then.text, response.unless) == (
        "estop = pressed",
        4,
        "ram <> moving_down",
        None,
    )
    assert isinstance(precedence, Precedence)
    assert precedence.since is not None
    assert (precedence.before.text, precedence.first.text, precedence.since.text) == (
        "ram = moving_down",
        "gate_lock = engaged",
        "gate_lock = released",
    )
    assert isinstance(forbid, Forbid)
    assert (forbid.command, forbid.during.text) == ("reset", "estop = pressed")
    assert isinstance(only, Only)
    assert (only.commands, only.makes.text) == (("start the stroke",), "drive = down")


def test_a_requirement_without_a_text_is_named_by_its_conditions() -> None:
    machine = accepted(
        SMALL
        + "commands:\n  go: {then: {drive: down}}\nrequirements:\n  R1: {forbid: go, while: hot}\n  R2: {reachable: hot}\n"
    )
    assert [r.text for r in machine.requirements] == ["forbid go, while hot", "reachable hot"]


def test_a_hazard_without_a_text_is_named_by_its_condition() -> None:
    assert accepted(SMALL + "hazards: {H1: {must not be: hot  AND wet}}\n").hazards[0].text == "hot AND wet"


@pytest.mark.parametrize(
    ("written", "kind", "starts"),
    [
        ("[shut, open]", StatesType(("shut", "open")), ("shut",)),
        ("{states: [shut, open], starts: OPEN}", StatesType(("shut", "open")), ("open",)),
        ("{states: [shut, open], starts: [open, shut]}", StatesType(("shut", "open")), ("open", "shut")),
        ("{states: [shut, open], starts: any}", StatesType(("shut", "open")), ("shut", "open")),
        ("bool", TruthType(), (False,)),
        ("Bool", TruthType(), (False,)),
        ("[FALSE, TRUE]", TruthType(), (False,)),
        ("[true, false]", TruthType(), (True,)),
        ("{states: [FALSE, TRUE], starts: any}", TruthType(), (False, True)),
        ("{starts: TRUE}", TruthType(), (True,)),
        ("{text: a label}", TruthType(), (False,)),
        ("{range: 0..3}", NumberType(0, 3), (0,)),
        ("{range: -5..5, starts: -2}", NumberType(-5, 5), (-2,)),
        ("{range: 2..4, starts: any}", NumberType(2, 4), (2, 3, 4)),
        ("{range: 1_0..2_0, starts: [1_2, 12, 13]}", NumberType(10, 20), (12, 13)),
        ("[on, off, yes, no, y, n]", StatesType(("on", "off", "yes", "no", "y", "n")), ("on",)),
    ],
)
def test_the_forms_of_a_variable(written: str, kind: object, starts: tuple[object, ...]) -> None:
    (variable,) = accepted(f"machine: Press\nparts:\n  it: {written}\n").variables
    assert (variable.type, variable.starts) == (kind, starts)


def test_labels_and_sources_are_kept() -> None:
    machine = accepted(
        """
machine: Press
parts:
  gate: {states: [shut, open], text: the gate, source: drawing 3}
sensors:
  closed: {is: gate = shut, text: the gate's switch}
memory: {m: bool}
timers:
  t: {kind: tof, in: closed, pt: T#1m30s, text: run-down, source: measured}
commands:
  go: {permissives: {it is shut: {if: closed, source: line 4}}, then: {m: TRUE}}
trips:
  t1: {when: NOT closed, then: {m: FALSE}, source: line 5}
plant:
  p1: {when: gate = open, after: {time: 3 s or more, source: assumed}, then: {gate: shut}, source: line 6}
  p2: {when: gate = open, then: {gate: shut}}
people:
  open it: {then: {gate: open}, source: line 7}
faults:
  f1: {then: {gate: open}, source: line 8}
hazards:
  H1: {must not be: gate = open, source: line 9}
requirements:
  R1: {reachable: gate = open, source: line 10}
procedures:
  one: {steps: [go], source: line 11}
  two: {steps: [open it], after: one}
"""
    )
    gate, timer, command = machine.variables[0], machine.timers[0], machine.commands[0]
    assert (gate.text, gate.source) == ("the gate", "drawing 3")
    assert machine.sensors[0].text == "the gate's switch"
    assert (timer.kind, timer.pt_ticks, timer.text, timer.source) == (TimerKind.TOF, 90, "run-down", "measured")
    assert command.permissives[0].source == "line 4"
    assert machine.trips[0].source == "line 5"
    assert machine.plant[0].interval == Interval(earliest=3, latest=None, at_once=False, source="assumed")
    assert machine.plant[1].interval == Interval(earliest=0, latest=None, at_once=False, source="")
    plant, people, faults = machine.plant[0].source, machine.people[0].source, machine.faults[0].source
    sources = [plant, people, faults, machine.hazards[0].source, machine.requirements[0].source]
    assert sources == ["line 6", "line 7", "line 8", "line 9", "line 10"]
    assert machine.people[0].condition.text == "TRUE"
    assert isinstance(machine.people[0].condition.expression, Literal)
    assert (machine.procedures[0].source, machine.procedures[1].after) == ("line 11", "one")


@pytest.mark.parametrize(
    ("after", "interval"),
    [
        ("at once", (0, 0, True)),
        ("At  Once", (0, 0, True)),
        ("0 s", (0, 0, True)),
        ("0..0 s", (0, 0, True)),
        ("0 s or more", (0, None, False)),
        ("0..2 s", (0, 4, False)),
        ("1..2 s", (2, 4, False)),
        ("1s..2s", (2, 4, False)),
        ("500 ms..2 s", (1, 4, False)),
        ("1.5 s", (3, 3, False)),
        ("1.5..2 s", (3, 4, False)),
        ("2 min", (240, 240, False)),
        ("1 h", (7200, 7200, False)),
        ("T#1m30s", (180, 180, False)),
        ("T#500ms..TIME#1s", (1, 2, False)),
    ],
)
def test_the_forms_of_an_interval(after: str, interval: tuple[int, int | None, bool]) -> None:
    machine = accepted(f"tick: 500 ms\n{SMALL}plant:\n  p: {{when: hot, after: {after}, then: {{hot: FALSE}}}}\n")
    found = machine.plant[0].interval
    assert (found.earliest, found.latest, found.at_once) == interval


def test_the_tick_is_a_second_if_not_given() -> None:
    assert accepted(SMALL).tick_s == 1


def test_empty_sections_are_fine() -> None:
    machine = accepted(SMALL + "sensors:\ntimers: {}\ncommands:\nhazards:\n")
    assert (machine.sensors, machine.timers, machine.commands, machine.hazards) == ((), (), (), ())


def test_names_take_their_declared_spelling() -> None:
    machine = accepted(
        """
machine: Press
parts: {Gate: [Shut, Open], N: {range: 0..3}}
sensors: {Is_Shut: GATE = SHUT}
memory: {M: bool}
timers: {Slow: {kind: TON, in: is_shut, pt: 1 s}}
trips: {t: {when: SLOW.q AND is_SHUT AND slow.et > 0, then: {m: true}}}
people: {p: {if: gate = open, then: {gate: shut}}}
faults: {f: {sensor: is_shut, stuck: false}}
"""
    )
    when = machine.trips[0].when.expression
    assert isinstance(when, Operation)
    timer, sensor, elapsed = when.operands
    assert isinstance(timer, ReadTimer)
    assert (timer.timer, timer.elapsed) == ("Slow", False)
    assert isinstance(sensor, ReadSensor)
    assert sensor.sensor == "Is_Shut"
    assert isinstance(elapsed, Operation)
    assert elapsed.operands[0].type == NumberType(0, 1)
    assert machine.trips[0].effects[0].target == "M"
    value = machine.people[0].effects[0].value
    assert isinstance(value, Literal)
    assert value.value == "Shut"
    assert machine.faults[0].stuck == Stuck(signal="Is_Shut", is_sensor=True, value=False)


def test_only_the_controller_reads_an_output_as_commanded() -> None:
    machine = accepted(
        SMALL
        + """
memory: {m: bool}
trips: {t: {when: drive = down AND m, then: {drive: off}}}
hazards: {H1: {must not be: drive = down AND hot}}
"""
    )

    def reads(expression: object) -> list[tuple[str, bool]]:
        if isinstance(expression, Read):
            return [(expression.variable, expression.commanded)]
        return [r for o in expression.operands for r in reads(o)] if isinstance(expression, Operation) else []

    assert reads(machine.trips[0].when.expression) == [("drive", True), ("m", False)]
    assert reads(machine.hazards[0].condition.expression) == [("drive", False), ("hot", False)]


def test_a_procedure_sets_panel_items() -> None:
    machine = accepted(
        "machine: P\npanel: {stop: [released, pressed], speed: {range: 0..3}, key: bool}\n"
        "procedures:\n  one: {steps: [{set: {Stop: PRESSED, speed: 2, key: true}}]}\n"
    )
    (step,) = machine.procedures[0].steps
    assert isinstance(step, SetPanel)
    assert step.values == (("stop", "pressed"), ("speed", 2), ("key", True))


def test_sensors_may_read_sensors_in_any_order() -> None:
    machine = accepted("machine: P\nparts: {x: bool}\nsensors: {a: b AND c, b: NOT c, c: x}\nhazards: {H: {must not be: a}}\n")
    assert [s.name for s in machine.sensors] == ["a", "b", "c"]
    assert all(s.expression.type == TruthType() for s in machine.sensors)


def test_a_sensor_named_like_a_state_is_no_circle() -> None:
    machine = accepted("machine: P\nparts: {gate: [shut, open]}\nsensors: {open: gate = open}\n")
    assert machine.sensors[0].name == "open"


def test_sensors_named_like_states_of_what_they_read_are_no_circle() -> None:
    codes_found = codes("machine: P\nparts: {gate: [a, b]}\nsensors: {a: gate = b, b: a}\n")
    assert codes_found == ["W301"]


def test_sensors_of_states() -> None:
    text = "machine: P\nparts: {gate: [shut, open], hot: bool}\nsensors: {where: 'SEL(hot, gate, there)', there: gate}\n"
    assert expression_of("where = open AND open = there", text).type == TruthType()


def test_sensors_that_choose_between_one_another_are_a_circle() -> None:
    text = "machine: P\nparts: {gate: [x, y], hot: bool}\nsensors: {a: 'SEL(hot, b, gate)', b: 'SEL(hot, a, gate)'}\n"
    assert codes(text + "hazards: {H: {must not be: a = x}}") == ["E305"]


@pytest.mark.parametrize(
    "expression",
    ["--SEL(gate, gate, open)", "gate < open", "NOT gate = open", "-gate = open", "gate AND open", "ABS(gate) = open"],
)
def test_states_where_none_belong_are_one_error(expression: str) -> None:
    assert "E402" in codes(f"{SMALL}hazards: {{H: {{must not be: '{expression}'}}}}")


# --- which names are states ---
def first_two(expression: str, before: str = SMALL) -> tuple[object, object]:
    operation = expression_of(expression, before)
    assert isinstance(operation, Operation)
    return operation.operands[0], operation.operands[1]


@pytest.mark.parametrize("text", ["gate = open", "open = gate", "SEL(hot, gate, shut) = open", "open = SEL(hot, shut, gate)"])
def test_a_name_beside_a_variable_with_such_a_state_is_the_state(text: str) -> None:
    left, right = first_two(text)
    literal = left if text.startswith("open") else right
    assert isinstance(literal, Literal)
    assert (literal.value, literal.type) == ("open", StatesType(("shut", "open")))


def test_arms_learn_from_the_other_side_and_from_one_another() -> None:
    assert expression_of("SEL(hot, shut, open) = gate").type == TruthType()
    assert expression_of("MUX(made, shut, gate, open, shut) = SEL(wet, open, gate)").type == TruthType()
    assert expression_of("SEL(hot, SEL(wet, shut, open), gate) = SEL(hot, shut, open)").type == TruthType()


SHADOWING = "machine: P\nparts: {open: [shut, closed], gate: [open, closed], other: [open, closed]}\n"


def test_a_variable_is_still_a_variable_where_no_state_is_meant() -> None:
    left, right = first_two("open = shut", SHADOWING)
    assert isinstance(left, Read)
    assert isinstance(right, Literal)
    left, right = first_two("gate = other", SHADOWING)
    assert isinstance(left, Read)
    assert isinstance(right, Read)


def test_a_variable_whose_states_include_its_own_name_is_read() -> None:
    left, right = first_two("open = shut", "machine: P\nparts: {open: [open, shut]}\n")
    assert isinstance(left, Read)
    assert isinstance(right, Literal)


def test_states_agree_only_in_equal_lists() -> None:
    text = "machine: P\nparts: {a: [x, y], b: [x, y], c: [y, x]}\nhazards: {H: {must not be: a = %s}}\n"
    assert codes(text % "b") == []
    assert codes(text % "c") == ["E401"]


def test_assignments_take_states_from_their_target() -> None:
    machine = accepted(
        SMALL + "people: {p: {then: {gate: 'SEL(hot, gate, open)', hot: 'NOT hot', made: 'MIN(made + 1, 3)'}}}\n"
    )
    gate, hot, made = machine.people[0].effects
    assert gate.value.type == StatesType(("shut", "open"))
    assert hot.value.type == TruthType()
    assert made.value.type == NumberType(1, 3)


def test_durations_in_expressions_count_ticks() -> None:
    before = f"tick: 500 ms\n{SMALL}memory: {{m: bool}}\ntimers: {{t: {{kind: TON, in: m, pt: 3 s}}}}\n"
    comparison = expression_of("t.ET < T#2s500ms", before)
    assert isinstance(comparison, Operation)
    literal = comparison.operands[1]
    assert isinstance(literal, Literal)
    assert (literal.value, comparison.operands[0].type) == (5, NumberType(0, 6))


def test_truths_compare_with_truths() -> None:
    assert expression_of("hot = wet").type == TruthType()
    assert expression_of("hot <> (made > 2)").type == TruthType()
    assert expression_of("hot XOR wet XOR TRUE").type == TruthType()


def test_chains_of_and_are_one_operation() -> None:
    operation = expression_of("hot AND wet & made > 1 AND (hot OR wet)")
    assert isinstance(operation, Operation)
    assert operation.operator is Operator.AND
    assert len(operation.operands) == 4


def test_a_thousand_terms_are_fine() -> None:
    operation = expression_of(" OR ".join(f"made = {i % 4}" for i in range(1000)))
    assert isinstance(operation, Operation)
    assert len(operation.operands) == 1000


def test_bounds_of_numbers() -> None:
    cases = {
        "made + depth": (-5, 8),
        "made - depth": (-5, 8),
        "made * depth": (-15, 15),
        "depth / made": (-5, 5),
        "depth MOD 3": (-2, 2),
        "made MOD 3": (0, 2),
        "depth ** 2": (0, 25),
        "ABS(depth)": (0, 5),
        "LIMIT(0, depth, 3)": (0, 3),
        "SEL(hot, made, 7)": (0, 7),
        "MUX(made, 1, 9, depth)": (-5, 9),
        "-depth": (-5, 5),
        "MAX(made, depth, 1)": (1, 5),
    }
    for text, (lowest, highest) in cases.items():
        comparison = expression_of(f"{text} = 0")
        assert isinstance(comparison, Operation)
        kind = comparison.operands[0].type
        assert isinstance(kind, NumberType)
        assert (text, kind.lowest <= lowest, kind.highest >= highest) == (text, True, True)
        assert kind.highest - kind.lowest <= 50


def test_a_possible_overflow_is_left_to_the_search() -> None:
    assert codes(SMALL + "people: {p: {then: {made: made + 1}}}\n") == []
    assert codes(SMALL + "hazards: {H: {must not be: 10 / made = 2}}\n") == []


def test_a_permissive_may_have_one_name_in_two_commands() -> None:
    one = "{permissives: {off: drive = off}, then: {drive: down}}"
    assert codes(f"{SMALL}commands: {{a: {one}, b: {one}}}\n") == []


def test_truth_words_are_known() -> None:
    assert TRUTHS == {"TRUE": True, "FALSE": False}
