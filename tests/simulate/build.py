"""Builds checked trees by hand, so that the simulator's tests need no front end. Types of expressions are not filled in."""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from seqcheck.check.machine import (
    Assignment,
    Command,
    Condition,
    Effects,
    Fault,
    Hazard,
    Interval,
    Machine,
    Permissive,
    PersonAction,
    PlantRule,
    Section,
    Sensor,
    Stuck,
    Timer,
    TimerKind,
    Trip,
    Variable,
)
from seqcheck.check.typed import (
    Expression,
    Literal,
    NumberType,
    Operation,
    Operator,
    Read,
    ReadSensor,
    ReadTimer,
    StatesType,
    TruthType,
    Type,
    Value,
)
from seqcheck.diagnostics.span import START_OF_FILE, Span

UNTYPED = TruthType()
AT = START_OF_FILE


@dataclass(frozen=True, eq=False)
class X:
    """An expression with its text, to be put together with Python's operators; `is_` is Structured Text's `=`."""

    tree: Expression
    text: str

    def __and__(self, other: "X") -> "X":
        return op(Operator.AND, self, other)

    def __or__(self, other: "X") -> "X":
        return op(Operator.OR, self, other)

    def __invert__(self) -> "X":
        return X(Operation(operator=Operator.NOT, operands=(self.tree,), type=UNTYPED, span=AT), f"NOT {self.text}")

    def __add__(self, other: "X | int") -> "X":
        return op(Operator.PLUS, self, other)

    def __sub__(self, other: "X | int") -> "X":
        return op(Operator.MINUS, self, other)

    def __floordiv__(self, other: "X | int") -> "X":
        return op(Operator.DIVIDE, self, other)

    def __lt__(self, other: "X | int") -> "X":
        return op(Operator.LESS, self, other)

    def __gt__(self, other: "X | int") -> "X":
        return op(Operator.GREATER, self, other)

    def __ge__(self, other: "X | int") -> "X":
        return op(Operator.AT_LEAST, self, other)

    def is_(self, other: "X | Value") -> "X":
        return op(Operator.EQUAL, self, other)


def x(value: "X | Value") -> X:
    if isinstance(value, X):
        return value
    text = str(value).upper() if isinstance(value, bool) else str(value)
    return X(Literal(value=value, type=UNTYPED, span=AT), text)


def op(operator: Operator, *operands: "X | Value") -> X:
    parts = [x(each) for each in operands]
    tree = Operation(operator=operator, operands=tuple(part.tree for part in parts), type=UNTYPED, span=AT)
    return X(tree, f" {operator.value} ".join(part.text for part in parts))


def read(name: str, *, commanded: bool = False) -> X:
    return X(Read(variable=name, commanded=commanded, type=UNTYPED, span=AT), name)


def asked(name: str) -> X:
    return read(name, commanded=True)


def sense(name: str) -> X:
    return X(ReadSensor(sensor=name, type=UNTYPED, span=AT), name)


def q(name: str) -> X:
    return X(ReadTimer(timer=name, elapsed=False, type=UNTYPED, span=AT), f"{name}.Q")


def et(name: str) -> X:
    return X(ReadTimer(timer=name, elapsed=True, type=UNTYPED, span=AT), f"{name}.ET")


def when(expression: "X | bool") -> Condition:
    built = x(expression)
    return Condition(expression=built.tree, text=built.text, span=AT)


def then(effects: "Mapping[str, X | Value]") -> Effects:
    return tuple(Assignment(target=target, value=x(value).tree, span=AT) for target, value in effects.items())


def variable(name: str, kind: Type, section: Section, starts: tuple[Value, ...] | None = None) -> Variable:
    match kind:
        case TruthType():
            first: Value = False
        case StatesType(states):
            first = states[0]
        case NumberType(lowest, _):
            first = lowest
    return Variable(name=name, section=section, type=kind, starts=starts or (first,), text="", source="", span=AT)


def states(name: str, names: str, section: Section = Section.PART, starts: tuple[Value, ...] | None = None) -> Variable:
    return variable(name, StatesType(tuple(names.split())), section, starts)


def number(name: str, lowest: int, highest: int, section: Section = Section.PART) -> Variable:
    return variable(name, NumberType(lowest, highest), section)


def truth(name: str, section: Section = Section.PART) -> Variable:
    return variable(name, TruthType(), section)


def sensor(name: str, expression: X) -> Sensor:
    return Sensor(name=name, expression=expression.tree, expression_text=expression.text, text="", span=AT)


def timer(name: str, kind: str, signal: X, pt_ticks: int) -> Timer:
    return Timer(name=name, kind=TimerKind(kind), input=when(signal), pt_ticks=pt_ticks, text="", source="", span=AT)


def command(name: str, permissives: "Mapping[str, X]", effects: "Mapping[str, X | Value]") -> Command:
    needed = tuple(Permissive(name=n, condition=when(c), source="", span=AT) for n, c in permissives.items())
    return Command(name=name, permissives=needed, effects=then(effects), span=AT)


def trip(name: str, condition: X, effects: "Mapping[str, X | Value]") -> Trip:
    return Trip(name=name, when=when(condition), effects=then(effects), source="", span=AT)


def plant(name: str, condition: "X | bool", after: tuple[int, int | None], effects: "Mapping[str, X | Value]") -> PlantRule:
    interval = Interval(earliest=after[0], latest=after[1], at_once=after == (0, 0), source="")
    return PlantRule(name=name, when=when(condition), interval=interval, effects=then(effects), source="", span=AT)


def person(name: str, condition: "X | bool", effects: "Mapping[str, X | Value]") -> PersonAction:
    return PersonAction(name=name, condition=when(condition), effects=then(effects), source="", span=AT)


def stuck(name: str, signal: str, value: Value, *, is_sensor: bool, condition: "X | bool" = True) -> Fault:
    held = Stuck(signal=signal, is_sensor=is_sensor, value=value)
    return Fault(name=name, condition=when(condition), stuck=held, effects=(), source="", span=AT)


def upset(name: str, condition: "X | bool", effects: "Mapping[str, X | Value]") -> Fault:
    return Fault(name=name, condition=when(condition), stuck=None, effects=then(effects), source="", span=AT)


def hazard(name: str, text: str, condition: X) -> Hazard:
    return Hazard(id=name, text=text, condition=when(condition), risk=None, source="", span=AT)


@dataclass(frozen=True, kw_only=True)
class Parts:
    """What a machine is made of; all may be left out."""

    name: str = "A machine"
    revision: str = ""
    tick_s: Fraction = Fraction(1)
    variables: tuple[Variable, ...] = ()
    sensors: tuple[Sensor, ...] = ()
    timers: tuple[Timer, ...] = ()
    commands: tuple[Command, ...] = ()
    trips: tuple[Trip, ...] = ()
    plant: tuple[PlantRule, ...] = ()
    people: tuple[PersonAction, ...] = ()
    faults: tuple[Fault, ...] = ()
    hazards: tuple[Hazard, ...] = ()

    @property
    def machine(self) -> Machine:
        return Machine(
            name=self.name,
            revision=self.revision,
            tick_s=self.tick_s,
            variables=self.variables,
            sensors=self.sensors,
            timers=self.timers,
            commands=self.commands,
            trips=self.trips,
            plant=self.plant,
            people=self.people,
            faults=self.faults,
            hazards=self.hazards,
            requirements=(),
            procedures=(),
        )


def line(number: int) -> Span:
    return Span.at(number, 1)
