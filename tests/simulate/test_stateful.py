"""The simulator driven at random: undo restores exactly, refusals change nothing, the run replays, values stay declared."""

import random
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from seqcheck.check.check import check
from seqcheck.check.machine import Machine, Section
from seqcheck.check.typed import Operator
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.model.run import By, StepKind
from seqcheck.simulate import recording
from seqcheck.simulate.acting import values_of
from seqcheck.simulate.replay import replay
from seqcheck.simulate.session import Session
from seqcheck.simulate.simulator import Choice, Simulator
from seqcheck.simulate.situation import Snapshot
from seqcheck.syntax.read import read as read_file
from tests.effort import examples
from tests.simulate.build import (
    Parts,
    asked,
    command,
    et,
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
    upset,
)
from tests.simulate.press import press

WAIT = By(kind=StepKind.WAIT)


def troubled() -> Machine:
    """Return a machine in which steps fail in every way there is: range, endless settling, division by zero."""
    other_way = op(Operator.SEL, asked("pump").is_("off"), "off", "on")
    return Parts(
        name="Troubled tank",
        variables=(
            number("level", 0, 4),
            states("valve", "shut open stuck"),
            truth("auto", Section.PANEL),
            number("speed", 0, 2, Section.PANEL),
            states("pump", "off on", Section.OUTPUT),
            number("count", 0, 3, Section.MEMORY),
        ),
        sensors=(sensor("high", read("level") > 2), sensor("share", op(Operator.DIVIDE, read("level"), read("speed")))),
        timers=(
            timer("runs", "TON", asked("pump").is_("on"), 2),
            timer("rests", "TOF", q("runs"), 3),
            timer("pulse", "TP", sense("high"), 2),
        ),
        commands=(
            command("pump", {"low": ~sense("high")}, {"pump": "on", "count": asked("count") + 1}),
            command("share out", {"enough": sense("share") > 0}, {"pump": "off"}),
        ),
        trips=(
            trip("too high", sense("high") & ~asked("auto"), {"pump": "off"}),
            trip("flutters", asked("auto") & q("pulse") & (et("pulse") > 0), {"pump": other_way}),
        ),
        plant=(
            plant("fills", read("pump").is_("on"), (1, 3), {"level": read("level") + 1}),
            plant("drains", read("valve").is_("open"), (2, None), {"level": read("level") - 1}),
            plant("splashes", read("level").is_(4), (0, None), {"valve": "stuck"}),
            plant("frees", read("valve").is_("stuck") & (read("speed") > 1), (0, 0), {"valve": "shut"}),
        ),
        people=(person("open the valve", read("valve").is_("shut"), {"valve": "open"}),),
        faults=(
            stuck("reads low", "high", False, is_sensor=True),
            stuck("reads high", "high", True, is_sensor=True),
            stuck("pump dead", "pump", "off", is_sensor=False),
            upset("leak", read("level") > 0, {"level": 0}),
        ),
    ).machine


