"""Ticks on which nothing happens, taken in one go, are those that the definition takes one by one."""

import random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from seqcheck.compile.compile import compile_machine
from seqcheck.model import semantics
from seqcheck.model.idling import elapsed_matters, idle_ticks
from seqcheck.model.model import Model, State
from seqcheck.simulate.errors import SetupError
from seqcheck.simulate.simulator import Simulator
from tests.effort import examples
from tests.outside.machines import machines
from tests.outside.reading import machine_of
from tests.search.test_engines_agree import refined

RELAXED = settings(max_examples=examples(40), deadline=None, suppress_health_check=list(HealthCheck))


def walked(model: Model, chance: random.Random, length: int) -> list[State]:
    """Return states that a random walk of the definition passes."""
    try:
        state = semantics.settle(model, next(semantics.raw_starts(model)))
    except semantics.Failed:
        return []
    passed = [state]
    for _ in range(length):
        ends = [end for _, end in semantics.steps(model, state) if isinstance(end, tuple)]
        if not ends:
            break
        state = chance.choice(ends)
        passed.append(state)
    return passed


def ticked(model: Model, state: State) -> State | None:
    try:
        return semantics.tick(model, state)
    except semantics.Failed:
        return None


@RELAXED
@given(text=machines(), chance=st.randoms(use_true_random=False), finer=st.sampled_from([2, 10, 50]))
def test_what_follows_an_idle_tick_is_like_it(text: str, chance: random.Random, finer: int) -> None:
    model = compile_machine(machine_of(refined(text, finer)), ())
    if elapsed_matters(model):
        return
    for state in walked(model, chance, 25):
        before, after = state, ticked(model, state)
        if after is None or after == before:
            continue
        moves = [other - one for one, other in zip(before, after, strict=True)]
        for _ in range(idle_ticks(model, before, after)):
            following = ticked(model, after)
            assert following == tuple(value + move for value, move in zip(after, moves, strict=True))
            after = following


@RELAXED
@given(text=machines(), chance=st.randoms(use_true_random=False), finer=st.sampled_from([2, 10]))
def test_the_simulator_waits_long_as_it_waits_tick_by_tick(text: str, chance: random.Random, finer: int) -> None:
    machine = machine_of(refined(text, finer))
    names = tuple(fault.name for fault in machine.faults)
    try:
        quick, slow = Simulator(machine, faults=names), Simulator(machine, faults=names)
    except SetupError:
        return
    for _ in range(12):
        ticks = chance.choice([1, 3, 17, 40])
        outcome = quick.wait(ticks)
        for _ in range(outcome.ticks):
            assert slow.wait(1).ticks == 1
        assert (quick.state(), quick.timeline(), quick.elapsed_ticks) == (slow.state(), slow.timeline(), slow.elapsed_ticks)
        choices = [choice for choice in quick.choices() if choice.possible and choice.failure is None]
        if not choices:
            break
        chosen = chance.choice(choices)
        assert quick.take(chosen.by) == slow.take(chosen.by)


@pytest.mark.parametrize("reads", ["t.ET > 3", "t.ET = 2 OR go"])
def test_a_machine_that_reads_how_far_a_timer_is_never_idles(reads: str) -> None:
    text = f"""
machine: Reader
panel: {{go: bool}}
outputs: {{lamp: bool}}
timers:
  t: {{kind: TON, in: go, pt: 9 s}}
trips:
  shines: {{when: {reads}, then: {{lamp: TRUE}}}}
hazards:
  H1: {{must not be: lamp AND NOT go}}
"""
    assert elapsed_matters(compile_machine(machine_of(text), ()))
    simulator = Simulator(machine_of(text))
    simulator.take(next(c.by for c in simulator.choices() if c.by.name == "go" and c.by.to is True))
    simulator.wait(6)
    assert simulator.value("lamp") is True


def test_a_sensor_that_reads_how_far_a_timer_is_is_shown_in_time() -> None:
    text = """
machine: Shown
panel: {go: bool}
sensors: {half: t.ET >= 5}
timers:
  t: {kind: TON, in: go, pt: 9 s}
hazards:
  H1: {must not be: half AND NOT go}
"""
    simulator = Simulator(machine_of(text))
    simulator.take(next(c.by for c in simulator.choices() if c.by.name == "go" and c.by.to is True))
    outcome = simulator.wait(7)
    assert [(step.ticks, step.changes) for step in outcome.steps] == [(5, (("half", True),)), (2, ())]
