"""The finite machine as frozen data. A state is a tuple of integers, one for each variable.

It does not know where the controller's logic came from: steps and reactions carry guarded programs, whatever language
they were written in. `semantics` says what the data means.
"""

from enum import Enum
from fractions import Fraction
from typing import TypeAlias

from msgspec import Struct

from seqcheck.model.expression import Expression
from seqcheck.model.run import StepKind, Value

State: TypeAlias = tuple[int, ...]

MOST_ROUNDS = 10_000
"""Settling that has not come to rest after so many rounds counts as never ending."""


class VariableKind(Enum):
    """What a variable of the machine stands for."""

    PART = "part"
    PANEL = "panel item"
    OUTPUT = "output"
    MEMORY = "memory"
    TIMER = "timer"
    CLOCK = "plant clock"
    FAULT = "fault"
    OBSERVER = "observer"
    ABSENCE = "absence"
    POWER = "power"
    BUDGET = "number of faults"


class Variable(Struct, frozen=True, kw_only=True):
    """One place of the state. *labels* are the names of the values from 0 up; none for a number."""

    name: str
    kind: VariableKind
    lowest: int
    highest: int
    labels: tuple[Value, ...]
    starts: tuple[int, ...]
    line: int
    text: str = ""

    def shown(self, raw: int) -> Value:
        """Return a value as the file names it."""
        return self.labels[raw] if self.labels else raw

    @property
    def spoken(self) -> str:
        """The name that a person reads aloud."""
        return self.text or self.name.replace("_", " ")


class Sensor(Struct, frozen=True, kw_only=True):
    """What the controller reads of the truth, from *lowest* to *highest*; *labels* as for a variable.

    Each of *stuck* is a fault flag and the value that the sensor reads, whatever the truth, once the flag is 1.
    """

    name: str
    value: Expression
    stuck: tuple[tuple[int, int], ...]
    labels: tuple[Value, ...]
    text: str = ""
    lowest: int = 0
    highest: int = 1

    def shown(self, raw: int) -> Value:
        """Return a value as the file names it."""
        return self.labels[raw] if self.labels else raw

    @property
    def spoken(self) -> str:
        """The name that a person reads aloud."""
        return self.text or self.name.replace("_", " ")


class Guard(Struct, frozen=True, kw_only=True):
    """A condition with its text in the file; *name* is that of a permissive, else empty."""

    name: str
    test: Expression
    text: str
    line: int = 1


class Assign(Struct, frozen=True, kw_only=True):
    """Write several variables at once: all values are read first. *bounded*: none can leave its range."""

    targets: tuple[int, ...]
    values: tuple[Expression, ...]
    bounded: bool


Program: TypeAlias = tuple[Assign, ...]


class Step(Struct, frozen=True, kw_only=True):
    """What a person, the controller's acceptance, the plant or a fault can do in a settled state.

    Possible if *ready* (which always has a value) and then each of *guards* holds, all of them being evaluated.
    """

    kind: StepKind
    name: str
    to: Value | None
    ready: Expression
    guards: tuple[Guard, ...]
    program: Program
    line: int


class Reaction(Struct, frozen=True, kw_only=True):
    """A trip or an at-once plant rule: acts while settling, in order."""

    name: str
    is_trip: bool
    when: Guard
    program: Program
    line: int


class TimerKind(Enum):
    """The timers of IEC 61131-3."""

    TON = "TON"
    TOF = "TOF"
    TP = "TP"


class Timer(Struct, frozen=True, kw_only=True):
    """A timer kept in one variable.

    TON and TOF keep ET (0 to pt). TP keeps 0 when idle, 1 + ET while the pulse runs, pt + 1 when it is over.
    """

    name: str
    kind: TimerKind
    variable: int
    input: Guard
    pt: int
    q: Expression
    et: Expression
    text: str = ""


class Clock(Struct, frozen=True, kw_only=True):
    """How long a plant rule's `when` has held, up to *most* ticks; time stops at *latest* (None: it never does)."""

    rule: str
    variable: int
    when: Expression
    most: int
    latest: int | None


class Observer(Struct, frozen=True, kw_only=True):
    """What looks at every settled state and notes what a requirement has to know of it later, in variables of its own.

    *program* runs once where settling has come to rest and clocks are reset, so that only a state that is settled without it
    can be what it fails in; run again on what it leaves it must change nothing. *rule* is what fails then: no other rule has
    that name.
    """

    rule: str
    program: Program


class Hazard(Struct, frozen=True, kw_only=True):
    """A condition that must never be in a settled state."""

    must_not_be: Guard


class Reachable(Struct, frozen=True, kw_only=True):
    """Some reachable state has *goal*; under faults, every state just after the last of them leads to one."""

    goal: Guard


class Recoverable(Struct, frozen=True, kw_only=True):
    """Every reachable state leads to *goal* without new faults."""

    goal: Guard


