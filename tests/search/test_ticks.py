"""What a tick decides, and what it must not cost: a coarse one can miss a hazard, a fine one gives the same answers in time.

Source of the first example: where a trip acts the moment its timer elapses, that is a strict bound; with two in a row, two
actions one after the other inside one tick can matter (own example, invented numbers). Closed bounds lose nothing: Henzinger,
Manna and Pnueli, "What good are digital clocks?", ICALP 1992.
"""

import time
from pathlib import Path

import pytest

from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model.model import Model
from seqcheck.search.engine import Limits
from seqcheck.search.engines import NAMES, engine
from tests.outside.reading import machine_of
from tests.search.test_engines_agree import cost

DEMO = Path(__file__).parents[2] / "sequences" / "separator.yaml"

IN_A_ROW = """
machine: Two timers in a row
tick: TICK
outputs: {first: [off, on], second: [off, on]}
memory: {asked_first: [no, yes], asked_second: [no, yes]}
timers:
  until_first: {kind: TON, in: asked_first = yes, pt: 1 s}
  until_second: {kind: TON, in: asked_second = yes, pt: 1 s}
commands:
  ask for the first: {then: {asked_first: yes}}
  ask for the second:
    permissives: {the first is asked for: asked_first = yes, the first is not on yet: first = off}
    then: {asked_second: yes}
trips:
  first acts: {when: until_first.Q, then: {first: on}}
  second acts: {when: until_second.Q, then: {second: on}}
hazards:
  H1: {text: The first is on and the second still off, must not be: first = on AND second = off AND asked_second = yes}
"""


def at(tick: str) -> Model:
    return compile_machine(machine_of(IN_A_ROW.replace("TICK", tick)), ())


@pytest.mark.parametrize("name", NAMES)
def test_two_actions_within_a_tick_matter(name: str) -> None:
    """Both actions at one moment let both timers elapse together; half a second apart the first is on alone."""
    coarse = engine(name).explore(at("1 s"), (), Limits(), lambda _: None)
    assert coarse.stopped is None
    assert not coarse.found


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(("tick", "ticks"), [("500 ms", 2), ("100 ms", 10), ("10 ms", 100), ("1 ms", 1000)])
def test_a_finer_tick_shows_it(name: str, tick: str, ticks: int) -> None:
    """In two steps, and as soon as the first timer can elapse, however fine the tick is."""
    model = at(tick)
    fine = engine(name).explore(model, (), Limits(), lambda _: None)
    assert cost(model, fine.found[0]) == (2, ticks)


@pytest.mark.parametrize("name", [name for name in NAMES if name != "plain"])
def test_a_count_of_ticks_is_that_of_the_definition(name: str) -> None:
    """The reduced search, if it is one, still counts the states of the machine as it is."""
    model = at("10 ms")
    fine, plain = (engine(one).explore(model, (), Limits(), lambda _: None) for one in (name, "plain"))
    assert (fine.states, fine.transitions) == (plain.states, plain.transitions)


RESPONSES = """
machine: A slide that runs down
tick: TICK
parts: {slide: [still, moving]}
panel: {stop: [up, down]}
sensors: {moves: slide = moving}
outputs: {motor: [off, on]}
timers: {watch: {kind: TON, in: moves AND stop = down, pt: 3 s}}
commands:
  start: {permissives: {not stopped: stop = up}, then: {motor: on}}
trips:
  stopped: {when: stop = down, then: {motor: off}}
plant:
  starts: {when: motor = on, after: at once, then: {slide: moving}}
  runs down: {when: motor = off AND slide = moving, after: 1..3 s, then: {slide: still}}
requirements:
  in three seconds:   {when: stop = down, within: 3 s, then: slide = still, unless: stop = up}
  in two seconds:     {when: stop = down, within: 2 s, then: slide = still, unless: stop = up}
  after half the time: {when: stop = down AND watch.ET >= T#1s, within: 1 s, then: slide = still}
  started first:      {before: watch.Q, first: motor = on, since: slide = still}
  running:            {before: watch.Q, first: motor = on, since: motor = off}
"""


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(("tick", "each_s"), [("1 s", 1), ("100 ms", 10), ("20 ms", 50)])
def test_a_deadline_is_passed_by_the_tick_after_it_however_fine(name: str, tick: str, each_s: int) -> None:
    """A run that is late takes as many steps at every tick, and ends one tick after the deadline."""
    machine = machine_of(RESPONSES.replace("TICK", tick))
    late: dict[str, tuple[int, int]] = {}
    for requirement in machine.requirements:
        model = compile_observed(machine, requirement.id)
        found = engine(name).explore(model, (), Limits(), lambda _: None)
        assert found.stopped is None
        if found.found:
            late[requirement.id] = cost(model, found.found[0])
    assert late == {
        "in two seconds": (2, 2 * each_s + 1),
        "after half the time": (2, 2 * each_s + 1),
        "running": (2, 3 * each_s),
    }


def demo(tick: str) -> Model:
    return compile_machine(machine_of(DEMO.read_text(encoding="utf-8").replace("tick: 5 s", f"tick: {tick}")), ())


def test_the_demo_says_the_same_at_every_tick() -> None:
    """All durations of the demo are multiples of 5 s; two clocks of it run together, as the states at finer ticks show."""
    answers = []
    for tick, states in (("5 s", 21_264), ("500 ms", 157_587), ("50 ms", 4_884_342)):
        model = demo(tick)
        found = engine("symbolic").explore(model, (), Limits(), lambda _: None)
        assert (found.stopped, found.states) == (None, states)
        costs = {number: cost(model, trace) for number, trace in found.found.items()}
        seconds = {number: (steps, ticks * model.tick_s) for number, (steps, ticks) in costs.items()}
        answers.append((seconds, found.never, found.acted, found.passing, found.dead_ends, found.time_stuck))
    assert answers[0] == answers[1] == answers[2]


def test_a_fine_tick_costs_little() -> None:
    """Ten times as many ticks must not take ten times as long; measured as a ratio in one process."""
    seconds = []
    for tick in ("5 s", "500 ms"):
        model = demo(tick)
        began = time.process_time()
        engine("symbolic").explore(model, (), Limits(), lambda _: None)
        seconds.append(time.process_time() - began)
    assert seconds[1] < 5 * seconds[0]
