"""Holds the values of variables. The one place that knows the `transitions` library.

A variable with states, or a truth, is a `transitions.Machine` of its own with one transition for each allowed move, so
that a value which was not declared can't come about. Numbers, and lists of states too long for that, are plain data.
"""

from typing import Final, Protocol

from transitions import Machine as StateMachine

from seqcheck.check.typed import NumberType, StatesType, TruthType, Type, Value
from seqcheck.simulate.errors import SimulateError

MOST_STATES: Final = 64
"""Moves grow with the square of the states: 64 states take about 10 ms to build, 16 take 0.5 ms."""


class Cell(Protocol):
    """What holds the value of one variable."""

    @property
    def value(self) -> Value:
        """The value now."""
        ...

    def move_to(self, value: Value) -> None:
        """Change the value, by a declared move."""
        ...

    def put_back(self, value: Value) -> None:
        """Set a value that it had before."""
        ...


def make_cell(variable_type: Type, start: Value) -> Cell:
    """Return what holds a variable of some type."""
    match variable_type:
        case TruthType():
            return _StatesCell((False, True), start)
        case StatesType(states) if len(states) <= MOST_STATES:
            return _StatesCell(states, start)
        case StatesType() | NumberType():
            return _PlainCell(variable_type, start)


def admits(variable_type: Type, value: Value) -> bool:
    """Tell whether a variable of some type can have a value."""
    match variable_type:
        case TruthType():
            return isinstance(value, bool)
        case StatesType(states):
            return value in states
        case NumberType(lowest, highest):
            return isinstance(value, int) and not isinstance(value, bool) and lowest <= value <= highest


class _Position:
    """The model of a state machine: the library keeps `state` in it."""

    state: str


class _StatesCell:
    """A variable with states or a truth, as a state machine."""

    def __init__(self, values: tuple[Value, ...], start: Value) -> None:
        labels = {value: str(value) for value in values}
        moves = [
            {"trigger": f"set {label}", "source": [other for other in labels.values() if other != label], "dest": label}
            for label in labels.values()
            if len(labels) > 1
        ]
        self._values = {label: value for value, label in labels.items()}
        self._position = _Position()
        self._machine = StateMachine(
            model=self._position,
            states=list(labels.values()),
            transitions=moves,
            initial=labels[start],
            auto_transitions=False,
        )

    @property
    def value(self) -> Value:
        return self._values[self._position.state]

    def move_to(self, value: Value) -> None:
        if str(value) != self._position.state:
            self._machine.events[f"set {value}"].trigger(self._position)

    def put_back(self, value: Value) -> None:
        self._machine.set_state(str(value), self._position)


class _PlainCell:
    """A number in a range, or one of very many states."""

    def __init__(self, variable_type: Type, start: Value) -> None:
        self._type = variable_type
        self._value = start

    @property
    def value(self) -> Value:
        return self._value

    def move_to(self, value: Value) -> None:
        if not admits(self._type, value):
            problem = f"{value!r} is no declared value"
            raise SimulateError(problem)
        self._value = value

    def put_back(self, value: Value) -> None:
        self._value = value
