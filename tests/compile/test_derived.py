"""Derived faults by the plain definition: what a restart forgets, what goes on without power, what comes when it returns."""

from seqcheck.compile.compile import compile_machine
from seqcheck.model import semantics
from seqcheck.model.model import Model, State, VariableKind
from seqcheck.model.run import StepKind, Value
from tests.outside.reading import machine_of

TEXT = """
machine: Small press
parts: {ram: [top, moving]}
panel: {key: [off, on]}
sensors: {key_on: key = on, runs: drive = down}
outputs:
  drive: {states: [off, down], unpowered: off}
  lock: {states: [shut, open, free], unpowered: free}
memory:
  ready: {states: [no, yes], retained: FALSE}
  made: {range: 0..3, retained: TRUE}
timers:
  held: {kind: TON, in: key_on, pt: 2 s}
  lit: {kind: TOF, in: key_on, pt: 2 s}
  beep: {kind: TP, in: key_on, pt: 2 s}
commands:
  start: {permissives: {the key is on: key_on}, then: {drive: down, lock: open, ready: yes, made: made + 1}}
trips:
  lock up: {when: "held.Q AND drive = off", then: {lock: open}}
plant:
  ram moves: {when: drive = down, after: at once, then: {ram: moving}}
faults:
  derive: [power, restart, timers, outputs]
"""
MACHINE = machine_of(TEXT)


class World:
    """One run of a model with some faults under study."""

    def __init__(self, *faults: str) -> None:
        self.model: Model = compile_machine(MACHINE, faults)
        self.state: State = semantics.settle(self.model, next(semantics.raw_starts(self.model)))

    def can(self, name: str, to: Value | None = None) -> bool:
        return any(semantics.possible(self.model, s, self.state) for s in self.model.steps if (s.name, s.to) == (name, to))

    def do(self, name: str, to: Value | None = None) -> None:
        assert self.can(name, to), name
        step = next(step for step in self.model.steps if (step.name, step.to) == (name, to))
        self.state = semantics.take(self.model, step, self.state)

    def wait(self, ticks: int) -> None:
        for _ in range(ticks):
            after = semantics.tick(self.model, self.state)
            assert after is not None
            self.state = after

    def values(self, *names: str) -> tuple[Value, ...]:
        shown = {v.name: v.shown(raw) for v, raw in zip(self.model.variables, self.state, strict=True)}
        return tuple(shown[name] for name in names)

    def really(self, name: str) -> Value:
        place = next(n for n, variable in enumerate(self.model.variables) if variable.name == name)
        does = dict(self.model.actual).get(place)
        raw = self.state[place] if does is None else semantics.evaluate(self.model, does, self.state)
        return self.model.variables[place].shown(raw)


def running(*faults: str) -> World:
    world = World(*faults)
    world.do("key", "on")
    world.wait(1)
    world.do("start")
    assert world.values("drive", "lock", "ready", "made", "held", "lit", "beep") == ("down", "open", "yes", 1, 1, 0, 2)
    return world


def test_a_restart_gives_outputs_memory_and_timers_their_start_values_at_once() -> None:
    world = running("controller restarts")
    world.do("controller restarts")
    assert world.values("drive", "lock", "ready", "made", "ram") == ("off", "shut", "no", 1, "moving")
    assert world.values("held", "lit", "beep") == (0, 0, 1), "they start anew with their input true"
    assert not world.can("controller restarts")


def test_without_power_outputs_do_what_they_do_unpowered_and_the_controller_does_nothing() -> None:
    world = running("power lost")
    assert not world.can("power returns")
    world.do("power lost")
    assert (world.really("drive"), world.really("lock"), world.values("drive", "lock")) == ("off", "free", ("down", "open"))
    assert not world.can("start")
    assert not world.can("power lost")
    world.wait(3)
    assert world.values("held", "lit", "beep") == (0, 2, 0), "timers do not run"
    assert world.values("lock", "ready", "made") == ("open", "yes", 1)


def test_trips_do_not_act_without_power_and_act_again_when_it_is_back() -> None:
    world = running("power lost")
    world.do("power lost")
    world.do("power returns")
    assert world.values("drive", "lock", "ready", "made") == ("off", "shut", "no", 1)
    assert (world.really("drive"), world.really("lock")) == ("off", "shut")
    assert world.values("held", "lit", "beep") == (0, 0, 1), "timers begin as at the start, their input being true"
    world.wait(2)
    assert world.values("lock") == ("open",)
    assert world.can("start")
    assert not world.can("power returns")


def test_a_stuck_output_acts_stuck_without_power_too() -> None:
    world = running("power lost", "drive stuck at down")
    world.do("drive stuck at down")
    world.do("power lost")
    assert (world.really("drive"), world.really("lock")) == ("down", "free")


def test_a_timer_loses_its_time_once() -> None:
    world = running("held loses its time")
    world.wait(1)
    assert world.values("held", "lock") == (2, "open")
    world.do("held loses its time")
    assert world.values("held") == (0,)
    assert not world.can("held loses its time")
    world.wait(2)
    assert world.values("held") == (2,)


def test_the_return_of_power_is_no_fault() -> None:
    model = World("power lost").model
    kinds = {step.name: step.kind for step in model.steps}
    assert (kinds["power lost"], kinds["power returns"]) == (StepKind.FAULT, StepKind.PLANT)
    assert [v.name for v in model.variables if v.kind is VariableKind.POWER] == ["power of the controller"]
    assert model.faults == ("power lost",)


def test_what_is_not_under_study_costs_nothing() -> None:
    model = World("controller restarts").model
    assert not [v for v in model.variables if v.kind is VariableKind.POWER]
    assert (model.actual, [len(step.guards) for step in model.steps if step.name == "start"]) == ((), [1])