class Driven(RuleBasedStateMachine):
    """Takes steps at random and holds the simulator to its word."""

    machine: Machine

    def __init__(self) -> None:
        super().__init__()
        self.simulator = Simulator(self.machine)
        self.past = [self.everything()]
        self.variables = {variable.name: variable for variable in self.machine.variables}

    def everything(self) -> tuple[object, ...]:
        it = self.simulator
        return (it.state(), it.occurred, it.elapsed_ticks, it.timeline(), it.choices(), it.hazards())

    @rule(data=st.data())
    def take(self, data: st.DataObject) -> None:
        choice: Choice = data.draw(st.sampled_from(self.simulator.choices()))
        before = self.everything()
        outcome = self.simulator.take(choice.by)
        assert outcome.refused_by == choice.refused_by
        assert choice.failure in (None, outcome.failure)
        if outcome.refused_by or outcome.failure:
            assert (outcome.changes, outcome.acted, outcome.steps, outcome.ticks) == ((), (), (), 0)
            assert self.everything() == before
        else:
            assert choice.possible
            self.past.append(self.everything())

    @rule(ticks=st.integers(2, 9))
    def wait(self, ticks: int) -> None:
        before = self.everything()
        outcome = self.simulator.wait(ticks)
        assert sum(step.ticks for step in outcome.steps) == outcome.ticks
        assert (outcome.ticks == ticks) is not bool(outcome.refused_by or outcome.failure)
        if outcome.ticks:
            self.past.append(self.everything())
        else:
            assert self.everything() == before

    @rule(ticks=st.integers(2, 9))
    def one_long_wait_is_many_short_ones(self, ticks: int) -> None:
        other = Simulator(self.machine)
        for step in self.simulator.timeline().steps:
            other.wait(step.ticks) if step.ticks else other.take(step.by)
        long = self.simulator.wait(ticks)
        short = [other.wait(1).ticks for _ in range(ticks)]
        assert sum(short) == long.ticks
        assert (other.state(), other.timeline()) == (self.simulator.state(), self.simulator.timeline())
        if long.ticks:
            self.past.append(self.everything())

    @precondition(lambda self: len(self.past) > 1)
    @rule()
    def undo(self) -> None:
        assert self.simulator.undo()
        self.past.pop()
        assert self.everything() == self.past[-1]

    @precondition(lambda self: len(self.past) == 1)
    @rule()
    def nothing_to_undo(self) -> None:
        assert not self.simulator.undo()
        assert self.everything() == self.past[-1]

    @invariant()
    def values_are_declared(self) -> None:
        for name, value in self.simulator.state():
            if name in self.variables:
                assert value in values_of(self.variables[name])

    def teardown(self) -> None:
        run = self.simulator.timeline()
        assert replay(self.machine, run).disagreement is None
        written = recording.write(run, self.machine, "abc").encode()
        session = Session(self.machine, Simulator(self.machine), "abc")
        assert session.play(recording.read(written, self.machine)).went_through
        assert session.simulator.timeline() == run


class DrivenPress(Driven):
    machine = press()


class DrivenTank(Driven):
    machine = troubled()


TestPress = DrivenPress.TestCase
TestPress.settings = settings(max_examples=examples(40), stateful_step_count=30, deadline=None)
TestTank = DrivenTank.TestCase
TestTank.settings = settings(max_examples=examples(60), stateful_step_count=30, deadline=None)


def test_the_tank_fails_in_every_way() -> None:
    """The random tests are worth something only if the machine they drive can go wrong."""
    seen: set[str] = set()
    machine = troubled()
    first = Simulator(machine)
    pending = [first._situation.snapshot()]
    known: set[Snapshot] = set()
    every_way = {"Endless", "Beyond", "Beyond/zero"}
    while pending and len(known) < 3000 and seen != every_way:
        here = pending.pop()
        if here in known:
            continue
        known.add(here)
        for choice in first.choices():
            first._situation.put_back(here)
            outcome = first.take(choice.by)
            if outcome.failure is not None:
                seen.add(type(outcome.failure).__name__ + ("" if getattr(outcome.failure, "variable", "-") else "/zero"))
            pending.append(first._situation.snapshot())
        first._situation.put_back(here)
    assert seen == every_way


@pytest.mark.parametrize("name", sorted(each.name for each in (Path(__file__).parents[2] / "sequences").glob("*.yaml")))
def test_committed_sequences_at_random(name: str) -> None:
    """A walk of 300 steps through each committed sequence replays."""
    sink = Sink()
    document = read_file((Path(__file__).parents[2] / "sequences" / name).read_bytes(), sink)
    machine = None if document is None else check(document, sink)
    assert machine is not None
    simulator = Simulator(machine)
    dice = random.Random(1)  # noqa: S311 - a test
    for _ in range(300):
        choices = [choice for choice in simulator.choices() if choice.possible]
        simulator.take(dice.choice(choices).by)
    assert replay(machine, simulator.timeline()).disagreement is None
