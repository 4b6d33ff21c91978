"""Settling: rounds, who acts, who wins, never coming to rest, leaving a range."""

import pytest

from seqcheck.check.machine import Section
from seqcheck.check.typed import Operator
from seqcheck.model.run import Beyond, By, Endless, StepKind
from seqcheck.simulate import settle
from seqcheck.simulate.simulator import Simulator
from tests.simulate.build import (
    Parts,
    asked,
    command,
    hazard,
    number,
    op,
    plant,
    read,
    sense,
    sensor,
    states,
    timer,
    trip,
    truth,
)

GO = By(kind=StepKind.COMMAND, name="go")
LAMP = states("lamp", "off on", Section.OUTPUT)
COUNT = number("count", 0, 3, Section.MEMORY)
GO_ON = command("go", {}, {"lamp": "on"})
IS_ON = asked("lamp").is_("on")


def test_trips_act_in_file_order_each_seeing_the_ones_before() -> None:
    parts = Parts(
        variables=(LAMP, COUNT),
        commands=(GO_ON,),
        trips=(
            trip("first", IS_ON & asked("count").is_(0), {"count": 1}),
            trip("second", asked("count").is_(1), {"count": 2}),
            trip("third", asked("count").is_(3), {"lamp": "off"}),
            trip("last", asked("count").is_(2), {"count": 3}),
        ),
    )
    outcome = Simulator(parts.machine).take(GO)
    assert outcome.acted == ("first", "second", "last", "third")
    assert outcome.changes == (("count", 3),)


def test_a_trip_that_changes_nothing_has_not_acted() -> None:
    parts = Parts(variables=(LAMP, COUNT), commands=(GO_ON,), trips=(trip("idle", IS_ON, {"count": 0}),))
    assert Simulator(parts.machine).take(GO).acted == ()


def test_all_values_are_read_before_any_is_written() -> None:
    swap = command("go", {}, {"a": asked("b"), "b": asked("a")})
    parts = Parts(variables=(states("a", "x y", Section.MEMORY), states("b", "y x", Section.MEMORY)), commands=(swap,))
    assert Simulator(parts.machine).take(GO).changes == (("a", "y"), ("b", "x"))


def test_trips_win_over_commands() -> None:
    parts = Parts(variables=(LAMP,), commands=(GO_ON,), trips=(trip("never lit", IS_ON, {"lamp": "off"}),))
    outcome = Simulator(parts.machine).take(GO)
    assert (outcome.changes, outcome.acted, outcome.failure) == ((), ("never lit",), None)


def test_two_trips_that_override_each_other_come_to_rest_and_the_later_wins() -> None:
    parts = Parts(
        variables=(LAMP, COUNT),
        commands=(GO_ON,),
        trips=(trip("one", IS_ON, {"count": 1}), trip("two", IS_ON, {"count": 2})),
    )
    simulator = Simulator(parts.machine)
    outcome = simulator.take(GO)
    assert (outcome.failure, outcome.acted) == (None, ("one", "two"))
    assert simulator.value("count") == 2


def test_trips_before_at_once_rules_whatever_the_order_in_the_file() -> None:
    parts = Parts(
        variables=(LAMP, states("valve", "shut open")),
        commands=(GO_ON,),
        plant=(plant("opens", read("lamp").is_("on"), (0, 0), {"valve": "open"}),),
        trips=(trip("off again", IS_ON, {"lamp": "off"}),),
    )
    simulator = Simulator(parts.machine)
    assert simulator.take(GO).acted == ("off again",)
    assert simulator.value("valve") == "shut"


def test_what_holds_only_in_passing_is_no_state() -> None:
    parts = Parts(
        variables=(LAMP, states("valve", "shut open")),
        commands=(GO_ON,),
        plant=(
            plant("opens", read("lamp").is_("on") & read("valve").is_("shut"), (0, 0), {"valve": "open"}),
            plant("shuts", read("valve").is_("open"), (0, 0), {"valve": "shut"}),
        ),
        hazards=(hazard("H", "valve open", read("valve").is_("open")),),
    )
    simulator = Simulator(parts.machine)
    outcome = simulator.take(GO)
    assert outcome.acted == ("opens", "shuts")
    assert outcome.changes == (("lamp", "on"),)
    assert simulator.hazards() == ()


