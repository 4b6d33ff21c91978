"""What mutation testing showed to be untested in the simulator. Nothing here is random.

The stored machines of `tests/search/cases` take the simulator and the plain definition through every construct in lockstep.
"""

from pathlib import Path

import pytest

from seqcheck.check.machine import Machine
from seqcheck.check.typed import NumberType, Operator, StatesType
from seqcheck.model.run import Beyond, By, Endless, Run, RunStep, StepKind
from seqcheck.simulate.acting import Actors
from seqcheck.simulate.cells import MOST_STATES, make_cell
from seqcheck.simulate.errors import NoValueError, SimulateError, StepFailsError
from seqcheck.simulate.evaluate import evaluate
from seqcheck.simulate.replay import replay
from seqcheck.simulate.settle import MOST_ROUNDS
from seqcheck.simulate.simulator import Simulator
from seqcheck.simulate.situation import Situation
from tests.outside.reading import machine_of
from tests.simulate.build import op
from tests.simulate.test_agreement import walk

CASES = sorted((Path(__file__).parents[1] / "search" / "cases").glob("*.yaml"))
WAIT = By(kind=StepKind.WAIT)


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_in_step_with_the_definition(path: Path) -> None:
    machine = machine_of(path.read_text(encoding="utf-8"))
    names = tuple(fault.name for fault in machine.faults)
    for seed, faults in enumerate(((), names, names[:1], ()) if names else ((), (), ())):
        walk(machine, faults, seed, 20)


def person(name: str) -> By:
    return By(kind=StepKind.PERSON, name=name)


# --- steps ---
PANEL = "machine: M\npanel: {dial: {range: -2..1, starts: 0}}\n"


def test_a_panel_number_can_be_set_below_zero() -> None:
    choices = Simulator(machine_of(PANEL)).choices()
    assert [choice.by.to for choice in choices if choice.by.kind is StepKind.PANEL] == [-2, -1, 1]


@pytest.mark.parametrize("by", [WAIT, By(kind=StepKind.COMMAND, name="none"), By(kind=StepKind.PANEL, name="dial")])
def test_performing_what_is_no_step_is_a_bug(by: By) -> None:
    machine = machine_of(PANEL)
    with pytest.raises(ValueError, match="By"):
        Actors(machine, frozenset()).perform(Situation(machine, {"dial": 0}), by)


def test_a_rule_without_a_clock_has_waited_for_nothing() -> None:
    assert Situation(machine_of(PANEL), {"dial": 0}).clock("any rule") == 0


# --- failures ---
SHOWN = """
machine: One sensor has no value
tick: 1 s
parts: {n: {range: 0..2}, gone: [no, yes]}
sensors: {share: 2 / n, there: gone = no}
plant: {grows: {when: gone = yes, after: 2 s, then: {n: n + 1}}}
people: {take: {if: gone = no, then: {gone: yes}}}
"""


def test_a_sensor_without_a_value_hides_no_other() -> None:
    state = dict(Simulator(machine_of(SHOWN)).state())
    assert "share" not in state
    assert state["there"] is True


LATE = """
machine: What fails after waiting
tick: 1 s
parts: {lid: [shut, open]}
outputs: {o: {range: 0..1, starts: 1}}
sensors: {is_open: lid = open}
timers: {t: {kind: TON, in: is_open, pt: 2 s}}
trips: {rises: {when: t.Q, then: {o: o + 1}}}
people: {take: {if: lid = shut, then: {lid: open}}}
"""


def failing() -> tuple[Machine, Run]:
    """Return a machine and a run that waits 2 s and fails in the second."""
    machine = machine_of(LATE)
    simulator = Simulator(machine)
    simulator.take(person("take"))
    outcome = simulator.wait(2)
    assert isinstance(outcome.failure, Beyond)
    played = simulator.timeline()
    steps = (played.steps[0], RunStep(by=WAIT, ticks=2))
    return machine, Run(start=played.start, steps=steps, end=played.end, failure=outcome.failure)


def test_a_run_that_fails_in_the_last_of_two_ticks_agrees() -> None:
    machine, run = failing()
    assert replay(machine, run).agrees


def test_a_run_that_fails_a_tick_too_late_is_told() -> None:
    machine, run = failing()
    late = Run(start=run.start, steps=(run.steps[0], RunStep(by=WAIT, ticks=3)), end=run.end, failure=run.failure)
    found = replay(machine, late).disagreement
    assert found is not None
    assert (found.step, found.about, found.expected) == (2, "failure", "no failure")
    assert found.came == "rises: o would become 2, and its range is 0..1"


def test_another_failure_is_told_with_its_words() -> None:
    machine, run = failing()
    other = Run(start=run.start, steps=run.steps, end=run.end, failure=Endless(names=("a", "b")))
    found = replay(machine, other).disagreement
    assert found is not None
    assert found.expected == "settling that never ends: a, b"
    assert found.came == "rises: o would become 2, and its range is 0..1"


ENDLESS_START = """
machine: The start never settles
parts: {n: {range: 0..1, starts: any}, on: bool}
plant: {flips: {when: TRUE, after: at once, then: {n: 1 - n}}, flops: {when: TRUE, after: at once, then: {on: NOT on}}}
"""


