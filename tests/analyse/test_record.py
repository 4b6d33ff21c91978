"""Recording takes every step of a trace again by the plain definition; an engine that errs is caught here or in the replay."""

from dataclasses import dataclass
from itertools import pairwise

import pytest
from msgspec.structs import replace

from seqcheck.analyse.record import Disagreement, changes, record
from seqcheck.analyse.verdict import Verdict
from seqcheck.check.machine import Machine
from seqcheck.compile.compile import compile_machine
from seqcheck.model.expression import Expression
from seqcheck.model.model import Model, State
from seqcheck.model.run import Beyond, Endless, Run, StepKind
from seqcheck.search.engine import NO_EXTRAS, Exploration, Extras, Limits, Observer, Trace
from seqcheck.search.plain.plain import PlainEngine
from seqcheck.simulate.replay import replay
from tests.analyse.asking import case_of, model_of, result, silent
from tests.outside.reading import machine_of

EVERY_KIND = """
machine: Every kind of step
tick: 500 ms
parts: {ram: [top, moving, bottom], gate: [shut, open], lamp: [whole, blown]}
panel: {estop: [released, pressed]}
sensors: {gate_shut: gate = shut, at_bottom: ram = bottom}
outputs: {drive: [off, down]}
memory: {ready: [no, yes]}
timers: {held: {kind: TON, in: drive = down, pt: 1 s}}
commands:
  reset: {permissives: {estop is out: estop = released}, then: {ready: yes}}
  start: {permissives: {ready: ready = yes, gate is shut: gate_shut}, then: {drive: down}}
trips: {emergency stop: {when: estop = pressed, then: {drive: off, ready: no}}}
plant:
  ram starts: {when: drive = down AND ram = top, after: at once, then: {ram: moving}}
  ram lands: {when: ram = moving AND held.Q, after: 1..2 s, then: {ram: bottom}}
people:
  open the gate: {if: gate = shut AND at_bottom, then: {gate: open}}
faults:
  lamp blows: {if: gate = open, then: {lamp: blown}}
hazards:
  H1: {must not be: lamp = blown AND estop = pressed}
"""


@dataclass(frozen=True, slots=True)
class Lying:
    """An engine that changes what the plain engine has found."""

    change: str
    name: str = "lying"

    def explore(
        self,
        model: Model,
        watches: tuple[Expression, ...],
        limits: Limits,
        observer: Observer,
        extras: Extras = NO_EXTRAS,
    ) -> Exploration:
        true = PlainEngine().explore(model, watches, limits, observer, extras)
        found = {number: self._changed(trace) for number, trace in true.found.items()}
        return replace(true, found=found, engine=self.name)

    def _changed(self, trace: Trace) -> Trace:
        states = trace.states
        match self.change:
            case "a state left out":
                return replace(trace, states=(*states[:2], *states[3:]))
            case "another start":
                return replace(trace, states=states[1:])
            case "an unsettled start":
                return replace(trace, raw_start=(2, *trace.raw_start[1:]))
            case "a state that is none":
                return replace(trace, states=(*states[:-1], tuple(value + 1 for value in states[-1])))
            case "an impossible attempt":
                return replace(trace, attempts=True, last=-1)
            case "the end left out":
                return replace(trace, states=states[:-1])
        return trace


def run_of(text: str, *faults: str, identity: str = "H1") -> tuple[Machine, Run]:
    found = result(case_of(text, *faults), identity)
    assert found.run is not None
    return machine_of(text), found.run


def test_a_run_of_every_kind_of_step_is_what_the_simulator_says() -> None:
    machine, run = run_of(EVERY_KIND, "lamp blows")
    assert {step.by.kind for step in run.steps} == set(StepKind)
    assert replay(machine, run).agrees


def test_a_run_names_who_acts_when_and_by_leave_of_which_permissives() -> None:
    found = result(case_of(EVERY_KIND, "lamp blows"), "H1")
    assert found.run is not None
    told = [(step.by.kind.value, step.by.name, step.by.to, step.ticks) for step in found.run.steps]
    assert told == [
        ("command", "reset", None, 0),
        ("command", "start", None, 0),
        ("wait", "", None, 2),
        ("wait", "", None, 2),
        ("plant", "ram lands", None, 0),
        ("panel", "estop", "pressed", 0),
        ("person", "open the gate", None, 0),
        ("fault", "lamp blows", None, 0),
    ]
    assert [account.at_ticks for account in found.accounts] == [0, 0, 0, 2, 4, 4, 4, 4]
    assert [account.guards for account in found.accounts][:2] == [("estop is out",), ("ready", "gate is shut")]
    assert [account.writes for account in found.accounts][:3] == [("ready",), ("drive",), ()]


def test_a_run_tells_what_changed_and_what_acted() -> None:
    _, run = run_of(EVERY_KIND, "lamp blows")
    assert run.steps[1].changes == (("ram", "moving"), ("drive", "down"))
    assert run.steps[1].acted == ("ram starts",)
    assert run.steps[2].changes == (("held.Q", True),)
    assert run.steps[3].changes == ()
    assert run.steps[4].changes == (("ram", "bottom"), ("at_bottom", True))
    assert run.steps[5].acted == ("emergency stop",)
    assert run.steps[5].changes == (("estop", "pressed"), ("drive", "off"), ("ready", "no"), ("held.Q", False))
    assert dict(run.end)["held.ET"] == 0
    assert run.faults == ("lamp blows",)


@pytest.mark.parametrize(
    "change",
    ["a state left out", "another start", "an unsettled start", "a state that is none", "an impossible attempt"],
)
def test_an_engine_whose_trace_is_no_run_is_caught(change: str) -> None:
    with pytest.raises(Disagreement):
        case_of(EVERY_KIND, "lamp blows", engine=Lying(change))


