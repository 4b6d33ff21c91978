"""The lowering where a mistake could hide: order of steps, stuck signals as each reader sees them, timers, clocks, ranges."""

import random

import pytest

from seqcheck.compile.compile import compile_machine
from seqcheck.model import semantics
from seqcheck.model.expression import Load, Sense
from seqcheck.model.model import Assign, Model, State, VariableKind
from seqcheck.model.run import StepKind
from tests.analyse.asking import case_of, model_of, violated
from tests.outside.reading import machine_of

SECTIONS = {
    "parts": "parts: {gate: [shut, open], ram: [top, moving, bottom]}",
    "panel": "panel: {key: [out, in], speed: {range: 1..3}}",
    "outputs": "outputs: {drive: [off, on]}",
    "commands": "commands:\n  start: {then: {drive: on}}\n  stop: {then: {drive: off}}",
    "plant": "plant:\n  starts: {when: drive = on AND ram = top, after: at once, then: {ram: moving}}\n"
    "  lands: {when: ram = moving, after: 1 s, then: {ram: bottom}}\n  drifts: {when: ram = bottom, then: {ram: top}}",
    "people": "people:\n  open it: {if: gate = shut, then: {gate: open}}\n  shut it: {if: gate = open, then: {gate: shut}}",
    "faults": "faults:\n  slips: {then: {ram: bottom}}\n  sticks: {output: drive, stuck: on}",
}
STEPS = {
    "panel": ["key out", "key in", "speed 1", "speed 2", "speed 3"],
    "commands": ["start", "stop"],
    "plant": ["lands", "drifts"],
    "people": ["open it", "shut it"],
    "faults": ["slips", "sticks"],
}


def named(model: Model) -> list[str]:
    return [step.name if step.to is None else f"{step.name} {step.to}" for step in model.steps]


@pytest.mark.parametrize("seed", range(20))
def test_steps_stand_in_the_order_of_the_file_whatever_the_order_of_its_sections(seed: int) -> None:
    order = list(SECTIONS)
    random.Random(seed).shuffle(order)  # noqa: S311 - an order, no secret
    model = model_of("machine: M\n" + "\n".join(SECTIONS[name] for name in order), "sticks", "slips")
    assert named(model) == [step for name in order for step in STEPS.get(name, [])]
    assert model.faults == ("slips", "sticks")


def test_steps_on_one_line_stand_in_its_order() -> None:
    model = model_of(
        "{machine: M, people: {b: {then: {p: y}}, a: {then: {p: x}}}, panel: {s: bool}, parts: {p: [x, y]}, "
        "outputs: {o: bool}, commands: {z: {then: {o: TRUE}}, c: {then: {o: FALSE}}}}\n"
    )
    assert named(model) == ["b", "a", "s False", "s True", "z", "c"]


def test_a_rule_that_acts_at_once_is_no_step() -> None:
    model = model_of("machine: M\n" + "\n".join(SECTIONS.values()))
    assert [(reaction.name, reaction.is_trip) for reaction in model.reactions] == [("starts", False)]
    assert "starts" not in named(model)


def test_trips_come_before_rules_that_act_at_once_each_in_file_order() -> None:
    text = """
machine: M
plant:
  second: {when: p = y, after: 0 s, then: {p: x}}
  timed: {when: p = y, after: 1 s, then: {p: x}}
  third: {when: p = y, after: 0..0 s, then: {p: x}}
trips: {first: {when: o, then: {o: FALSE}}, next: {when: o, then: {o: FALSE}}}
parts: {p: [x, y]}
outputs: {o: bool}
"""
    assert [reaction.name for reaction in model_of(text).reactions] == ["first", "next", "second", "third"]


INTERVALS = {
    "none": (None, 0, None, True),
    "0 s or more": (None, 0, None, True),
    "2 s": (2, 2, 2, False),
    "1..3 s": (3, 1, 3, False),
    "2 s or more": (2, 2, None, False),
    "0..2 s": (2, 0, 2, True),
}