class Forbid(Struct, frozen=True, kw_only=True):
    """The step (a command's acceptance) is never possible in a state where *during* holds."""

    step: int
    during: Guard


class Only(Struct, frozen=True, kw_only=True):
    """Only the steps named turn *makes* from false to true."""

    steps: frozenset[int]
    makes: Guard


class Observed(Struct, frozen=True, kw_only=True):
    """A requirement on order or time: an observer in the model notes what came before, and *violated* must never be.

    *kind* is its name in results, *when* the condition that calls for something.
    """

    kind: str
    when: Guard
    violated: Guard


class Elsewhere(Struct, frozen=True, kw_only=True):
    """A requirement that needs an observer, which this model does not have: it is judged with another.

    Of a response, *then* is what must follow *when* within so many ticks.
    """

    kind: str
    when: Guard
    then: Guard | None = None
    within_ticks: int | None = None


Rule: TypeAlias = Hazard | Reachable | Recoverable | Forbid | Only | Observed | Elsewhere


def condition_of(rule: Rule) -> Guard:
    """Return the condition that a rule is about."""
    match rule:
        case Hazard(must_not_be=guard) | Reachable(goal=guard) | Recoverable(goal=guard):
            return guard
        case Forbid(during=guard) | Only(makes=guard) | Observed(violated=guard) | Elsewhere(when=guard):
            return guard


def never(rule: Rule) -> Guard | None:
    """Return what must never be in a settled state, if a rule says that of anything."""
    match rule:
        case Hazard(must_not_be=guard) | Observed(violated=guard):
            return guard
        case _:
            return None


class Property(Struct, frozen=True, kw_only=True):
    """A hazard or requirement with where it comes from. *risk* is like `S2 F1 P2`, or empty."""

    id: str
    text: str
    rule: Rule
    risk: str
    source: str
    line: int


class Act(Struct, frozen=True):
    """A procedure's step: a command is given, or a person acts."""

    step: int


class SetPanel(Struct, frozen=True):
    """A procedure's step: panel items are set, one after the other; one that is there already stays."""

    steps: tuple[int, ...]


class Wait(Struct, frozen=True):
    """A procedure's step: exactly so many ticks pass."""

    ticks: int


class Until(Struct, frozen=True):
    """A procedure's step: time passes until a settled state has *end*; none does if this one has it."""

    end: Guard


ProcedureStep: TypeAlias = Act | SetPanel | Wait | Until


class Procedure(Struct, frozen=True, kw_only=True):
    """A written operating sequence. It begins in the starts, or where the procedure with the number *after* may end."""

    name: str
    steps: tuple[ProcedureStep, ...]
    ends_with: Guard | None
    after: int | None
    source: str
    line: int


class EmergencyStop(Struct, frozen=True, kw_only=True):
    """The panel item that is the emergency stop, and the steps that press and release it."""

    name: str
    press: int
    release: int


class Source(Struct, frozen=True, kw_only=True):
    """Where something that the file states comes from: a standard, a measurement, an assumption."""

    about: str
    source: str
    line: int


def study_of(faults: tuple[str, ...], *observed: str) -> tuple[str, ...]:
    """Return what a search is about: the faults under study; after an empty name, which no fault has, what is observed."""
    return (*faults, "", *observed) if observed else faults


class Model(Struct, frozen=True, kw_only=True):
    """The whole machine. *faults* are the faults under study, each with a variable that is 1 once it has occurred.

    *actual* says what each output that may be stuck really does. *emergency_stop* is there if the file marks one.
    *steps* are in file order; a state's successors are those of its possible steps and of one tick.
    """

    name: str
    revision: str
    tick_s: Fraction
    variables: tuple[Variable, ...]
    sensors: tuple[Sensor, ...]
    timers: tuple[Timer, ...]
    clocks: tuple[Clock, ...]
    reactions: tuple[Reaction, ...]
    steps: tuple[Step, ...]
    properties: tuple[Property, ...]
    sources: tuple[Source, ...]
    actual: tuple[tuple[int, Expression], ...]
    faults: tuple[str, ...]
    observers: tuple[Observer, ...] = ()
    procedures: tuple[Procedure, ...] = ()
    emergency_stop: EmergencyStop | None = None

    @property
    def study(self) -> tuple[str, ...]:
        """What a search of this model is about, by names: the faults, and the requirement that is observed, if any."""
        return study_of(self.faults, *(p.id for p in self.properties if isinstance(p.rule, Observed)))

    @property
    def sensor_values(self) -> tuple[Expression, ...]:
        """The expression of each sensor."""
        return tuple(sensor.value for sensor in self.sensors)

    @property
    def fault_variables(self) -> tuple[int, ...]:
        """The places of the fault flags."""
        return tuple(i for i, v in enumerate(self.variables) if v.kind is VariableKind.FAULT)