def test_an_engine_whose_run_does_not_end_in_the_hazard_is_caught() -> None:
    """The run is a run of the machine, but it does not show what it is said to show."""
    with pytest.raises(Disagreement):
        case_of(EVERY_KIND, "lamp blows", engine=Lying("the end left out"))


def test_an_honest_engine_is_believed() -> None:
    told = case_of(EVERY_KIND, "lamp blows", engine=Lying("nothing"))
    assert result(told, "H1").verdict is Verdict.VIOLATED
    assert told.engine == "lying"


def altered(run: Run, change: str) -> Run:
    """Return a run that is told wrongly in one respect."""
    first, *others = run.steps
    match change:
        case "a step left out":
            return replace(run, steps=tuple(others))
        case "a change left out":
            return replace(run, steps=(replace(first, changes=()), *others))
        case "a trip that did not act":
            return replace(run, steps=(replace(first, acted=("emergency stop",)), *others))
        case "a wait too long":
            steps = [replace(step, ticks=step.ticks + 2) if step.ticks else step for step in run.steps]
            return replace(run, steps=tuple(steps))
        case "another end":
            return replace(run, end=tuple((name, "moving" if name == "ram" else value) for name, value in run.end))
        case "another start":
            return replace(run, start=tuple((name, "bottom" if name == "ram" else value) for name, value in run.start))
        case "a fault not under study":
            return replace(run, faults=())
        case _:
            return replace(run, failure=Endless(names=("emergency stop",)))


CHANGES = (
    "a step left out",
    "a change left out",
    "a trip that did not act",
    "a wait too long",
    "another end",
    "another start",
    "a fault not under study",
    "a failure that is none",
)


@pytest.mark.parametrize("change", CHANGES)
def test_a_run_told_wrongly_is_caught_by_the_replay(change: str) -> None:
    machine, run = run_of(EVERY_KIND, "lamp blows")
    assert not replay(machine, altered(run, change)).agrees


def test_waiting_is_joined_until_something_happens() -> None:
    text = """
machine: M
panel: {a: [x, y]}
parts: {p: [dark, lit]}
timers: {one: {kind: TON, in: a = y, pt: 3 s}, two: {kind: TON, in: a = y, pt: 5 s}}
people: {light: {if: two.Q, then: {p: lit}}}
hazards: {H1: {must not be: p = lit}}
"""
    _, run = run_of(text)
    assert [(step.by.kind.value, step.ticks, step.changes) for step in run.steps[1:3]] == [
        ("wait", 3, (("one.Q", True),)),
        ("wait", 2, (("two.Q", True),)),
    ]


def test_a_run_that_ends_in_waiting_that_fails_says_how_long() -> None:
    text = """
machine: M
panel: {a: [x, y]}
memory: {n: {range: 0..3}}
timers: {late: {kind: TON, in: a = y, pt: 3 s}}
trips: {counts: {when: late.Q, then: {n: n + 2}}}
"""
    machine, run = run_of(text, identity="range: counts, n")
    assert [(step.by.kind, step.ticks) for step in run.steps] == [(StepKind.PANEL, 0), (StepKind.WAIT, 3)]
    assert isinstance(run.failure, Beyond)
    assert dict(run.end)["late.ET"] == 2
    assert replay(machine, run).agrees


def test_a_start_that_fails_has_a_run_of_no_steps() -> None:
    text = "machine: M\nmemory: {n: {range: 0..1, starts: 1}}\ntrips: {counts: {when: n = 1, then: {n: n + 1}}}\n"
    machine, run = run_of(text, identity="range: counts, n")
    assert (run.steps, run.start, run.end) == ((), (("n", 1),), (("n", 1),))
    assert replay(machine, run).agrees


def test_the_start_of_a_run_is_the_one_before_settling() -> None:
    text = """
machine: M
parts: {door: [shut, open]}
memory: {n: {range: 0..2, starts: [0, 1]}}
trips: {counts: {when: n = 1, then: {n: 2}}}
people: {open it: {if: door = shut AND n = 2, then: {door: open}}}
hazards: {H1: {must not be: door = open}}
"""
    machine, run = run_of(text)
    assert dict(run.start) == {"door": "shut", "n": 1}
    assert dict(run.end) == {"door": "open", "n": 2}
    assert replay(machine, run).agrees


def test_a_tick_and_a_step_that_lead_to_the_same_state_are_told_as_waiting() -> None:
    """Waiting is free: where either leads there, the cheaper one is meant."""
    text = """
machine: M
panel: {a: [x, y]}
parts: {p: [dark, lit]}
timers: {late: {kind: TP, in: a = y, pt: 1 s}}
sensors: {lit: p = lit}
people: {light: {if: p = dark, then: {p: lit}}}
hazards: {H1: {must not be: p = lit}}
"""
    model = model_of(text)
    (trace,) = PlainEngine().explore(model, (), Limits(), silent).found.values()
    run, _ = record(model, trace)
    assert [step.by.kind for step in run.steps] == [StepKind.PERSON]


def test_what_changed_is_what_differs() -> None:
    assert changes((("a", 1), ("b", 2)), (("a", 1), ("b", 3), ("c", 4))) == (("b", 3), ("c", 4))


def test_every_state_of_a_trace_is_passed() -> None:
    """The recorded run has as many steps and ticks as the trace has links."""
    model = compile_machine(machine_of(EVERY_KIND), ["lamp blows"])
    (trace,) = PlainEngine().explore(model, (), Limits(), silent).found.values()
    links: list[tuple[State, State]] = list(pairwise(trace.states))
    run, _ = record(model, trace)
    assert run.step_count + run.tick_count == len(links)