@pytest.mark.parametrize("after", INTERVALS)
def test_clocks(after: str) -> None:
    """*most*: where the clock stops; *earliest* and *latest*: when the rule may and must happen."""
    most, earliest, latest, ready_at_once = INTERVALS[after]
    given = "" if after == "none" else f"after: {after}, "
    model = model_of(f"machine: M\nparts: {{p: [x, y]}}\nplant: {{go: {{when: p = x, {given}then: {{p: y}}}}}}\n")
    assert [(clock.most, clock.latest) for clock in model.clocks] == ([] if most is None else [(most, latest)])
    (start,) = [semantics.settle(model, raw) for raw in semantics.raw_starts(model)]
    assert semantics.possible(model, model.steps[0], start) is ready_at_once
    state, waited = start, 0
    while not semantics.possible(model, model.steps[0], state):
        later = semantics.tick(model, state)
        assert later is not None
        state, waited = later, waited + 1
    assert waited == earliest
    while latest is not None and waited < latest:
        later = semantics.tick(model, state)
        assert later is not None
        state, waited = later, waited + 1
    assert (semantics.tick(model, state) is None) is (latest is not None)


STUCK = """
machine: M
parts: {gate: [shut, open], seen: {range: 0..9}, done: [no, yes]}
sensors:
  gate_shut: gate = shut
  gate_place: gate
  both: gate_shut AND drive = on
  running: drive = on
outputs: {drive: [off, on, fast], lamp: bool}
memory: {m: bool}
commands:
  start: {permissives: {gate is shut: gate_shut}, then: {drive: on}}
  copy: {permissives: {drive is commanded off: drive = off}, then: {m: drive = off}}
people:
  open it: {if: gate = shut, then: {gate: open}}
  see it run: {if: drive = on, then: {done: yes}}
faults:
  gate switch shut: {sensor: gate_shut, stuck: TRUE}
  gate switch open: {sensor: gate_shut, stuck: FALSE}
  place stuck: {sensor: gate_place, stuck: open}
  drive stuck on: {output: drive, stuck: on}
  drive stuck fast: {output: drive, stuck: fast, if: gate = open}
"""


class World:
    """A model that is stepped by name."""

    def __init__(self, *faults: str) -> None:
        self.model = model_of(STUCK, *faults)
        (raw,) = semantics.raw_starts(self.model)
        self.state: State = semantics.settle(self.model, raw)

    def can(self, name: str) -> bool:
        (step,) = [step for step in self.model.steps if step.name == name]
        return semantics.possible(self.model, step, self.state)

    def do(self, name: str) -> None:
        assert self.can(name)
        (step,) = [step for step in self.model.steps if step.name == name]
        self.state = semantics.take(self.model, step, self.state)

    def reads(self, sensor: str) -> bool | int | str:
        number = [one.name for one in self.model.sensors].index(sensor)
        return self.model.sensors[number].shown(semantics.evaluate(self.model, Sense(number), self.state))

    def value(self, name: str) -> bool | int | str:
        place = [one.name for one in self.model.variables].index(name)
        return self.model.variables[place].shown(self.state[place])


def test_a_stuck_sensor_reads_true_to_everyone_once_the_fault_has_occurred() -> None:
    world = World("gate switch shut")
    world.do("open it")
    assert (world.reads("gate_shut"), world.can("start")) == (False, False)
    world.do("gate switch shut")
    assert (world.reads("gate_shut"), world.can("start"), world.value("gate")) == (True, True, "open")
    world.do("start")
    assert world.reads("both") is True
    assert not world.can("gate switch shut")


def test_a_sensor_of_states_is_stuck_at_the_state_named() -> None:
    world = World("place stuck")
    assert world.reads("gate_place") == "shut"
    world.do("place stuck")
    assert world.reads("gate_place") == "open"


def test_two_faults_of_one_sensor_exclude_each_other() -> None:
    world = World("gate switch shut", "gate switch open")
    world.do("gate switch open")
    assert world.reads("gate_shut") is False
    assert not world.can("gate switch shut")


def test_a_stuck_output_acts_stuck_and_is_commanded_as_before() -> None:
    world = World("drive stuck on")
    assert not world.can("see it run")
    world.do("drive stuck on")
    assert world.value("drive") == "off"
    assert world.can("see it run")
    assert world.can("copy")
    world.do("copy")
    assert world.value("m") is True


