"""Faults: stuck sensors, stuck outputs, effects on parts; once each, one stuck fault a signal."""

import pytest

from seqcheck.check.machine import Section
from seqcheck.model.run import By, StepKind
from seqcheck.simulate.errors import SetupError
from seqcheck.simulate.simulator import Simulator
from tests.simulate.build import Parts, asked, command, plant, read, sense, sensor, states, stuck, trip, upset


def fault(name: str) -> By:
    return By(kind=StepKind.FAULT, name=name)


START = By(kind=StepKind.COMMAND, name="start")
MACHINE = Parts(
    variables=(
        states("cover", "shut open"),
        states("rotor", "still turning"),
        states("motor", "off on", Section.OUTPUT),
        states("lamp", "dark lit", Section.OUTPUT),
    ),
    sensors=(sensor("cover_shut", read("cover").is_("shut")),),
    commands=(command("start", {"cover is shut": sense("cover_shut")}, {"motor": "on"}),),
    trips=(trip("motor lamp", asked("motor").is_("on"), {"lamp": "lit"}),),
    plant=(plant("runs up", read("motor").is_("on"), (0, 0), {"rotor": "turning"}),),
    faults=(
        stuck("reads shut", "cover_shut", True, is_sensor=True),
        stuck("reads open", "cover_shut", False, is_sensor=True),
        stuck("motor welded", "motor", "on", is_sensor=False, condition=read("cover").is_("open")),
        upset("hinge breaks", read("cover").is_("shut"), {"cover": "open"}),
    ),
).machine


def test_a_stuck_sensor_reads_the_stuck_value_from_then_on() -> None:
    simulator = Simulator(MACHINE)
    outcome = simulator.take(fault("reads open"))
    assert outcome.changes == (("cover_shut", False),)
    assert simulator.take(START).refused_by == ("cover is shut",)
    assert simulator.occurred == ("reads open",)


def test_a_stuck_output_does_the_stuck_value_and_is_commanded_as_before() -> None:
    simulator = Simulator(MACHINE)
    assert simulator.take(fault("motor welded")).refused_by == ("its condition does not hold: cover = open",)
    simulator.take(fault("hinge breaks"))
    outcome = simulator.take(fault("motor welded"))
    assert outcome.changes == (("rotor", "turning"),)
    assert outcome.acted == ("runs up",)
    assert (simulator.value("motor"), simulator.value("lamp")) == ("off", "dark")


def test_each_fault_occurs_once_and_one_at_a_time_holds_a_signal() -> None:
    simulator = Simulator(MACHINE)
    simulator.take(fault("reads shut"))
    assert simulator.take(fault("reads shut")).refused_by == ("it has occurred already",)
    assert simulator.take(fault("reads open")).refused_by == ("cover_shut is stuck already",)
    assert simulator.take(fault("hinge breaks")).changes == (("cover", "open"),)
    assert simulator.take(START).refused_by == ()


def test_only_the_faults_under_study_occur() -> None:
    simulator = Simulator(MACHINE, faults=["reads open"])
    assert [choice.by.name for choice in simulator.choices() if choice.by.kind is StepKind.FAULT] == ["reads open"]
    assert simulator.take(fault("reads shut")).refused_by == ("it is not among the faults under study",)
    assert simulator.timeline().faults == ("reads open",)
    assert Simulator(MACHINE, faults=()).faults == ()
    with pytest.raises(SetupError, match="the file has no fault named nothing"):
        Simulator(MACHINE, faults=["nothing"])


def test_the_order_in_which_faults_occur_does_not_show() -> None:
    one, other = Simulator(MACHINE), Simulator(MACHINE)
    for name in ("reads shut", "hinge breaks"):
        one.take(fault(name))
    for name in ("hinge breaks", "reads shut"):
        other.take(fault(name))
    assert one.occurred == other.occurred == ("reads shut", "hinge breaks")
    assert one.state() == other.state()
