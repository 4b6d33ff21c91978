"""The simulator as a whole: choices, refusals, panel, people, undo, waits, starts, hazards."""

from fractions import Fraction

import pytest
from msgspec.structs import replace

from seqcheck.check.machine import Section
from seqcheck.check.typed import Operator, Value
from seqcheck.model.run import Beyond, By, RunStep, StepKind
from seqcheck.simulate.duration import in_seconds
from seqcheck.simulate.errors import NoValueError, SetupError
from seqcheck.simulate.simulator import Choice, Simulator
from tests.simulate.build import (
    Parts,
    command,
    hazard,
    line,
    number,
    op,
    person,
    plant,
    q,
    read,
    sense,
    sensor,
    states,
    stuck,
    timer,
    trip,
    truth,
    variable,
    when,
)
from tests.simulate.press import press

WAIT = By(kind=StepKind.WAIT)


def by(kind: str, name: str, to: Value | None = None) -> By:
    return By(kind=StepKind(kind), name=name, to=to)


def test_state_is_in_the_order_of_a_runs_end() -> None:
    assert Simulator(press()).state() == (
        ("ram", "top"),
        ("gate", "shut"),
        ("parts_made", 0),
        ("estop", "released"),
        ("drive", "off"),
        ("gate_lock", "engaged"),
        ("ready", "no"),
        ("gate_shut", True),
        ("at_top", True),
        ("at_bottom", False),
        ("settled.Q", False),
        ("settled.ET", 0),
    )


def test_sections_are_listed_in_one_order_whatever_the_file_has_first() -> None:
    parts = Parts(variables=(truth("m", Section.MEMORY), truth("p"), truth("o", Section.OUTPUT), truth("s", Section.PANEL)))
    simulator = Simulator(parts.machine)
    assert [name for name, _ in simulator.state()] == ["p", "s", "o", "m"]
    assert [name for name, _ in simulator.timeline().start] == ["p", "s", "o", "m"]


def test_choices_are_in_file_order_and_waiting_is_last() -> None:
    parts = Parts(
        variables=(replace(states("mode", "a b c", Section.PANEL), span=line(9)), number("n", 0, 1)),
        people=(replace(person("pull", True, {}), span=line(3)),),
        commands=(replace(command("go", {}, {}), span=line(12)),),
        plant=(replace(plant("drip", True, (0, None), {}), span=line(5)), plant("flow", True, (0, 0), {})),
        faults=(replace(stuck("welded", "n", 1, is_sensor=False), span=line(1)),),
    )
    simulator = Simulator(parts.machine)
    expected = (
        by("fault", "welded"),
        by("person", "pull"),
        by("plant", "drip"),
        by("panel", "mode", "b"),
        by("panel", "mode", "c"),
        by("command", "go"),
        WAIT,
    )
    assert tuple(choice.by for choice in simulator.choices()) == expected
    simulator.take(by("panel", "mode", "b"))
    assert [choice.by.to for choice in simulator.choices() if choice.by.kind is StepKind.PANEL] == ["a", "c"]


def test_a_refused_command_names_its_failing_permissives_and_changes_nothing() -> None:
    simulator = Simulator(press())
    before = (simulator.state(), simulator.timeline())
    outcome = simulator.take(by("command", "start the stroke"))
    assert outcome.refused_by == ("machine is ready", "gate has been shut for a second")
    assert (simulator.state(), simulator.timeline()) == before
    choice = next(each for each in simulator.choices() if each.by.name == "start the stroke")
    assert choice == Choice(by=choice.by, possible=False, refused_by=outcome.refused_by)


@pytest.mark.parametrize(
    ("step", "reason"),
    [
        (by("person", "shut the gate"), "its condition does not hold: gate = open"),
        (by("person", "climb in"), "the file has no person named climb in"),
        (by("command", "Reset"), "the file has no command named Reset"),
        (by("plant", "rust"), "the file has no plant named rust"),
        (by("fault", "rust"), "the file has no fault named rust"),
        (by("panel", "drive", "up"), "the file has no panel named drive"),
        (by("panel", "estop", "sideways"), "estop has no value sideways"),
        (by("panel", "estop"), "estop has no value None"),
        (by("panel", "estop", "released"), "estop is released already"),
    ],
)
def test_refusals(step: By, reason: str) -> None:
    assert Simulator(press()).take(step).refused_by == (reason,)


def test_a_panel_item_goes_from_any_value_to_any_other() -> None:
    parts = Parts(
        variables=(states("mode", "a b c", Section.PANEL), number("speed", 1, 3, Section.PANEL), truth("on", Section.PANEL))
    )
    simulator = Simulator(parts.machine)
    for name, to in (("mode", "c"), ("mode", "b"), ("speed", 3), ("speed", 1), ("on", True), ("on", False)):
        assert simulator.take(by("panel", name, to)).changes == ((name, to),)
    assert simulator.take(by("panel", "speed", 4)).refused_by == ("speed has no value 4",)
    assert simulator.take(by("panel", "on", 1)).refused_by == ("on has no value 1",)


def test_undo_takes_back_one_step_or_one_wait() -> None:
    simulator = Simulator(press())
    assert simulator.undo() is False
    seen = [(simulator.state(), simulator.timeline(), simulator.elapsed_ticks, simulator.occurred, simulator.choices())]
    for step in (by("command", "reset"), WAIT, by("fault", "drive fails to stop"), by("panel", "estop", "pressed")):
        simulator.take(step)
        seen.append((simulator.state(), simulator.timeline(), simulator.elapsed_ticks, simulator.occurred, simulator.choices()))
    simulator.wait(3)
    for expected in reversed(seen):
        assert simulator.undo() is True
        now = (simulator.state(), simulator.timeline(), simulator.elapsed_ticks, simulator.occurred, simulator.choices())
        assert now == expected
    assert simulator.undo() is False