def test_a_sensor_that_reads_an_output_reads_what_it_really_does() -> None:
    world = World("drive stuck on")
    assert world.reads("running") is False
    world.do("drive stuck on")
    assert world.reads("running") is True
    assert world.reads("both") is True


def test_of_two_values_an_output_sticks_at_the_first_to_occur() -> None:
    world = World("drive stuck on", "drive stuck fast")
    assert not world.can("drive stuck fast")
    world.do("open it")
    world.do("drive stuck fast")
    assert not world.can("drive stuck on")
    assert (world.reads("running"), world.can("see it run")) == (False, False)
    other = World("drive stuck on", "drive stuck fast")
    other.do("drive stuck on")
    other.do("open it")
    assert not other.can("drive stuck fast")
    assert other.reads("running") is True


def test_a_fault_not_under_study_has_no_step_and_no_variable() -> None:
    model = model_of(STUCK)
    assert [step for step in model.steps if step.kind is StepKind.FAULT] == []
    assert [one for one in model.variables if one.kind is VariableKind.FAULT] == []
    assert model.sensors[0].stuck == ()


def test_an_unknown_fault_is_an_error() -> None:
    with pytest.raises(KeyError):
        compile_machine(machine_of(STUCK), ["gate switch bent"])


def test_a_fault_given_twice_is_one() -> None:
    assert compile_machine(machine_of(STUCK), ["place stuck", "place stuck"]).faults == ("place stuck",)


TIMED = """
machine: M
panel: {b: bool}
parts: {p: {range: 0..9}}
timers:
  on: {kind: TON, in: b, pt: 3 s}
  late: {kind: TOF, in: b, pt: 3 s}
  pulse: {kind: TP, in: b, pt: 3 s}
"""


@pytest.mark.parametrize(
    ("name", "number", "shown"),
    [
        ("on", 0, [(0, False), (1, False), (2, False), (3, True)]),
        ("late", 1, [(0, True), (1, True), (2, True), (3, False)]),
        ("pulse", 2, [(0, False), (0, True), (1, True), (2, True), (3, False)]),
    ],
)
def test_a_timer_shows_et_and_q_for_every_value_it_keeps(name: str, number: int, shown: list[tuple[int, bool]]) -> None:
    """TP keeps 0 when idle, 1 + ET while the pulse runs and pt + 1 when it is over."""
    model = model_of(TIMED)
    timer = model.timers[number]
    variable = model.variables[timer.variable]
    assert (timer.name, variable.name, variable.lowest, variable.highest) == (name, name, 0, len(shown) - 1)
    for kept, (et, q) in enumerate(shown):
        state = [0] * len(model.variables)
        state[timer.variable] = kept
        assert (semantics.evaluate(model, timer.et, state), bool(semantics.evaluate(model, timer.q, state))) == (et, q)


def test_timers_start_idle_and_an_off_delay_starts_timed_out() -> None:
    model = model_of(TIMED)
    (start,) = [semantics.settle(model, raw) for raw in semantics.raw_starts(model)]
    shown = [(semantics.evaluate(model, t.et, start), bool(semantics.evaluate(model, t.q, start))) for t in model.timers]
    assert shown == [(0, False), (3, False), (0, False)]


def test_a_pulse_whose_input_is_true_at_the_start_begins() -> None:
    model = model_of(TIMED.replace("b: bool", "b: {states: [no, yes], starts: yes}").replace("in: b", "in: b = yes"))
    (start,) = [semantics.settle(model, raw) for raw in semantics.raw_starts(model)]
    assert [bool(semantics.evaluate(model, t.q, start)) for t in model.timers] == [False, True, True]


def program(effects: str) -> Assign:
    text = f"""
machine: M
parts: {{n: {{range: 0..3}}, wide: {{range: -5..9}}, narrow: {{range: 1..2}}, b: bool, s: [x, y], k: [x, y]}}
people: {{act: {{then: {{{effects}}}}}}}
"""
    (assign,) = model_of(text).steps[0].program
    return assign


