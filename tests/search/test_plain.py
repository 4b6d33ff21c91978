"""The plain engine: shortest runs where waiting is free, what it notices on the way, and where it stops."""

import pytest

from seqcheck.compile.compile import compile_machine
from seqcheck.model import semantics
from seqcheck.model.expression import Expression
from seqcheck.model.model import Model, State
from seqcheck.search.engine import Exploration, Limits, Progress, Stop, Trace
from seqcheck.search.engines import NAMES, engine
from seqcheck.search.plain.plain import PlainEngine
from tests.outside.reading import machine_of


def silent(_progress: Progress) -> None:
    """Take no note."""


def model_of(text: str, *faults: str) -> Model:
    return compile_machine(machine_of(text), faults)


def explore(model: Model, *watches: Expression, limits: Limits | None = None) -> Exploration:
    return PlainEngine().explore(model, watches, limits or Limits(), silent)


def cost(trace: Trace, model: Model) -> tuple[int, int]:
    """Return a trace's steps and ticks; every link must be a step or a tick of the definition."""
    steps = ticks = 0
    for one, other in zip(trace.states, trace.states[1:], strict=False):
        if semantics.tick(model, one) == other:
            ticks += 1
        else:
            assert any(after == other for _, after in semantics.steps(model, one))
            steps += 1
    return steps + (trace.attempts and trace.last is not None), ticks + (trace.attempts and trace.last is None)


WAIT_OR_ACT = """
machine: Waiting is free
tick: 1 s
parts:
  tank: [empty, half, full]
people:
  pour half: {if: tank = empty, then: {tank: half}}
  pour the rest: {if: tank = half, then: {tank: full}}
plant:
  rain: {when: tank = empty, after: 30 s, then: {tank: full}}
hazards:
  H1: {must not be: tank = full}
"""


def test_one_step_after_long_waiting_beats_two_steps_at_once() -> None:
    model = model_of(WAIT_OR_ACT)
    assert cost(explore(model).found[0], model) == (1, 30)


TICK_OVERTAKES = """
machine: A tick reaches what a step reached first
tick: 1 s
parts:
  gate: [shut, ajar]
  wind: [calm, blowing]
  seen: [no, yes]
people:
  blow: {if: wind = calm, then: {wind: blowing}}
  open: {if: gate = shut AND wind = blowing, then: {gate: ajar}}
  look: {if: gate = ajar, then: {seen: yes}}
memory: {}
outputs:
  motor: [off, on]
sensors:
  blows: wind = blowing
timers:
  long: {kind: TON, in: blows, pt: 3 s}
trips:
  opens: {when: long.Q AND motor = off, then: {motor: on}}
plant:
  driven: {when: motor = on AND gate = shut, after: at once, then: {gate: ajar}}
hazards:
  H1: {must not be: seen = yes}
"""


def test_a_state_that_a_step_reached_is_taken_over_by_a_tick_that_costs_no_step() -> None:
    """By hand, `open` costs a step at 0 s; by waiting 3 s the gate opens with no step at all: 2 steps, not 3."""
    model = model_of(TICK_OVERTAKES)
    assert cost(explore(model).found[0], model) == (2, 3)


ORDER = """
machine: File order decides among equals
parts:
  light: [off, red, green]
people:
  second: {if: light = off, then: {light: green}}
  first: {if: light = off, then: {light: red}}
hazards:
  H1: {must not be: light <> off}
"""


def test_among_equal_runs_the_step_first_in_the_file_is_shown() -> None:
    model = model_of(ORDER)
    assert explore(model).found[0].states[-1] == (2,)


def test_states_transitions_and_a_step_that_changes_nothing() -> None:
    """Two switches: 4 states; each of 2 panel items leads to the other state: 8 pairs. The idle step counts as none."""
    model = model_of("machine: M\npanel: {a: bool, b: bool}\npeople:\n  stand by: {then: {a: a}}\n")
    found = explore(model)
    assert (found.states, found.transitions) == (4, 8)