def test_a_start_that_fails_is_compared_too() -> None:
    machine = machine_of(ENDLESS_START)
    simulator = Simulator(machine)
    failed = Run(start=simulator.timeline().start, steps=(), end=(), failure=simulator.failure)
    assert replay(machine, failed).agrees
    found = replay(machine, Run(start=failed.start, steps=(), end=())).disagreement
    assert found is not None
    assert (found.expected, found.came) == ("no failure", "settling that never ends: flips, flops")


CHASE = """
machine: Trips, a rule and timers chase each other after a while
tick: 1 s
parts: {p: bool, idle: bool}
panel: {key: bool}
outputs: {o: bool, q: bool}
sensors: {p_is: p}
timers:
  unused: {kind: TON, in: key, pt: 5 s}
  fall: {kind: TOF, in: o, pt: 1 s}
trips:
  never: {when: key AND q, then: {q: TRUE}}
  on: {when: key AND NOT fall.Q, then: {o: TRUE}}
plant:
  waits: {when: idle, after: 3 s, then: {idle: FALSE}}
  turns: {when: o, after: at once, then: {p: NOT p}}
"""


def test_endless_settling_names_what_repeats_in_file_order() -> None:
    simulator = Simulator(machine_of(CHASE))
    outcome = simulator.take(By(kind=StepKind.PANEL, name="key", to=True))
    assert outcome.failure == Endless(names=("turns",))


COUNTING = """
machine: Settling takes long
parts: {{n: {{range: 0..20000}}, go: bool}}
plant: {{counts: {{when: go AND n < {rounds}, after: at once, then: {{n: n + 1}}}}}}
people: {{go: {{if: NOT go, then: {{go: TRUE}}}}}}
"""


@pytest.mark.parametrize(("rounds", "fails"), [(MOST_ROUNDS - 1, False), (MOST_ROUNDS, True)])
def test_settling_has_so_many_rounds(rounds: int, fails: bool) -> None:
    outcome = Simulator(machine_of(COUNTING.format(rounds=rounds))).take(person("go"))
    assert outcome.failure == (Endless(names=("counts",)) if fails else None)


LONG = """
machine: Settling takes too long, and a timer changes in the first round
tick: 1 s
parts: {n: {range: 0..20000}, go: bool}
outputs: {o: bool}
sensors: {goes: go}
timers: {falls: {kind: TOF, in: goes, pt: 1 s}, rests: {kind: TON, in: goes, pt: 1 s}}
trips: {rises: {when: goes, then: {o: TRUE}}}
plant: {counts: {when: go AND n < 20000, after: at once, then: {n: n + 1}}}
people: {go: {if: NOT go, then: {go: TRUE}}}
"""


def test_settling_that_takes_too_long_names_all_that_changed_something() -> None:
    outcome = Simulator(machine_of(LONG)).take(person("go"))
    assert outcome.failure == Endless(names=("rises", "counts", "falls"))


def test_errors_say_what_they_carry() -> None:
    assert str(NoValueError("why")) == "why"
    assert "out" in str(StepFailsError(Beyond(rule="r", variable="v", problem="out")))


# --- waiting ---
BEATS = """
machine: Something acts now and then
tick: 1 s
parts: {p: bool}
memory: {m: bool}
panel: {key: bool}
timers:
  beat: {kind: TON, in: key, pt: 3 s}
trips: {marks: {when: beat.Q, then: {m: TRUE}}}
"""


@pytest.mark.parametrize("cut", [(3,), (1, 2), (2, 1), (1, 1, 1)])
def test_a_wait_made_longer_keeps_what_acted(cut: tuple[int, ...]) -> None:
    simulator = Simulator(machine_of(BEATS))
    simulator.take(By(kind=StepKind.PANEL, name="key", to=True))
    outcomes = [simulator.wait(ticks) for ticks in cut]
    assert outcomes[-1].ticks == cut[-1]
    assert [(step.ticks, step.acted) for step in outcomes[-1].steps] == [(cut[-1], ("marks",))]
    assert [(step.ticks, step.acted) for step in simulator.timeline().steps[1:]] == [(3, ("marks",))]
    assert simulator.elapsed_ticks == 3


def test_a_long_wait_in_which_nothing_happens_is_one_entry() -> None:
    simulator = Simulator(machine_of(BEATS))
    assert simulator.wait(1_000_000).ticks == 1_000_000
    assert [step.ticks for step in simulator.timeline().steps] == [1_000_000]
    assert simulator.elapsed_ticks == 1_000_000


# --- expressions, cells ---
def test_odd_parity_of_three() -> None:
    situation = Situation(machine_of(PANEL), {"dial": 0})
    assert evaluate(op(Operator.XOR, True, True, True).tree, situation) is True


def test_as_many_states_as_fit_have_a_state_machine_and_more_do_not() -> None:
    def kind_of(count: int) -> str:
        return type(make_cell(StatesType(states=tuple(f"s{i}" for i in range(count))), "s0")).__name__

    assert kind_of(MOST_STATES) != kind_of(MOST_STATES + 1)


def test_a_value_out_of_its_range_is_refused_by_name() -> None:
    with pytest.raises(SimulateError, match=r"^7 is no declared value$"):
        make_cell(NumberType(lowest=0, highest=3), 0).move_to(7)