def test_a_wait_is_told_moment_by_moment() -> None:
    simulator = Simulator(press())
    simulator.wait(1)
    outcome = simulator.wait(4)
    assert outcome.ticks == 4
    assert outcome.changes == (("settled.Q", True),)
    assert outcome.steps == (RunStep(by=WAIT, ticks=1, changes=(("settled.Q", True),)), RunStep(by=WAIT, ticks=3))
    assert simulator.timeline().steps == (RunStep(by=WAIT, ticks=2, changes=(("settled.Q", True),)), RunStep(by=WAIT, ticks=3))


def test_a_wait_of_nothing_does_nothing() -> None:
    simulator = Simulator(press())
    assert simulator.wait(0).ticks == 0
    assert simulator.undo() is False


def test_a_tick_that_fails_is_not_taken() -> None:
    parts = Parts(
        variables=(truth("dry", Section.PANEL), number("level", 0, 1, Section.MEMORY)),
        timers=(timer("t", "TON", ~read("dry"), 3),),
        trips=(trip("spills", q("t"), {"level": 2}),),
    )
    simulator = Simulator(parts.machine)
    outcome = simulator.wait(9)
    problem = "level would become 2, and its range is 0..1"
    assert (outcome.ticks, outcome.failure) == (2, Beyond(rule="spills", variable="level", problem=problem))
    assert (simulator.elapsed_ticks, simulator.value("t.ET")) == (2, 2)


def test_starts() -> None:
    kind = number("level", 0, 9).type
    level = variable("level", kind, Section.PART, (3, 5))
    parts = Parts(variables=(level, truth("wet")))
    assert Simulator(parts.machine).value("level") == 3
    simulator = Simulator(parts.machine, start={"level": 5})
    assert simulator.value("level") == 5
    assert simulator.timeline().start == (("level", 5), ("wet", False))
    with pytest.raises(SetupError, match=r"level can't start as 4; it starts as one of: 3, 5"):
        Simulator(parts.machine, start={"level": 4})
    with pytest.raises(SetupError, match="wet can't start as 0"):
        Simulator(parts.machine, start={"wet": 0})
    with pytest.raises(SetupError, match="named lid"):
        Simulator(parts.machine, start={"lid": "open"})


def test_a_start_settles_first() -> None:
    parts = Parts(variables=(truth("lit", Section.OUTPUT),), trips=(trip("light", ~read("lit"), {"lit": True}),))
    simulator = Simulator(parts.machine)
    assert simulator.value("lit") is True
    assert simulator.acted_at_start == ("light",)
    assert simulator.timeline().start == (("lit", False),)


def test_hazards_and_conditions() -> None:
    above = read("n") > 0
    odd = op(Operator.DIVIDE, 4, read("n")) > 1
    parts = Parts(
        variables=(number("n", 0, 5, Section.PANEL),),
        hazards=(hazard("H1", "above", above), hazard("H2", "odd", odd)),
    )
    simulator = Simulator(parts.machine)
    assert simulator.hazards() == ()
    assert [(each.id, problem) for each, problem in simulator.unjudged()] == [("H2", "4 is divided by zero")]
    with pytest.raises(NoValueError):
        simulator.holds(when(odd))
    simulator.take(by("panel", "n", 2))
    assert [each.id for each in simulator.hazards()] == ["H1", "H2"]
    assert simulator.unjudged() == ()
    assert simulator.holds(when(above)) is True


def test_a_sensor_without_a_value_is_left_out_and_fails_who_reads_it() -> None:
    parts = Parts(
        variables=(number("n", 0, 5, Section.PANEL), truth("ok", Section.OUTPUT)),
        sensors=(sensor("ratio", op(Operator.DIVIDE, 4, read("n"))),),
        commands=(command("go", {"there is enough": sense("ratio") > 1, "never": op(Operator.NOT, True)}, {"ok": True}),),
    )
    simulator = Simulator(parts.machine)
    assert "ratio" not in dict(simulator.state())
    beyond = Beyond(rule="go", variable=None, problem="4 is divided by zero")
    assert simulator.take(by("command", "go")).failure == beyond
    assert simulator.take(by("panel", "n", 2)).changes == (("n", 2), ("ratio", 2))
    assert simulator.take(by("command", "go")).refused_by == ("never",)
    with pytest.raises(KeyError):
        simulator.value("nothing")


def test_an_accepted_command_that_changes_nothing_is_a_step_of_the_run() -> None:
    simulator = Simulator(press())
    simulator.take(by("command", "reset"))
    outcome = simulator.take(by("command", "reset"))
    assert (outcome.changes, outcome.refused_by) == ((), ())
    assert simulator.timeline().step_count == 2


@pytest.mark.parametrize(
    ("ticks", "tick_s", "expected"),
    [
        (0, Fraction(1), "0 s"),
        (1, Fraction(1, 2), "0.5 s"),
        (20, Fraction(1), "20 s"),
        (3, Fraction(1, 1000), "0.003 s"),
        (1, Fraction(1, 3), "0.333333 s"),
        (100, Fraction(10), "1000 s"),
    ],
)
def test_in_seconds(ticks: int, tick_s: Fraction, expected: str) -> None:
    assert in_seconds(ticks, tick_s) == expected
