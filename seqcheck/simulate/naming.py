"""Finds what a person's word means: variables and values by name, whatever the case, with near names on a miss."""

from collections.abc import Iterable
from difflib import get_close_matches

from seqcheck.check.machine import Machine, Variable
from seqcheck.check.typed import NumberType, StatesType, TruthType, Value
from seqcheck.simulate.acting import values_of
from seqcheck.simulate.cells import admits
from seqcheck.simulate.errors import RecordingError

TRUTHS = {"TRUE": True, "FALSE": False}


def plain(name: object) -> str:
    """Return a name or value as it is said: underscores as spaces, a truth as IEC 61131-3 writes it."""
    if isinstance(name, bool):
        return "TRUE" if name else "FALSE"
    return str(name).replace("_", " ")


def alike(name: object) -> str:
    """Return a name in the form in which two that differ in case, spaces and underscores are the same."""
    return " ".join(plain(name).upper().split())


def near(word: str, names: Iterable[str]) -> tuple[str, ...]:
    """Return names that look like a word, nearest first."""
    by_form = {alike(name): name for name in names}
    return tuple(by_form[form] for form in get_close_matches(alike(word), by_form, n=3, cutoff=0.6))


class Naming:
    """The variables of a machine, found by name."""

    def __init__(self, machine: Machine) -> None:
        self._variables = {variable.name.upper(): variable for variable in machine.variables}

    def value_of(self, name: str, value: Value) -> tuple[str, Value]:
        """Return a variable's declared name and one of its values as declared; raise `RecordingError` if unknown."""
        variable = self._variables.get(name.upper())
        if variable is None:
            raise RecordingError(f"the machine has no part, panel item, output or memory named {name}{self._hint(name)}")
        found = _as_declared(variable, value)
        if found is None:
            raise RecordingError(f"{variable.name} has no value {value}{_values_hint(variable)}")
        return variable.name, found

    def _hint(self, name: str) -> str:
        names = near(name, (variable.name for variable in self._variables.values()))
        return f"; near names: {', '.join(names)}" if names else ""


def _as_declared(variable: Variable, value: Value) -> Value | None:
    """Return the value as the type has it: text may stand for a truth or a number, and its case is ignored."""
    if admits(variable.type, value):
        return value
    if not isinstance(value, str):
        return None
    match variable.type:
        case TruthType():
            return TRUTHS.get(value.upper())
        case StatesType(states):
            return next((state for state in states if state.upper() == value.upper()), None)
        case NumberType():
            return _number(variable.type, value)


def _number(number_type: NumberType, text: str) -> int | None:
    digits = text.removeprefix("-")
    if not (digits.isascii() and digits.isdecimal() and len(digits) <= 18):
        return None
    return int(text) if admits(number_type, int(text)) else None


def _values_hint(variable: Variable) -> str:
    if isinstance(variable.type, NumberType):
        return f"; its range is {variable.type.lowest}..{variable.type.highest}"
    names = [plain(value) if isinstance(value, bool) else str(value) for value in values_of(variable)]
    return f"; it has {', '.join(names)}"
