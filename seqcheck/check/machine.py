"""The checked tree: what a sequence file means. Names are resolved, types known, durations counted in ticks.

Values are Python's own: a state is its name as declared, a truth a bool, a number an int. Every name in here is spelled
as it was declared, whatever case the file used elsewhere. Nothing in here is ever wrong: a file with errors gives none.
"""

from enum import Enum
from fractions import Fraction
from typing import TypeAlias

from msgspec import Struct

from seqcheck.check.typed import Expression, Type, Value
from seqcheck.diagnostics.span import Span


class Condition(Struct, frozen=True, kw_only=True):
    """An expression that is a truth, with its text as the file has it."""

    expression: Expression
    text: str
    span: Span


class Assignment(Struct, frozen=True, kw_only=True):
    """`target: value` of a `then`; all values of one `then` are read before any target is written."""

    target: str
    value: Expression
    span: Span


Effects: TypeAlias = tuple[Assignment, ...]


# --- declarations ----------------------------------------------------------------------------------------------------
class Section(Enum):
    """Where a variable is declared, and so who may write it."""

    PART = "parts"
    PANEL = "panel"
    OUTPUT = "outputs"
    MEMORY = "memory"


class Variable(Struct, frozen=True, kw_only=True):
    """A part, panel item, output or memory; *starts* are the values it may have at the start.

    *unpowered* is what an output does without power, *retained* whether a memory keeps its value without; None: not given.
    A panel item that *is_emergency_stop* has two values and starts as the first, released.
    """

    name: str
    section: Section
    type: Type
    starts: tuple[Value, ...]
    text: str
    source: str
    span: Span
    unpowered: Value | None = None
    retained: bool | None = None
    is_emergency_stop: bool = False


class Sensor(Struct, frozen=True, kw_only=True):
    """What the controller can read of the truth."""

    name: str
    expression: Expression
    expression_text: str
    text: str
    span: Span


class TimerKind(Enum):
    """The timers of IEC 61131-3."""

    TON = "TON"
    TOF = "TOF"
    TP = "TP"


class Timer(Struct, frozen=True, kw_only=True):
    """A timer of the controller; *pt_ticks* is at least 1."""

    name: str
    kind: TimerKind
    input: Condition
    pt_ticks: int
    text: str
    source: str
    span: Span


class Permissive(Struct, frozen=True, kw_only=True):
    """What must hold for a command to be accepted."""

    name: str
    condition: Condition
    source: str
    span: Span


class Command(Struct, frozen=True, kw_only=True):
    """A request from the panel, accepted when every permissive holds."""

    name: str
    permissives: tuple[Permissive, ...]
    effects: Effects
    span: Span


class Trip(Struct, frozen=True, kw_only=True):
    """Forces its effects, in file order, whenever *when* holds while settling."""

    name: str
    when: Condition
    effects: Effects
    source: str
    span: Span


class Interval(Struct, frozen=True, kw_only=True):
    """How long after its `when` a plant rule happens: from *earliest* to *latest* ticks (None: no latest, or never).

    `at_once` rules act while settling; then both bounds are 0. No `after` at all is (0, None).
    """

    earliest: int
    latest: int | None
    at_once: bool
    source: str


class PlantRule(Struct, frozen=True, kw_only=True):
    """What the machine does by itself."""

    name: str
    when: Condition
    interval: Interval
    effects: Effects
    source: str
    span: Span


class PersonAction(Struct, frozen=True, kw_only=True):
    """What a person can do by hand. No `if` in the file is the condition TRUE."""

    name: str
    condition: Condition
    effects: Effects
    source: str
    span: Span


class Stuck(Struct, frozen=True, kw_only=True):
    """A sensor that reads, or an output that does, *value* whatever the truth or the command."""

    signal: str
    is_sensor: bool
    value: Value


class PowerLoss(Struct, frozen=True, kw_only=True):
    """Power is lost until a step called *returns*, which may come at any time, or never; it gives *resets* their start values.

    Until then outputs do what they do unpowered, commands are refused, trips do not act, and timers do not run.
    """

    returns: str
    resets: tuple[str, ...]