ONLY = """
machine: A wait starts it
tick: 1 s
parts: {door: [shut, open]}
outputs: {drive: [off, on]}
sensors: {open: door = open}
timers: {delay: {kind: TON, in: open, pt: 2 s}}
commands:
  start: {then: {drive: on}}
  stop: {then: {drive: off}}
trips:
  creeps: {when: delay.Q, then: {drive: on}}
people:
  open the door: {if: door = shut, then: {door: open}}
requirements:
  R1: {only: [start], makes: drive = on}
  R2: {only: [start, stop], makes: drive = off}
  R3: {forbid: stop, while: drive = off}
"""


def test_only_is_broken_by_waiting() -> None:
    """The tick that lets the timer elapse makes it: 1 step and 2 s."""
    model = model_of(ONLY)
    found = explore(model).found
    assert found[0].attempts
    assert found[0].last is None
    assert cost(found[0], model) == (1, 2)


def test_forbid_counts_the_acceptance_that_changes_nothing() -> None:
    model = model_of(ONLY)
    assert cost(explore(model).found[2], model) == (1, 0)


def test_only_that_holds_is_not_found() -> None:
    assert 1 not in explore(model_of(ONLY)).found


GRAPH = """
machine: A trap
parts: {place: [home, path, pit], lamp: [dark, lit]}
people:
  walk: {if: place = home, then: {place: path}}
  turn back: {if: place = path, then: {place: home}}
  fall: {if: place = path, then: {place: pit}}
faults:
  lamp breaks: {if: place = pit, then: {lamp: dark, place: home}}
requirements:
  R1: {recoverable: place = home}
  R2: {reachable: place = pit}
  R3: {reachable: lamp = lit}
"""


def test_recoverable_shows_the_shortest_way_into_the_trap() -> None:
    model = model_of(GRAPH)
    found = explore(model).found
    assert cost(found[0], model) == (2, 0)
    assert cost(found[1], model) == (2, 0)
    assert 2 not in found


def test_a_fault_is_no_way_out() -> None:
    """With the fault the pit could be left; recovering must not count on that."""
    assert 0 in explore(model_of(GRAPH, "lamp breaks")).found


def test_reachable_under_a_fault_is_asked_just_after_it() -> None:
    found = explore(model_of(GRAPH, "lamp breaks")).found
    assert 1 not in found, "from home the pit can still be reached"
    assert found[2].attempts, "the run that shows that the lamp can no longer be lit ends in the fault"


def test_a_dead_end_is_remarked() -> None:
    remarkable = explore(model_of(GRAPH)).dead_ends
    assert remarkable is not None
    assert (remarkable.count, len(remarkable.trace.states)) == (1, 3)


STUCK_TIME = """
machine: Time is stuck
tick: 1 s
parts: {level: {range: 0..1}}
plant:
  fills: {when: TRUE, after: 2 s, then: {level: level + 1}}
"""


def test_time_is_stuck_where_what_must_happen_cannot() -> None:
    """After 2 s the level rises to 1; 2 s later it must rise again and cannot: the level would leave its range."""
    found = explore(model_of(STUCK_TIME))
    assert found.time_stuck is not None
    assert found.time_stuck.count == 1
    assert len(found.failures) == 1
    assert found.dead_ends is None, "somebody acts there, though in vain"


SLOW = """
machine: Settling takes {rounds} rounds
parts: {{n: {{range: 0..20000}}, go: [no, yes]}}
people:
  go on: {{if: go = no, then: {{go: yes}}}}
plant:
  count: {{when: go = yes AND n < {rounds}, after: at once, then: {{n: n + 1}}}}
hazards:
  H1: {{must not be: n = {rounds}}}
"""


@pytest.mark.parametrize("rounds", [3, 99, 100, 101, 500, 9_998])
def test_slow_settling_comes_to_rest(rounds: int) -> None:
    found = explore(model_of(SLOW.format(rounds=rounds)))
    assert (found.states, len(found.failures)) == (2, 0)
    assert 0 in found.found


@pytest.mark.parametrize("rounds", [10_000, 15_000])
def test_settling_that_is_too_slow_counts_as_endless(rounds: int) -> None:
    found = explore(model_of(SLOW.format(rounds=rounds)))
    assert (found.states, len(found.failures)) == (1, 1)


