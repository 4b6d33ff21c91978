"""The checked tree: what a sequence file means. Names are resolved, types known, durations counted in ticks.

Values are Python's own: a state is its name as declared, a truth a bool, a number an int. Every name in here is spelled
as it was declared, whatever case the file used elsewhere. Nothing in here is ever wrong: a file with errors gives none.
"""

from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from typing import TypeAlias

from seqcheck.check.typed import Expression, Type, Value
from seqcheck.diagnostics.span import Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """An expression that is a truth, with its text as the file has it."""

    expression: Expression
    text: str
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Assignment:
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Variable:
    """A part, panel item, output or memory; *starts* are the values it may have at the start."""

    name: str
    section: Section
    type: Type
    starts: tuple[Value, ...]
    text: str
    source: str
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Timer:
    """A timer of the controller; *pt_ticks* is at least 1."""

    name: str
    kind: TimerKind
    input: Condition
    pt_ticks: int
    text: str
    source: str
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Permissive:
    """What must hold for a command to be accepted."""

    name: str
    condition: Condition
    source: str
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """A request from the panel, accepted when every permissive holds."""

    name: str
    permissives: tuple[Permissive, ...]
    effects: Effects
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Trip:
    """Forces its effects, in file order, whenever *when* holds while settling."""

    name: str
    when: Condition
    effects: Effects
    source: str
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """How long after its `when` a plant rule happens: from *earliest* to *latest* ticks (None: no latest, or never).

    `at_once` rules act while settling; then both bounds are 0. No `after` at all is (0, None).
    """

    earliest: int
    latest: int | None
    at_once: bool
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantRule:
    """What the machine does by itself."""

    name: str
    when: Condition
    interval: Interval
    effects: Effects
    source: str
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonAction:
    """What a person can do by hand. No `if` in the file is the condition TRUE."""

    name: str
    condition: Condition
    effects: Effects
    source: str
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Stuck:
    """A sensor that reads, or an output that does, *value* whatever the truth or the command."""

    signal: str
    is_sensor: bool
    value: Value


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """Something that may go wrong once: a stuck signal that lasts, or an effect on parts."""

    name: str
    condition: Condition
    stuck: Stuck | None
    effects: Effects
    source: str
    span: Span


# --- what is asked ---------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True, kw_only=True)
class Risk:
    """ISO 13849-1 risk graph parameters, each as `S1`, `F2`, `P1` and so on."""

    severity: str
    exposure: str
    avoidance: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Hazard:
    """A condition that must never be."""

    id: str
    text: str
    condition: Condition
    risk: Risk | None
    source: str
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Reachable:
    """Some reachable state has *goal*."""

    goal: Condition


@dataclass(frozen=True, slots=True, kw_only=True)
class Recoverable:
    """From every reachable state some run without new faults leads to *goal*."""

    goal: Condition


@dataclass(frozen=True, slots=True, kw_only=True)
class Forbid:
    """*command* is never accepted in a state where *during* holds."""

    command: str
    during: Condition


@dataclass(frozen=True, slots=True, kw_only=True)
class Only:
    """A step in which *makes* becomes true is the acceptance of one of *commands*."""

    commands: tuple[str, ...]
    makes: Condition


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """When *when* becomes true while *then* is false, *then* within *within_ticks*, unless *unless*."""

    when: Condition
    within_ticks: int
    then: Condition
    unless: Condition | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Precedence:
    """*before* is not true unless *first* has been true in the same or an earlier state, since the last *since*."""

    before: Condition
    first: Condition
    since: Condition | None


Rule: TypeAlias = Reachable | Recoverable | Forbid | Only | Response | Precedence


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement:
    """Something the machine must do, or keep to."""

    id: str
    text: str
    rule: Rule
    source: str
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """A procedure step: a command given, or a person's action."""

    name: str
    is_command: bool
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class SetPanel:
    """A procedure step: panel items set to literal values."""

    values: tuple[tuple[str, Value], ...]
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Wait:
    """A procedure step: let exactly so many ticks pass."""

    ticks: int
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Until:
    """A procedure step: wait until a condition holds."""

    condition: Condition
    span: Span


ProcedureStep: TypeAlias = Act | SetPanel | Wait | Until


@dataclass(frozen=True, slots=True, kw_only=True)
class Procedure:
    """A written operating sequence; begins in a start state or where the procedure *after* ended."""

    name: str
    steps: tuple[ProcedureStep, ...]
    ends_with: Condition | None
    after: str | None
    source: str
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
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