@pytest.mark.parametrize(
    ("effects", "bounded"),
    [
        ("n: 3", True),
        ("n: narrow", True),
        ("n: narrow + 1", True),
        ("n: narrow + 2", False),
        ("n: narrow - 2", False),
        ("n: wide", False),
        ("wide: n", True),
        ("wide: -n - 2", True),
        ("wide: -n - 3", False),
        ("wide: n * n", True),
        ("wide: n * narrow + 4", False),
        ("n: 'LIMIT(0, wide, 3)'", True),
        ("n: 'LIMIT(0, wide, 4)'", False),
        ("n: 'MIN(n + 1, 3)'", True),
        ("n: (n + 1) MOD 4", True),
        ("b: n = 3", True),
        ("s: k", True),
        ("s: y", True),
        ("n: 3, wide: n + 9", False),
    ],
)
def test_bounded_is_said_only_where_no_value_can_leave_its_range(effects: str, bounded: bool) -> None:
    assert program(effects).bounded is bounded


@pytest.mark.parametrize("effects", ["n: wide", "n: n + narrow", "wide: n * n + narrow", "n: ABS(wide)"])
def test_what_is_not_bounded_is_watched(effects: str) -> None:
    text = f"""
machine: M
parts: {{n: {{range: 0..3, starts: any}}, wide: {{range: -5..9, starts: any}}, narrow: {{range: 1..2, starts: any}}}}
people: {{act: {{then: {{{effects}}}}}}}
"""
    assert [name.split(",")[0] for name in violated(case_of(text))] == ["range: act"]


def test_all_values_are_read_before_any_is_written() -> None:
    model = model_of(
        "machine: M\nparts: {a: {range: 0..3, starts: 1}, b: {range: 0..3, starts: 2}}\npeople: {swap: {then: {a: b, b: a}}}\n"
    )
    (raw,) = semantics.raw_starts(model)
    assert semantics.take(model, model.steps[0], raw) == (2, 1)


def test_names_ignore_case_everywhere() -> None:
    model = model_of(
        """
machine: M
parts: {Gate: [Shut, Open]}
sensors: {GATE_SHUT: GATE = SHUT}
outputs: {Drive: [Off, On]}
commands: {go: {permissives: {p: gate_shut}, then: {DRIVE: ON}}}
people: {act: {if: gate = shut, then: {gAtE: oPeN}}}
"""
    )
    assert [v.name for v in model.variables] == ["Gate", "Drive"]
    (raw,) = semantics.raw_starts(model)
    assert [semantics.take(model, step, raw) for step in model.steps] == [(0, 1), (1, 0)]


def test_a_panel_item_may_be_set_to_every_state_but_its_own() -> None:
    model = model_of("machine: M\npanel: {m: [a, b, c], n: {range: -1..1, starts: 0}}\n")
    (raw,) = semantics.raw_starts(model)
    possible = [(step.name, step.to) for step in model.steps if semantics.possible(model, step, raw)]
    assert possible == [("m", "b"), ("m", "c"), ("n", -1), ("n", 1)]


def test_every_combination_of_starts_is_a_start() -> None:
    model = model_of("machine: M\nparts: {a: {states: [x, y, z], starts: [z, x]}, b: {range: 0..2, starts: any}}\n")
    assert sorted(semantics.raw_starts(model)) == [(0, 0), (0, 1), (0, 2), (2, 0), (2, 1), (2, 2)]


def test_texts_of_conditions_are_in_one_line() -> None:
    model = model_of("machine: M\nparts: {a: bool, b: bool}\nhazards:\n  H1:\n    must not be: >\n      a AND\n      b\n")
    (hazard,) = model.properties
    assert getattr(hazard.rule, "must_not_be").text == "a AND b"  # noqa: B009 - the rule is a hazard


def test_a_read_of_an_output_is_of_the_command_unless_it_can_be_stuck() -> None:
    model = model_of(STUCK)
    (act,) = [step for step in model.steps if step.name == "see it run"]
    place = [one.name for one in model.variables].index("drive")
    assert Load(place) in act.guards[0].test.operands  # type: ignore[union-attr]
