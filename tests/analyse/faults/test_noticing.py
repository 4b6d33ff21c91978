"""Whether a stuck signal is noticed, against a direct reading of the definition over all runs of random machines."""

from collections.abc import Iterator
from enum import IntEnum

import pytest
from hypothesis import HealthCheck, event, given, settings

from seqcheck.analyse.faults.asking import Question, answer
from seqcheck.analyse.faults.noticing import Notice, Noticed, question, told
from seqcheck.check import machine as tree
from seqcheck.check.machine import Machine
from seqcheck.check.typed import Literal
from seqcheck.compile.compile import compile_machine
from seqcheck.model import semantics
from seqcheck.model.expression import Expression, Load
from seqcheck.model.model import Model, State
from seqcheck.model.run import StepKind
from seqcheck.search.engine import Limits
from seqcheck.search.engines import NAMES
from seqcheck.simulate.replay import replay
from tests.effort import examples
from tests.outside.machines import machines
from tests.outside.reading import machine_of

MOST_STATES = 500
RELAXED = settings(max_examples=examples(60), deadline=None, suppress_health_check=list(HealthCheck))


class Phase(IntEnum):
    """Where a run is with a fault."""

    BEFORE = 0
    WAITING = 1
    DEMANDED = 2
    NOTICED = 3


class Reading:
    """Walks all runs of a machine with one stuck fault, and keeps for each state in which phases a run may be there."""

    def __init__(self, machine: Machine, fault: tree.Fault) -> None:
        assert fault.stuck is not None
        self.model: Model = compile_machine(machine, [fault.name])
        (self.flag,) = self.model.fault_variables
        self.trips = {reaction.name for reaction in self.model.reactions if reaction.is_trip}
        self.true, self.stuck = self.signal(fault.stuck)
        self.starts = {command.name for command in machine.commands if starts_something(machine, command)}
        self.demanded = self.unnoticed = self.fails = False

    def signal(self, stuck: tree.Stuck) -> tuple[Expression, object]:
        if stuck.is_sensor:
            sensor = next(sensor for sensor in self.model.sensors if sensor.name == stuck.signal)
            return sensor.value, stuck.value
        place = next(n for n, variable in enumerate(self.model.variables) if variable.name == stuck.signal)
        return Load(place), stuck.value

    def differs(self, state: State) -> bool:
        raw = semantics.evaluate(self.model, self.true, state)
        by_name = {v.name: v for v in self.model.variables} | {s.name: s for s in self.model.sensors}
        labels = by_name[self.name].labels
        return (labels[raw] if labels else raw) != self.stuck

    @property
    def name(self) -> str:
        if isinstance(self.true, Load) and all(sensor.value is not self.true for sensor in self.model.sensors):
            return self.model.variables[self.true.variable].name
        return next(sensor.name for sensor in self.model.sensors if sensor.value is self.true)

    def read(self) -> None:
        pending = [(state, self.phase(state, Phase.BEFORE, acted=False)) for state in self.settled_starts()]
        seen = set(pending)
        while pending and len(seen) < 4 * MOST_STATES:
            state, phase = pending.pop()
            for after, acted in self.ways(state, phase):
                onward = (after, self.phase(after, phase, acted=acted))
                if onward not in seen:
                    seen.add(onward)
                    pending.append(onward)
        if pending:
            raise OverflowError

    def settled_starts(self) -> Iterator[State]:
        for raw in semantics.raw_starts(self.model):
            try:
                yield semantics.settle(self.model, raw)
            except semantics.Failed:
                self.fails = True

    def phase(self, state: State, before: Phase, *, acted: bool) -> Phase:
        """Return the phase in a settled state that a step led to, in whose settling a trip changed something or not."""
        if not state[self.flag]:
            return Phase.BEFORE
        differs = self.differs(state)
        self.demanded = self.demanded or differs
        if before >= Phase.DEMANDED:
            return before
        if acted:
            return Phase.NOTICED
        return Phase.DEMANDED if differs else Phase.WAITING

    def ways(self, state: State, phase: Phase) -> Iterator[tuple[State, bool]]:
        """Yield where every step and a tick lead, and whether a trip changed something; note a start after the demand."""
        for number in (None, *range(len(self.model.steps))):
            names: list[str] = []
            try:
                after = self.taken(state, number, names)
            except semantics.Failed:
                self.fails = True
                continue
            if after is not None:
                yield after, not self.trips.isdisjoint(names)
        for step in self.model.steps:
            if phase is Phase.DEMANDED and step.kind is StepKind.COMMAND and step.name in self.starts:
                self.unnoticed = self.unnoticed or self.accepted(step.name, state)

    def accepted(self, name: str, state: State) -> bool:
        step = next(step for step in self.model.steps if (step.kind, step.name) == (StepKind.COMMAND, name))
        try:
            return semantics.possible(self.model, step, state)
        except semantics.Failed:
            return False

    def taken(self, state: State, number: int | None, names: list[str]) -> State | None:
        def watch(acting: list[str], _values: State) -> None:
            names.extend(acting)

        if number is None:
            return semantics.tick(self.model, state, watch)
        step = self.model.steps[number]
        return semantics.take(self.model, step, state, watch) if semantics.possible(self.model, step, state) else None


