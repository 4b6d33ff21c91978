"""Strict replay: a run as the simulator has it passes, and each way in which a run can be wrong is found."""

from collections.abc import Callable

import pytest
from msgspec.structs import replace

from seqcheck.check.machine import Machine, Section
from seqcheck.model.run import Beyond, By, Endless, Run, RunStep, StepKind
from seqcheck.simulate.replay import Replay, replay
from seqcheck.simulate.simulator import Simulator
from tests.simulate.build import Parts, asked, command, number, q, states, timer, trip, truth
from tests.simulate.press import press

WAIT = By(kind=StepKind.WAIT)


def by(kind: str, name: str) -> By:
    return By(kind=StepKind(kind), name=name)


def stroke() -> Run:
    simulator = Simulator(press(), faults=["air pressure lost"])
    simulator.take(by("command", "reset"))
    simulator.wait(5)
    simulator.take(by("command", "start the stroke"))
    simulator.wait(3)
    simulator.take(By(kind=StepKind.PANEL, name="estop", to="pressed"))
    return simulator.timeline()


def with_step(run: Run, number: int, **changes: object) -> Run:
    steps = list(run.steps)
    steps[number - 1] = replace(steps[number - 1], **changes)
    return replace(run, steps=tuple(steps))


def test_a_run_of_the_simulator_agrees() -> None:
    assert replay(press(), stroke()) == Replay()
    assert replay(press(), stroke()).agrees


def test_an_empty_run_agrees() -> None:
    assert replay(press(), Simulator(press()).timeline()).agrees


@pytest.mark.parametrize(
    ("spoil", "step", "about", "expected", "came"),
    [
        (lambda run: with_step(run, 1, changes=()), 1, "changes", "no change", "ready = yes"),
        (lambda run: with_step(run, 1, by=by("command", "start the stroke")), 1, "possibility", "possible", "refused: machine"),
        (lambda run: with_step(run, 1, acted=("return",)), 1, "acted", "return", "nothing acted"),
        (lambda run: with_step(run, 2, ticks=1), 2, "changes", "settled.Q = True", "no change"),
        (lambda run: with_step(run, 2, ticks=0), 2, "possibility", "possible", "refused: a wait lasts a tick or more"),
        (lambda run: with_step(run, 2, ticks=3), 2, "changes", "3 ticks in which nothing", "something happens after 2"),
        (lambda run: with_step(run, 5, ticks=9), 5, "possibility", "possible", "refused: ram lands must happen first"),
        (lambda run: with_step(run, 6, acted=()), 6, "acted", "nothing acted", "emergency stop"),
        (lambda run: replace(run, end=run.end[1:]), 6, "end state", "ram = nothing", "ram = moving_down"),
        (lambda run: replace(run, end=(("ram", "top"), *run.end[1:])), 6, "end state", "ram = top", "ram = moving_down"),
        (lambda run: replace(run, end=(*run.end, ("lid", 1))), 6, "end state", "lid = 1", "lid = nothing"),
        (lambda run: replace(run, faults=("rust",)), 0, "start", "ram = top", "the file has no fault named rust"),
        (lambda run: replace(run, start=(("ram", "bottom"),)), 0, "start", "ram = bottom", "ram can't start as bottom"),
        (
            lambda run: replace(run, failure=Endless(names=("a", "b"))),
            6,
            "failure",
            "settling that never ends: a, b",
            "no fail",
        ),
        (lambda run: replace(run, steps=()), 0, "end state", "ram = moving_down", "ram = top"),
        (lambda run: replace(run, steps=(), failure=Endless(names=())), 0, "failure", "settling that never ends", "no failure"),
    ],
)
def test_disagreements(spoil: Callable[[Run], Run], step: int, about: str, expected: str, came: str) -> None:
    found = replay(press(), spoil(stroke())).disagreement
    assert found is not None
    assert (found.step, found.about) == (step, about)
    assert found.expected.startswith(expected)
    assert found.came.startswith(came)
    assert f"entry {step} of the run, {about}" in str(found)