def test_states_entered_and_reactions_that_acted() -> None:
    model = model_of(ONLY)
    found = explore(model)
    assert found.acted == {0}
    assert found.entered[0] == {0, 1}


def test_watches_that_no_state_has() -> None:
    model = model_of(ORDER)
    hazard = model.properties[0].rule
    assert explore(model, hazard.must_not_be.test).never == frozenset()  # type: ignore[union-attr]
    calm = model_of(
        ORDER.replace("then: {light: green}", "then: {light: off}").replace("then: {light: red}", "then: {light: off}")
    )
    assert explore(calm, calm.properties[0].rule.must_not_be.test).never == {0}  # type: ignore[union-attr]


COUNTERS = "machine: Counters\nparts:\n" + "".join(f"  c{i}: {{range: 0..9}}\n" for i in range(5)) + "people:\n"
COUNTERS += "".join(f"  step {i}: {{then: {{c{i}: (c{i} + 1) MOD 10}}}}\n" for i in range(5)) + "hazards:\n"
COUNTERS += (
    "  near: {must not be: c0 = 3 AND c1 = 2}\n  far: {must not be: c0 = 9 AND c1 = 9 AND c2 = 9 AND c3 = 9 AND c4 = 9}\n"
)


def test_all_states_of_independent_counters() -> None:
    """k counters mod m: m^k states, k m^k transitions."""
    found = explore(model_of(COUNTERS))
    assert (found.states, found.transitions, found.stopped) == (10**5, 5 * 10**5, None)
    assert len(found.found[1].states) == 46


@pytest.mark.parametrize("most", [1, 50, 1_000, 30_000])
def test_the_limit_on_states_holds_and_says_what_was_covered(most: int) -> None:
    found = explore(model_of(COUNTERS), limits=Limits(states=most))
    assert found.stopped is Stop.STATES
    assert most < found.states <= most * 1.1 + 5
    assert 1 not in found.found
    assert found.complete_steps is not None
    assert len(all_counters(found.complete_steps)) <= found.states
    assert len(all_counters(found.complete_steps + 2)) > found.states, "what is said to be covered is not too modest either"


def all_counters(most: int) -> list[State]:
    """Return the states of the five counters that lie at most *most* steps from the start."""
    found: list[State] = [()]
    for _ in range(5):
        found = [(*state, digit) for state in found for digit in range(most + 1) if sum(state) + digit <= most]
    return found


def test_a_limit_that_is_just_enough_is_no_limit() -> None:
    found = explore(model_of(ORDER), limits=Limits(states=3))
    assert (found.stopped, found.states) == (None, 3)


def test_the_limits_on_time_and_memory() -> None:
    assert explore(model_of(COUNTERS), limits=Limits(seconds=0.0)).stopped is Stop.SECONDS
    assert explore(model_of(COUNTERS), limits=Limits(memory_mb=1.0)).stopped is Stop.MEMORY


def test_an_interruption_keeps_what_was_found() -> None:
    def interrupt(progress: Progress) -> None:
        if progress.states > 5_000:
            raise KeyboardInterrupt

    found = PlainEngine().explore(model_of(COUNTERS), (), Limits(), interrupt)
    assert found.stopped is Stop.INTERRUPTED
    assert 0 in found.found
    assert found.complete_steps is not None
    assert 0 <= found.complete_steps < 45


def test_progress_never_goes_back() -> None:
    seen: list[Progress] = []
    PlainEngine().explore(model_of(COUNTERS), (), Limits(), seen.append)
    assert [p.states for p in seen] == sorted(p.states for p in seen)
    assert seen[-1].waiting == 0


def test_many_starts_are_bounded() -> None:
    text = "machine: M\nparts:\n" + "".join(f"  n{i}: {{range: 0..999, starts: any}}\n" for i in range(3))
    found = explore(model_of(text), limits=Limits(states=5_000))
    assert found.stopped is Stop.STATES
    assert found.complete_steps == -1


def test_engines_by_name() -> None:
    assert [engine(name).name for name in NAMES] == list(NAMES)
    with pytest.raises(KeyError):
        engine("none")
