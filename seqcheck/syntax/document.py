"""What a sequence file says, as written: texts, terms and durations with their places. No name is looked up yet.

A part that could not be read is left out or None; the fault was reported, and later stages say nothing more about it.
"""

from fractions import Fraction

from msgspec import Struct

from seqcheck.diagnostics.span import Span
from seqcheck.syntax.terms import Term


class Text(Struct, frozen=True, eq=False):
    """A text, or a name."""

    value: str
    span: Span


class Formula(Struct, frozen=True, eq=False):
    """An expression; *term* None: it is broken."""

    term: Term | None
    text: str
    span: Span


class Period(Struct, frozen=True, eq=False):
    """A duration, or an interval: then *seconds* is its beginning and *latest* its end, if it has one."""

    seconds: Fraction
    latest: Fraction | None
    span: Span
    source: str = ""


class Variable(Struct, frozen=True, kw_only=True, eq=False):
    """An entry of parts, panel, outputs or memory. *readable* False: its values could not be read.

    *states* None and *bounds* None: a truth. *starts* empty: the first value, unless *starts_any*. *unpowered*,
    *retained* and *role* are None where they could not be read or are not among the keys *given*.
    """

    name: Text
    section: str
    readable: bool
    states: tuple[Text, ...] | None
    bounds: tuple[int, int] | None
    range_span: Span
    starts: tuple[Text, ...]
    starts_any: bool
    unpowered: Text | None
    retained: bool | None
    role: Text | None
    given: frozenset[str]
    text: str
    source: str


class Sensor(Struct, frozen=True, kw_only=True, eq=False):
    """An entry of sensors."""

    name: Text
    formula: Formula | None
    text: str


class Timer(Struct, frozen=True, kw_only=True, eq=False):
    """An entry of timers."""

    name: Text
    kind: str
    input: Formula | None
    pt: Period | None
    text: str
    source: str


class Effect(Struct, frozen=True, eq=False):
    """`target: value` in a `then`."""

    target: Text
    value: Formula


class Rule(Struct, frozen=True, kw_only=True, eq=False):
    """A trip, a plant rule, a person's action, a fault, or (in *section* permissives) a permissive.

    *condition* is its `when` or `if`; *stuck* the signal of a stuck fault and its value.
    """

    name: Text
    section: str
    condition: Formula | None
    after: Period | None = None
    stuck: tuple[Text, Text] | None = None
    stuck_is_sensor: bool = False
    then: tuple[Effect, ...] = ()
    source: str = ""


class Command(Struct, frozen=True, kw_only=True, eq=False):
    """An entry of commands."""

    name: Text
    permissives: tuple[Rule, ...]
    then: tuple[Effect, ...]


class Demand(Struct, frozen=True, kw_only=True, eq=False):
    """A hazard or a requirement: *kind* is its leading key, *conditions* its expressions by key."""

    id: Text
    kind: str
    text: str
    conditions: dict[str, Formula]
    commands: tuple[Text, ...]
    within: Period | None
    risk: tuple[str, str, str] | None
    source: str


class Step(Struct, frozen=True, kw_only=True, eq=False):
    """A step of a procedure; exactly one of its fields is given."""

    span: Span
    name: Text | None = None
    wait: Period | None = None
    until: Formula | None = None
    panel: tuple[tuple[Text, Text], ...] = ()


class Procedure(Struct, frozen=True, kw_only=True, eq=False):
    """An entry of procedures."""

    name: Text
    steps: tuple[Step, ...]
    ends_with: Formula | None
    after: Text | None
    source: str


class Document(Struct, frozen=True, kw_only=True, eq=False):
    """A whole file as written. *derive* are the words of `faults: derive`.

    *names_lost*: some declarations could not be read, so a name may be unknown for that.
    """

    machine: str
    revision: str
    tick: Period | None
    tick_given: bool
    variables: tuple[Variable, ...]
    sensors: tuple[Sensor, ...]
    timers: tuple[Timer, ...]
    commands: tuple[Command, ...]
    rules: tuple[Rule, ...]
    derive: tuple[Text, ...]
    demands: tuple[Demand, ...]
    procedures: tuple[Procedure, ...]
    names_lost: bool
