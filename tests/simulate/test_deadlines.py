"""The simulator follows deadlines and orders by its own code: the same as the observed model says, at every step and back."""

import random
from pathlib import Path

from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from msgspec.structs import replace

from seqcheck.analyse.record import record
from seqcheck.check import machine as tree
from seqcheck.compile.compile import compile_observed
from seqcheck.model import model as m
from seqcheck.model import semantics
from seqcheck.model.run import By, StepKind, Value
from seqcheck.search.engine import Limits
from seqcheck.search.engines import engine
from seqcheck.simulate.replay import replay
from seqcheck.simulate.session import Session
from seqcheck.simulate.simulator import Simulator
from tests.effort import examples
from tests.outside.machines import machines
from tests.outside.reading import machine_of

CASES = Path(__file__).parents[1] / "search" / "cases"
DECLARED = {m.VariableKind.PART, m.VariableKind.PANEL, m.VariableKind.OUTPUT, m.VariableKind.MEMORY}


class Beside:
    """One observed model that goes the way a simulator goes. Once its observer fails it has no state any more."""

    def __init__(self, machine: tree.Machine, id_: str) -> None:
        self.model = compile_observed(machine, id_, [fault.name for fault in machine.faults])
        self.id = id_
        (self.rule,) = (p.rule for p in self.model.properties)
        self.steps = {By(kind=step.kind, name=step.name, to=step.to): n for n, step in enumerate(self.model.steps)}
        self.within = next((r.rule.within_ticks for r in machine.requirements
                            if r.id == id_ and isinstance(r.rule, tree.Response)), None)  # fmt: skip

    def start(self, raw: m.State) -> m.State | None:
        """Return the settled start; None if its observer, or the start itself, fails."""
        observers = [v for v in self.model.variables if v.kind is m.VariableKind.OBSERVER]
        try:
            return semantics.settle(self.model, (*raw, *[0] * len(observers)))
        except semantics.Failed:
            return None

    def after(self, state: m.State | None, by: By, ticks: int) -> m.State | None:
        """Return the state after a step, or after so many ticks; it is known that the machine itself can do that."""
        for _ in range(max(1, ticks)):
            if state is None:
                return None
            number = None if by.kind is StepKind.WAIT else self.steps[by]
            later = dict(semantics.steps(self.model, state))[number]
            state = later if isinstance(later, tuple) else None
        return state

    def tells(self, state: m.State) -> bool | None:
        """Tell whether the requirement is violated in a state; None if it has no value."""
        assert isinstance(self.rule, m.Observed)
        try:
            return bool(semantics.evaluate(self.model, self.rule.violated.test, state))
        except semantics.Impossible:
            return None

    def left(self, state: m.State) -> int | None:
        """Return the ticks that are left if a deadline runs."""
        if self.within is None or not state[-2] or state[-1] > self.within:
            return None
        return self.within - state[-1]


def compare(simulator: Simulator, beside: Beside, state: m.State | None, *, was_violated: bool) -> None:
    """Compare what both say of one requirement. A violation that was told stays told once its observer has failed."""
    told = {breach.requirement.id: breach for breach in simulator.breaches()}
    left = {deadline.requirement.id: deadline.left_ticks for deadline in simulator.deadlines()}
    if state is None or beside.tells(state) is None:
        assert beside.id in told
        assert bool(told[beside.id].problem) is not (was_violated and beside.within is not None)
        event("no value")
        return
    assert (beside.id in told) is beside.tells(state)
    assert not any(breach.problem for id_, breach in told.items() if id_ == beside.id)
    assert left.get(beside.id) == beside.left(state)
    event(f"violated: {beside.tells(state)}, deadline: {beside.left(state) is not None}")


def raw_start(model: m.Model, chance: random.Random) -> tuple[m.State, dict[str, Value]]:
    """Choose a start: as the model has it without observers, and as the file has it."""
    values = [chance.choice(v.starts) for v in model.variables if v.kind is not m.VariableKind.OBSERVER]
    placed = zip(model.variables, values, strict=False)
    return tuple(values), {v.name: v.shown(raw) for v, raw in placed if v.kind in DECLARED}


@settings(max_examples=examples(80), deadline=None, suppress_health_check=list(HealthCheck))
@given(text=machines(with_orders_only=True), seed=st.integers(0, 2**32 - 1))
def test_random_machines(text: str, seed: int) -> None:
    """Steps, waits of some ticks and going back, with all faults under study."""
    machine, chance = machine_of(text), random.Random(seed)  # noqa: S311 - no secret
    besides = [Beside(machine, r.id) for r in machine.requirements]
    raw, start = raw_start(besides[0].model, chance)
    simulator = Simulator(machine, start=start)
    if simulator.failure is not None:
        return
    past = [[(beside.start(raw), False) for beside in besides]]
    for _ in range(20):
        for beside, (state, was) in zip(besides, past[-1], strict=True):
            compare(simulator, beside, state, was_violated=was)
        if chance.random() < 0.2 and len(past) > 1:
            simulator.undo()
            past.pop()
            continue
        possible = [choice.by for choice in simulator.choices() if choice.possible]
        if not possible:
            return
        by = chance.choice([*possible, possible[-1]])
        outcome = simulator.wait(chance.randint(1, 4)) if by.kind is StepKind.WAIT else simulator.take(by)
        if outcome.steps:
            past.append([after(beside, *one, by, outcome.ticks) for beside, one in zip(besides, past[-1], strict=True)])


