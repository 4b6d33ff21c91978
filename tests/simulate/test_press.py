"""The language's own example, step by step: what it says of itself holds in the simulator.

Steps of kinds 1 to 4 are counted; waiting is free. The exhaustive part uses nothing but the simulator.
"""

from collections import deque

import pytest

from seqcheck.model.run import By, StepKind
from seqcheck.simulate.replay import replay
from seqcheck.simulate.simulator import Simulator
from tests.simulate.press import press


def by(text: str) -> By:
    kind, _, name = text.partition(" ")
    item, _, to = name.partition(" to ")
    return By(kind=StepKind(kind), name=item, to=to) if kind == "panel" else By(kind=StepKind(kind), name=name)


def play(simulator: Simulator, *texts: str) -> None:
    for text in texts:
        outcome = simulator.take(by(text))
        assert (outcome.refused_by, outcome.failure) == ((), None), text


def test_a_stroke() -> None:
    simulator = Simulator(press())
    play(simulator, "command reset", "wait", "wait", "command start the stroke")
    assert (simulator.value("ram"), simulator.value("drive")) == ("moving_down", "down")
    assert simulator.wait(9).ticks == 4
    play(simulator, "plant ram lands")
    assert (simulator.value("ram"), simulator.value("drive")) == ("bottom", "up")
    assert simulator.wait(9).ticks == 1
    play(simulator, "plant ram rises", "wait", "wait", "plant ram is back")
    assert (simulator.value("ram"), simulator.value("drive")) == ("top", "off")
    play(simulator, "command release the gate", "person open the gate")
    assert simulator.value("settled.ET") == 0
    assert simulator.hazards() == ()
    assert replay(press(), simulator.timeline()).agrees


def test_stopped_on_the_way_down_the_ram_falls_and_stays_down() -> None:
    simulator = Simulator(press(), faults=())
    play(simulator, "command reset", "wait", "wait", "command start the stroke", "panel estop to pressed")
    assert simulator.timeline().step_count == 3
    simulator.wait(4)
    play(simulator, "plant ram lands", "panel estop to released", "command reset")
    possible = {choice.by.name for choice in simulator.choices() if choice.possible}
    assert possible == {"reset", "estop", ""}


def test_the_hazard_is_reached_in_five_steps_if_the_gate_switch_sticks() -> None:
    simulator = Simulator(press(), faults=["gate switch stuck shut"])
    play(
        simulator,
        "command reset",
        "command release the gate",
        "fault gate switch stuck shut",
        "person open the gate",
        "wait",
        "wait",
    )
    assert simulator.hazards() == ()
    play(simulator, "command start the stroke")
    assert [hazard.id for hazard in simulator.hazards()] == ["H1"]
    assert simulator.timeline().step_count == 5


def test_the_hazard_is_reached_in_three_steps_if_the_drive_fails_to_stop() -> None:
    simulator = Simulator(press(), faults=["drive fails to stop"])
    play(simulator, "command release the gate", "person open the gate", "fault drive fails to stop")
    assert [hazard.id for hazard in simulator.hazards()] == ["H1"]
    assert simulator.value("drive") == "off"


def fewest_steps_to_a_hazard(faults: tuple[str, ...]) -> int | None:
    """Search every state by stepping simulators; waiting costs nothing."""
    first = Simulator(press(), faults=faults)
    root = first._situation.snapshot()
    waiting, steps_to = deque([root]), {root: 0}
    while waiting:
        here = waiting.popleft()
        first._situation.put_back(here)
        if first.hazards():
            return steps_to[here]
        for choice in first.choices():
            first._situation.put_back(here)
            if not choice.possible or first.take(choice.by).failure is not None:
                continue
            there = first._situation.snapshot()
            free = choice.by.kind is StepKind.WAIT
            cost = steps_to[here] + (0 if free else 1)
            if cost < steps_to.get(there, cost + 1):
                steps_to[there] = cost
                (waiting.appendleft if free else waiting.append)(there)
    return None


@pytest.mark.parametrize(
    ("faults", "expected"),
    [((), None), (("gate switch stuck shut",), 5), (("drive fails to stop",), 3)],
)
def test_no_shorter_way(faults: tuple[str, ...], expected: int | None) -> None:
    assert fewest_steps_to_a_hazard(faults) == expected