def test_a_wait_may_be_cut_finer() -> None:
    run = stroke()
    second = run.steps[1]
    cut = (run.steps[0], RunStep(by=WAIT, ticks=1), replace(second, ticks=1), *run.steps[2:])
    assert replay(press(), replace(run, steps=cut)).agrees


def failing() -> Machine:
    return Parts(
        variables=(number("level", 0, 1, Section.MEMORY), states("mode", "a b", Section.MEMORY), truth("dry", Section.MEMORY)),
        timers=(timer("t", "TON", ~asked("dry"), 3),),
        commands=(command("fill", {}, {"level": 1}), command("swap", {}, {"mode": "b"})),
        trips=(
            trip("spills", asked("level").is_(1) | q("t"), {"level": 2}),
            trip("back", asked("mode").is_("b") & asked("level").is_(0), {"dry": ~asked("dry")}),
        ),
    ).machine


SPILLS = Beyond(rule="spills", variable="level", problem="in other words")


def failing_run(*steps: RunStep, failure: Endless | Beyond) -> Run:
    first = Simulator(failing()).timeline()
    end = tuple((name, 2 if steps[0].ticks and name == "t.ET" else value) for name, value in first.end)
    return replace(first, steps=steps, end=end, failure=failure)


@pytest.mark.parametrize(
    ("steps", "failure"),
    [
        ((RunStep(by=by("command", "fill")),), SPILLS),
        ((RunStep(by=by("command", "swap")),), Endless(names=("back",))),
        ((RunStep(by=WAIT, ticks=3),), SPILLS),
        ((RunStep(by=WAIT, ticks=2), RunStep(by=WAIT, ticks=1)), SPILLS),
    ],
)
def test_a_run_that_ends_in_a_failure_agrees(steps: tuple[RunStep, ...], failure: Endless | Beyond) -> None:
    assert replay(failing(), failing_run(*steps, failure=failure)).disagreement is None


@pytest.mark.parametrize(
    ("steps", "failure", "step", "about"),
    [
        ((RunStep(by=by("command", "fill")),), Beyond(rule="back", variable="level", problem=""), 1, "failure"),
        ((RunStep(by=by("command", "fill")),), Beyond(rule="spills", variable=None, problem=""), 1, "failure"),
        ((RunStep(by=by("command", "fill")),), Endless(names=("spills",)), 1, "failure"),
        ((RunStep(by=by("command", "swap")),), Endless(names=("spills", "back")), 1, "failure"),
        ((RunStep(by=WAIT, ticks=2),), SPILLS, 1, "failure"),
        ((RunStep(by=WAIT, ticks=4),), SPILLS, 1, "failure"),
        ((RunStep(by=by("command", "drain")),), SPILLS, 1, "possibility"),
        ((RunStep(by=by("command", "fill")), RunStep(by=WAIT, ticks=1)), SPILLS, 1, "failure"),
    ],
)
def test_a_failure_that_differs_is_found(steps: tuple[RunStep, ...], failure: Endless | Beyond, step: int, about: str) -> None:
    found = replay(failing(), failing_run(*steps, failure=failure)).disagreement
    assert found is not None
    assert (found.step, found.about) == (step, about)


def test_a_start_that_fails() -> None:
    spills = trip("spills", asked("level").is_(0), {"level": 2})
    machine = Parts(variables=(number("level", 0, 1, Section.MEMORY),), trips=(spills,)).machine
    run = Simulator(machine).timeline()
    assert run.failure is not None
    assert replay(machine, run).agrees
    for spoilt in (
        replace(run, failure=None),
        replace(run, failure=Endless(names=("spills",))),
        replace(run, steps=(RunStep(by=WAIT, ticks=1),)),
    ):
        found = replay(machine, spoilt).disagreement
        assert found is not None
        assert found.about == "failure"


def test_the_end_of_a_failing_run_is_the_state_before_it() -> None:
    """The last step of a failing run leaves the state as it was, so a run that says otherwise is wrong."""
    run = failing_run(RunStep(by=by("command", "fill")), failure=SPILLS)
    end = tuple((name, 1 if name == "level" else value) for name, value in run.end)
    found = replay(failing(), replace(run, end=end)).disagreement
    assert found is not None
    assert found.about == "end state"