def after(beside: Beside, state: m.State | None, was: bool, by: By, ticks: int) -> tuple[m.State | None, bool]:
    """Go tick by tick, so that a violation before the observer failed is known."""
    for _ in range(max(1, ticks)):
        was = was or (state is not None and beside.tells(state) is True)
        state = beside.after(state, by, 1)
    return state, was


class Driven(RuleBasedStateMachine):
    """Drives the stored machine with all forms of requirements beside its observed models."""

    def __init__(self) -> None:
        super().__init__()
        self.machine = machine_of((CASES / "orders.yaml").read_text(encoding="utf-8"))
        self.simulator = Simulator(self.machine)
        self.besides = [Beside(self.machine, r.id) for r in self.machine.requirements]
        raw, _ = raw_start(self.besides[0].model, random.Random(0))  # noqa: S311 - it has one start
        self.past = [[beside.start(raw) for beside in self.besides]]

    def _go(self, by: By, ticks: int) -> None:
        self.past.append([b.after(state, by, ticks) for b, state in zip(self.besides, self.past[-1], strict=True)])

    @rule(data=st.data())
    def take(self, data: st.DataObject) -> None:
        by = data.draw(st.sampled_from([choice.by for choice in self.simulator.choices() if choice.possible]))
        self._go(by, self.simulator.take(by).ticks)

    @rule(ticks=st.integers(2, 6))
    def wait(self, ticks: int) -> None:
        passed = self.simulator.wait(ticks).ticks
        if passed:
            self._go(By(kind=StepKind.WAIT), passed)

    @precondition(lambda self: len(self.past) > 1)
    @rule()
    def undo(self) -> None:
        assert self.simulator.undo()
        self.past.pop()

    @invariant()
    def agrees(self) -> None:
        for beside, state in zip(self.besides, self.past[-1], strict=True):
            assert state is not None
            compare(self.simulator, beside, state, was_violated=False)


TestDriven = Driven.TestCase
TestDriven.settings = settings(max_examples=examples(25), stateful_step_count=25, deadline=None)


# --- replay ---
def test_a_replayed_run_violates_what_it_is_said_to() -> None:
    machine = machine_of((CASES / "orders.yaml").read_text(encoding="utf-8"))
    violated = set()
    for requirement in machine.requirements:
        model = compile_observed(machine, requirement.id)
        trace = engine("plain").explore(model, (), Limits(), lambda _: None).found.get(0)
        if trace is None:
            continue
        violated.add(requirement.id)
        run, _ = record(model, trace)
        assert requirement.id in replay(machine, run).violated
        shorter = replace(trace, states=trace.states[:-1])
        if shorter.states:
            assert requirement.id not in replay(machine, record(model, shorter)[0]).violated
    assert violated == {
        "stops the slide", "let off by the lever", "comes out", "comes out in time",
        "at the start", "at the start too soon", "reads a timer", "in each time",
    }  # fmt: skip


# --- what is said ---
SLOW = """
machine: Slow slide
parts: {slide: [still, moving]}
panel: {stop: [up, down]}
outputs: {motor: [off, on]}
commands: {start: {then: {motor: on}}}
trips: {stopped: {when: stop = down, then: {motor: off}}}
plant:
  starts: {when: motor = on, after: at once, then: {slide: moving}}
  stops: {when: motor = off AND slide = moving, after: 1 s or more, then: {slide: still}}
requirements:
  R1: {text: It stops in time, when: stop = down, within: 2 s, then: slide = still}
  R2: {text: It is stopped first, before: slide = moving, first: stop = down}
"""


def told(*typed: str) -> list[str]:
    """Return what the last of some lines is answered."""
    machine = machine_of(SLOW)
    session = Session(machine, Simulator(machine), "abc")
    *_, last = [session.answer(line) for line in typed]
    return [line.text for line in last.lines]


def deadline_in(lines: list[str]) -> list[str]:
    return [line.strip() for line in lines if line.strip().startswith("deadlines")]


def test_a_deadline_is_told_with_the_time_that_is_left() -> None:
    assert deadline_in(told("start")) == []
    assert deadline_in(told("start", "stop down")) == ["deadlines R1: 2 s left for slide = still"]
    assert deadline_in(told("start", "stop down", "wait 2 s")) == ["deadlines R1: no time left for slide = still"]
    assert deadline_in(told("start", "stop down", "wait 2 s", "stops")) == []
    assert deadline_in(told("start", "stop down", "wait 2 s", "undo")) == ["deadlines R1: 2 s left for slide = still"]


def test_a_violation_is_told_loudly() -> None:
    late = "*** REQUIREMENT R1 VIOLATED: It stops in time. Within 2 s this should have come: slide = still. ***"
    early = (
        "*** REQUIREMENT R2 VIOLATED: It is stopped first. "
        "This is so: slide = moving. This should have come first: stop = down. ***"
    )
    assert early in told("start")
    assert late not in told("start", "stop down", "wait 2 s")
    assert late in told("start", "stop down", "wait 3 s")
    assert late in told("start", "stop down", "wait 3 s", "stops"), "what was late stays late"
    assert late not in told("start", "stop down", "wait 3 s", "undo")
    assert early not in told("start", "stop down"), "the lever has come, if late"


def test_a_condition_without_value_is_told() -> None:
    machine = machine_of((CASES / "orders_without_value.yaml").read_text(encoding="utf-8"))
    session = Session(machine, Simulator(machine), "abc")
    lines = [line.text for line in session.overview().lines]
    assert "*** REQUIREMENT A of a response can't be judged here: 6 is divided by zero. ***" in lines
