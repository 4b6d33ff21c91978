"""Plant rules and their clocks: from when to when they may happen, and when time can't pass."""

import pytest

from seqcheck.check.machine import Section
from seqcheck.check.typed import Operator
from seqcheck.model.run import Beyond, By, RunStep, StepKind
from seqcheck.simulate.simulator import Simulator
from tests.simulate.build import Parts, asked, number, op, plant, read, states, trip, truth

RULE = By(kind=StepKind.PLANT, name="moves")
WAIT = By(kind=StepKind.WAIT)
GO = truth("go", Section.PANEL)


def panel(*, to: bool) -> By:
    return By(kind=StepKind.PANEL, name="go", to=to)


def one_rule(after: tuple[int, int | None]) -> Simulator:
    moves = plant("moves", read("go"), after, {"count": read("count") + 1})
    return Simulator(Parts(variables=(number("count", 0, 9), GO), plant=(moves,)).machine)


def may_happen(simulator: Simulator) -> bool:
    return next(choice for choice in simulator.choices() if choice.by == RULE).possible


def test_from_earliest_to_latest() -> None:
    simulator = one_rule((2, 3))
    assert simulator.take(RULE).refused_by == ("its condition does not hold: go",)
    simulator.take(panel(to=True))
    assert simulator.take(RULE).refused_by == ("it may happen in 2 s at the earliest",)
    simulator.wait(1)
    assert simulator.take(RULE).refused_by == ("it may happen in 1 s at the earliest",)
    simulator.wait(1)
    assert may_happen(simulator)
    outcome = simulator.wait(5)
    assert (outcome.ticks, outcome.refused_by) == (1, ("moves must happen first",))
    assert simulator.take(WAIT).refused_by == ("moves must happen first",)
    assert simulator.take(RULE).changes == (("count", 1),)
    assert not may_happen(simulator)
    assert simulator.wait(2).ticks == 2
    assert may_happen(simulator)


def test_no_latest() -> None:
    simulator = one_rule((2, None))
    simulator.take(panel(to=True))
    assert simulator.wait(1).ticks == 1
    assert not may_happen(simulator)
    assert simulator.wait(1000).ticks == 1000
    assert may_happen(simulator)


def test_at_any_time_or_never() -> None:
    simulator = one_rule((0, None))
    assert not may_happen(simulator)
    simulator.take(panel(to=True))
    assert may_happen(simulator)
    assert simulator.take(RULE).changes == (("count", 1),)
    assert may_happen(simulator)
    assert simulator.wait(7).ticks == 7


def test_from_zero_with_a_latest() -> None:
    simulator = one_rule((0, 1))
    simulator.take(panel(to=True))
    assert may_happen(simulator)
    assert simulator.wait(4).ticks == 1
    assert simulator.take(RULE).refused_by == ()
    assert simulator.wait(4).ticks == 1


def test_a_break_in_a_settled_state_starts_the_clock_anew() -> None:
    simulator = one_rule((2, 3))
    simulator.take(panel(to=True))
    simulator.wait(1)
    simulator.take(panel(to=False))
    simulator.take(panel(to=True))
    simulator.wait(1)
    assert not may_happen(simulator)
    simulator.wait(1)
    assert may_happen(simulator)


def test_a_break_only_inside_settling_is_no_break() -> None:
    parts = Parts(
        variables=(states("valve", "open shut"), GO, states("drive", "on off", Section.OUTPUT)),
        trips=(trip("trips", read("go") & asked("drive").is_("on"), {"drive": "off"}),),
        plant=(
            plant("moves", read("drive").is_("on"), (2, 2), {"valve": "shut"}),
            plant("recovers", read("drive").is_("off") & read("go"), (0, 0), {"valve": "open"}),
        ),
    )
    broken = Simulator(parts.machine)
    broken.wait(1)
    broken.take(panel(to=True))
    assert not may_happen(broken)
    passing = Parts(
        variables=(truth("wet"), GO, number("count", 0, 9)),
        plant=(
            plant("moves", ~read("wet"), (2, 2), {"count": 1}),
            plant("wets", read("go") & read("count").is_(0), (0, 0), {"wet": True, "count": 2}),
            plant("dries", read("wet"), (0, 0), {"wet": False}),
        ),
    )
    simulator = Simulator(passing.machine)
    simulator.wait(1)
    assert simulator.take(panel(to=True)).acted == ("wets", "dries")
    simulator.wait(1)
    assert may_happen(simulator)


def test_at_once_rules_are_no_steps() -> None:
    simulator = one_rule((0, 0))
    assert all(choice.by != RULE for choice in simulator.choices())
    assert simulator.take(RULE).refused_by == ("it happens at once and by itself, while the machine settles",)


def test_a_rule_that_ends_its_own_condition_by_a_trip() -> None:
    """Waiting is stopped by any rule at its latest; all of them are named."""
    parts = Parts(
        variables=(number("count", 0, 9), GO),
        plant=(plant("one", read("go"), (1, 2), {"count": 1}), plant("two", read("go"), (2, 2), {"count": 2})),
    )
    simulator = Simulator(parts.machine)
    simulator.take(panel(to=True))
    assert simulator.wait(9).refused_by == ("one must happen first", "two must happen first")


@pytest.mark.parametrize(("after", "elsewhere"), [((0, None), "moves"), ((3, None), "moves")])
def test_a_condition_without_a_value(after: tuple[int, int | None], elsewhere: str) -> None:
    """Without a clock it fails when it is tried; with one, in the step whose end it can't be judged in."""
    moves = plant("moves", op(Operator.DIVIDE, 1, read("count")) > 5, after, {"count": 1})
    count = number("count", 0, 1)
    parts = Parts(variables=(count, GO), plant=(plant("spoils", read("go"), (0, 0), {"count": 0}), moves))
    simulator = Simulator(parts.machine)
    beyond = Beyond(rule=elsewhere, variable=None, problem="1 is divided by zero")
    if after == (0, None):
        assert simulator.failure is None
        choice = next(each for each in simulator.choices() if each.by == RULE)
        assert (choice.possible, choice.failure) == (True, beyond)
        assert simulator.take(RULE).failure == beyond
    else:
        assert simulator.failure == beyond


def test_long_waits_are_merged_and_cut_where_something_happens() -> None:
    simulator = one_rule((3, None))
    simulator.take(panel(to=True))
    simulator.wait(2)
    simulator.wait(10**9)
    assert simulator.timeline().steps[1:] == (RunStep(by=WAIT, ticks=10**9 + 2),)
    assert simulator.elapsed_ticks == 10**9 + 2
    assert simulator.timeline().tick_count == 10**9 + 2


def test_a_stretch_of_waiting_ends_where_something_acted_though_nothing_changed() -> None:
    """Two trips that override each other act anew whenever the machine settles."""
    parts = Parts(
        variables=(number("count", 1, 2, Section.MEMORY), GO),
        trips=(trip("one", read("go"), {"count": 2}), trip("two", read("go"), {"count": 1})),
    )
    simulator = Simulator(parts.machine)
    simulator.take(panel(to=True))
    simulator.wait(2)
    each_tick = RunStep(by=WAIT, ticks=1, acted=("one", "two"))
    assert simulator.timeline().steps[1:] == (each_tick, each_tick)