def test_settling_that_never_ends_names_those_that_chase_each_other_in_file_order() -> None:
    parts = Parts(
        variables=(LAMP, COUNT, states("valve", "shut open")),
        commands=(GO_ON,),
        plant=(
            plant("shuts", asked("count").is_(1) & read("valve").is_("open"), (0, 0), {"valve": "shut"}),
            plant("stays", read("valve").is_("shut") & read("lamp").is_("off"), (0, 0), {"valve": "shut"}),
        ),
        trips=(
            trip("once", IS_ON & asked("count").is_(0), {"count": 1}),
            trip("out", asked("count").is_(1), {"lamp": "off", "count": 2}),
            trip("idle", IS_ON, {"lamp": "on"}),
            trip("back", asked("count").is_(3), {"count": 1}),
            trip("on", asked("count").is_(2), {"count": 3}),
        ),
    )
    simulator = Simulator(parts.machine)
    before = simulator.state()
    assert simulator.take(GO).failure == Endless(names=("out", "back", "on"))
    assert simulator.state() == before
    assert simulator.timeline().steps == ()


def test_an_at_once_rule_and_a_trip_can_chase_each_other() -> None:
    """Named are trips first, then at-once rules, whatever the order in the file."""
    parts = Parts(
        variables=(LAMP, states("float", "low high")),
        sensors=(sensor("is_high", read("float").is_("high")),),
        commands=(GO_ON,),
        plant=(
            plant("rises", read("lamp").is_("on"), (0, 0), {"float": "high"}),
            plant("sinks", read("lamp").is_("off"), (0, 0), {"float": "low"}),
        ),
        trips=(trip("too high", sense("is_high"), {"lamp": "off"}), trip("too low", ~sense("is_high"), {"lamp": "on"})),
    )
    simulator = Simulator(parts.machine)
    assert simulator.failure == Endless(names=("too high", "too low", "rises", "sinks"))
    assert simulator.choices() == ()
    assert simulator.take(GO).refused_by == ("the machine does not come through its start",)
    assert simulator.wait(3).refused_by == ("the machine does not come through its start",)
    assert simulator.timeline().failure == simulator.failure


def test_an_assignment_that_leaves_the_range_fails_at_once_even_if_a_later_trip_would_mend_it() -> None:
    parts = Parts(
        variables=(LAMP, COUNT),
        commands=(GO_ON,),
        trips=(trip("up", IS_ON, {"count": asked("count") + 4}), trip("mend", IS_ON, {"count": 0})),
    )
    simulator = Simulator(parts.machine)
    before = simulator.state()
    outcome = simulator.take(GO)
    problem = "count would become 4, and its range is 0..3"
    assert outcome.failure == Beyond(rule="up", variable="count", problem=problem)
    assert simulator.state() == before


def test_a_value_of_other_states_is_beyond() -> None:
    both = (states("a", "x y", Section.MEMORY), states("b", "z y", Section.MEMORY))
    parts = Parts(variables=both, commands=(command("go", {}, {"a": asked("b")}),))
    failure = Simulator(parts.machine).take(GO).failure
    assert failure == Beyond(rule="go", variable="a", problem="a would become z, and that is none of its states")


@pytest.mark.parametrize(
    ("parts", "rule"),
    [
        (Parts(trips=(trip("divides", asked("count").is_(1) & (op(Operator.DIVIDE, 1, read("zero")) > 0), {}),)), "divides"),
        (Parts(plant=(plant("divides", op(Operator.MOD, 1, read("zero")) > 0, (0, 0), {}),)), "divides"),
        (Parts(plant=(plant("clocked", op(Operator.DIVIDE, 1, read("zero")) > 0, (1, 1), {}),)), "clocked"),
        (Parts(timers=(timer("t", "TON", op(Operator.DIVIDE, 1, read("zero")) > 0, 1),)), "t"),
    ],
)
def test_division_by_zero_is_the_failure_of_who_divides(parts: Parts, rule: str) -> None:
    whole = Parts(
        variables=(COUNT, number("zero", 0, 1)),
        commands=(command("go", {}, {"count": 1}),),
        trips=parts.trips,
        plant=parts.plant,
        timers=parts.timers,
    )
    failure = Simulator(whole.machine).failure
    assert isinstance(failure, Beyond)
    assert (failure.rule, failure.variable) == (rule, None)


def test_so_many_rounds_count_as_never_ending(monkeypatch: pytest.MonkeyPatch) -> None:
    parts = Parts(
        variables=(truth("run", Section.MEMORY), number("count", 0, 50, Section.MEMORY)),
        commands=(command("go", {}, {"run": True}),),
        trips=(trip("up", asked("run") & (asked("count") < 50), {"count": asked("count") + 1}),),
    )
    monkeypatch.setattr(settle, "MOST_ROUNDS", 51)
    assert Simulator(parts.machine).take(GO).failure is None
    monkeypatch.setattr(settle, "MOST_ROUNDS", 50)
    assert Simulator(parts.machine).take(GO).failure == Endless(names=("up",))