def starts_something(machine: Machine, command: tree.Command) -> bool:
    outputs = {v.name: v for v in machine.variables if v.section is tree.Section.OUTPUT}
    return any(
        effect.target in outputs
        and not (isinstance(effect.value, Literal) and effect.value.value in outputs[effect.target].starts)
        for effect in command.effects
    )


def found(machine: Machine, fault: str, engine: str = "auto") -> Noticed:
    asked = question(compile_machine(machine, [fault]))
    assert asked is not None
    return told(asked, answer(asked, engine, Limits())) if isinstance(asked, Question) else asked


@RELAXED
@given(text=machines())
def test_notice_is_that_of_a_direct_reading(text: str) -> None:
    machine = machine_of(text)
    for fault in [fault for fault in machine.faults if fault.stuck is not None][:5]:
        reading = Reading(machine, fault)
        try:
            reading.read()
        except OverflowError:
            event("too many states")
            continue
        except semantics.Impossible:
            event("no value")
            continue
        came = found(machine, fault.name)
        event(came.notice.value)
        if reading.unnoticed:
            assert came.notice is Notice.UNNOTICED
            assert came.result is not None
            assert came.result.run is not None
            assert replay(machine, came.result.run).agrees
        elif reading.fails:
            assert came.notice in {Notice.UNKNOWN, Notice.NOTICED, Notice.NEVER_DEMANDED}
        elif not reading.demanded:
            can_lack_value = came.notice is Notice.UNKNOWN and "can have no value" in came.reason
            assert came.notice is Notice.NEVER_DEMANDED or can_lack_value
        elif came.notice is not Notice.UNKNOWN:
            assert came.notice is Notice.NOTICED


LIFT = """
machine: Lift gate
parts: {gate: [shut, open], slide: [rest, moving]}
sensors: {gate_shut: gate = shut, slide_moves: slide = moving, ratio: "6 / SEL(gate = shut, 1, 2)"}
outputs: {motor: [off, on], lamp: [dark, lit]}
memory: {ready: [yes, no]}
commands:
  start: {permissives: {the gate is shut: gate_shut, the machine is ready: ready = yes}, then: {motor: on}}
  stop: {then: {motor: off}}
trips:
  gate opened: {when: NOT gate_shut, then: {motor: off}}
  moves unasked: {when: slide_moves AND motor = off, then: {ready: no}}
plant:
  slide starts: {when: motor = on AND slide = rest, after: at once, then: {slide: moving}}
  slide stops: {when: motor = off AND slide = moving, after: at once, then: {slide: rest}}
people:
  open the gate: {if: gate = shut, then: {gate: open}}
  shut the gate: {if: gate = open, then: {gate: shut}}
faults:
  derive: [sensors, outputs]
"""


@pytest.mark.parametrize("engine", NAMES)
@pytest.mark.parametrize(
    ("fault", "notice"),
    [
        ("gate_shut stuck at TRUE", Notice.UNNOTICED),  # the gate is opened, no trip acts, the start is accepted
        ("gate_shut stuck at FALSE", Notice.NOTICED),  # at the next demand, the gate being shut, no start is accepted
        ("motor stuck at on", Notice.NOTICED),  # the slide moves unasked, which trips for good
        ("motor stuck at off", Notice.UNNOTICED),  # commanded and not moving: nothing tells
        ("lamp stuck at dark", Notice.NEVER_DEMANDED),  # nobody ever lights it
        ("lamp stuck at lit", Notice.UNNOTICED),  # it is lit where it should be dark, and the machine starts all the same
        ("slide_moves stuck at FALSE", Notice.UNNOTICED),
        ("ratio stuck at 3", Notice.UNKNOWN),  # it might divide by zero
    ],
)
def test_what_is_noticed_of_a_lift_gate(engine: str, fault: str, notice: Notice) -> None:
    machine = machine_of(LIFT)
    came = found(machine, fault, engine)
    assert came.notice is notice
    assert (came.result is not None) == (notice is Notice.UNNOTICED)
    assert bool(came.reason) == (notice is Notice.UNKNOWN)
    if came.result is not None and came.result.run is not None:
        last = came.result.run.steps[-1]
        assert (last.by.kind, last.by.name) == (StepKind.COMMAND, "start")
        assert (came.result.id, came.result.faults) == (f"not noticed: {fault}", (fault,))


def test_only_stuck_faults_are_asked_about() -> None:
    machine = machine_of("machine: M\nparts: {p: [a, b]}\nfaults: {p breaks: {then: {p: b}}}\n")
    assert question(compile_machine(machine, ["p breaks"])) is None


def test_a_search_that_is_cut_short_tells_nothing() -> None:
    asked = question(compile_machine(machine_of(LIFT), ["gate_shut stuck at FALSE"]))
    assert isinstance(asked, Question)
    came = told(asked, answer(asked, "plain", Limits(states=2)))
    assert (came.notice, came.reason) == (Notice.UNKNOWN, "the search ended at the limit on states")
