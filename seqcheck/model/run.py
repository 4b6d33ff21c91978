"""A recorded run: what happened, step by step, in the names of the file. Engines write runs, the simulator replays them."""

from enum import Enum
from typing import TypeAlias

from msgspec import Struct

Value: TypeAlias = bool | int | str
Values: TypeAlias = tuple[tuple[str, Value], ...]


class StepKind(Enum):
    """Who or what makes a step."""

    COMMAND = "command"
    PERSON = "person"
    PANEL = "panel"
    PLANT = "plant"
    FAULT = "fault"
    WAIT = "wait"


class By(Struct, frozen=True, kw_only=True):
    """Who acts: the name as in the file; *to* is the state a panel item is set to, else None. A wait has no name."""

    kind: StepKind
    name: str = ""
    to: Value | None = None


class Endless(Struct, frozen=True, kw_only=True):
    """The step's settling never ends: *names* are the trips, rules and timers that chase each other."""

    names: tuple[str, ...]


class Beyond(Struct, frozen=True, kw_only=True):
    """*rule* (a name in the file) writes *variable* outside its range; *variable* None: it divides by zero or the like.

    *problem* says it in words, for example `range_end would become 4, and its range is 0..3`.
    """

    rule: str
    variable: str | None
    problem: str


Failure: TypeAlias = Endless | Beyond


class RunStep(Struct, frozen=True, kw_only=True):
    """One step, or one stretch of waiting (*ticks* > 0, nothing but time passes).

    *changes*: each part, panel item, output (as commanded), memory, sensor and `TIMER.Q` that differs after the step has
    settled, with its new value, in the order parts, panel, outputs, memory as declared, then sensors, then timers.
    *acted*: trips and at-once rules that changed something while the step settled, in order of first acting. A stretch
    of waiting ends where something acted or a change took place, so that each has its own moment.
    """

    by: By
    ticks: int = 0
    changes: Values = ()
    acted: tuple[str, ...] = ()


class Run(Struct, frozen=True, kw_only=True):
    """A run from a settled start.

    *start* gives parts, panel, outputs and memory *before* settling; *end* gives parts, panel, outputs, memory, sensors,
    `TIMER.Q` and `TIMER.ET` after the last step; *faults* are those under study. With a *failure* the last step never
    settled and *end* is the state before it.
    """

    start: Values
    steps: tuple[RunStep, ...]
    end: Values
    faults: tuple[str, ...] = ()
    failure: Failure | None = None

    @property
    def step_count(self) -> int:
        """Steps that are no waiting."""
        return sum(1 for step in self.steps if step.by.kind is not StepKind.WAIT)

    @property
    def tick_count(self) -> int:
        """Ticks that pass."""
        return sum(step.ticks for step in self.steps)