class Fault(Struct, frozen=True, kw_only=True):
    """Something that may go wrong once: a stuck signal that lasts, an effect on parts, loss of power, lost values.

    *resets* are the outputs, memory and timers to which it gives their start values. It is *derived* where the file does not
    name it; its place is then that of the word it is derived from.
    """

    name: str
    condition: Condition
    stuck: Stuck | None
    effects: Effects
    source: str
    span: Span
    resets: tuple[str, ...] = ()
    power: PowerLoss | None = None
    derived: bool = False


# --- what is asked ---------------------------------------------------------------------------------------------------
class Risk(Struct, frozen=True, kw_only=True):
    """ISO 13849-1 risk graph parameters, each as `S1`, `F2`, `P1` and so on."""

    severity: str
    exposure: str
    avoidance: str


class Hazard(Struct, frozen=True, kw_only=True):
    """A condition that must never be."""

    id: str
    text: str
    condition: Condition
    risk: Risk | None
    source: str
    span: Span


class Reachable(Struct, frozen=True, kw_only=True):
    """Some reachable state has *goal*."""

    goal: Condition


class Recoverable(Struct, frozen=True, kw_only=True):
    """From every reachable state some run without new faults leads to *goal*."""

    goal: Condition


class Forbid(Struct, frozen=True, kw_only=True):
    """*command* is never accepted in a state where *during* holds."""

    command: str
    during: Condition


class Only(Struct, frozen=True, kw_only=True):
    """A step in which *makes* becomes true is the acceptance of one of *commands*."""

    commands: tuple[str, ...]
    makes: Condition


class Response(Struct, frozen=True, kw_only=True):
    """When *when* becomes true while *then* is false, *then* within *within_ticks*, unless *unless*."""

    when: Condition
    within_ticks: int
    then: Condition
    unless: Condition | None


class Precedence(Struct, frozen=True, kw_only=True):
    """*before* is not true unless *first* has been true in the same or an earlier state, since the last *since*."""

    before: Condition
    first: Condition
    since: Condition | None


Rule: TypeAlias = Reachable | Recoverable | Forbid | Only | Response | Precedence


class Requirement(Struct, frozen=True, kw_only=True):
    """Something the machine must do, or keep to."""

    id: str
    text: str
    rule: Rule
    source: str
    span: Span


class Act(Struct, frozen=True, kw_only=True):
    """A procedure step: a command given, or a person's action."""

    name: str
    is_command: bool
    span: Span


class SetPanel(Struct, frozen=True, kw_only=True):
    """A procedure step: panel items set to literal values."""

    values: tuple[tuple[str, Value], ...]
    span: Span


class Wait(Struct, frozen=True, kw_only=True):
    """A procedure step: let exactly so many ticks pass."""

    ticks: int
    span: Span


class Until(Struct, frozen=True, kw_only=True):
    """A procedure step: wait until a condition holds."""

    condition: Condition
    span: Span


ProcedureStep: TypeAlias = Act | SetPanel | Wait | Until


class Procedure(Struct, frozen=True, kw_only=True):
    """A written operating sequence; begins in a start state or where the procedure *after* ended."""

    name: str
    steps: tuple[ProcedureStep, ...]
    ends_with: Condition | None
    after: str | None
    source: str
    span: Span


class Machine(Struct, frozen=True, kw_only=True):
    """A whole checked file. Every tuple is in file order."""

    name: str
    revision: str
    tick_s: Fraction
    variables: tuple[Variable, ...]
    sensors: tuple[Sensor, ...]
    timers: tuple[Timer, ...]
    commands: tuple[Command, ...]
    trips: tuple[Trip, ...]
    plant: tuple[PlantRule, ...]
    people: tuple[PersonAction, ...]
    faults: tuple[Fault, ...]
    hazards: tuple[Hazard, ...]
    requirements: tuple[Requirement, ...]
    procedures: tuple[Procedure, ...]
