"""The names of one file: variables, sensors and timers, looked up whatever their case."""

from enum import Enum
from typing import NamedTuple

from seqcheck.check.typed import StatesType, Type
from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.diagnostics.wording import NearNames, quoted
from seqcheck.syntax.document import Text
from seqcheck.syntax.words import RESERVED, is_identifier, is_odd


class Kind(Enum):
    """What a name stands for."""

    PART = "a part"
    PANEL = "a panel item"
    OUTPUT = "an output"
    MEMORY = "a memory"
    SENSOR = "a sensor"
    TIMER = "a timer"


class Declared(NamedTuple):
    """A name. *type* is a variable's, or that of a timer's ET; None: a sensor, or it could not be read."""

    name: str
    kind: Kind
    type: Type | None
    place: Text


class Scope:
    """All names of variables, sensors and timers of one file."""

    def __init__(self, sink: Sink, *, names_lost: bool) -> None:
        self._sink = sink
        self.near = NearNames()
        self._declared: dict[str, Declared] = {}
        self._states: dict[int, dict[str, str]] = {}
        self._owners: dict[str, str] = {}
        self._owner_of_type: dict[int, str] = {}
        self.names_lost = names_lost

    def declare(self, declared: Declared) -> bool:
        """Add a name; tell whether it was a good one and free."""
        fits = check_identifier(declared.place, declared.kind.value, self._sink)
        folded = declared.name.lower()
        first = self._declared.get(folded)
        if first is not None:
            message = f"{quoted(declared.name)} is already the name of {first.kind.value}, in line {first.place.span.line}"
            self._sink.report(Code.NAME_TAKEN, declared.place.span, message, "give one of them another name")
            return False
        self._declared[folded] = declared
        if isinstance(declared.type, StatesType):
            self._owner_of_type[id(declared.type)] = declared.name
            for state in declared.type.states:
                self._owners.setdefault(state.lower(), declared.name)
        return fits

    def find(self, name: str) -> Declared | None:
        """Return what *name* stands for."""
        return self._declared.get(name.lower())

    def state(self, kind: StatesType, name: str) -> str | None:
        """Return the state of *kind* called *name*, spelled as declared."""
        by_name = self._states.get(id(kind))
        if by_name is None:
            by_name = {state.lower(): state for state in kind.states}
            self._states[id(kind)] = by_name
        return by_name.get(name.lower())

    def owner(self, kind: StatesType) -> str:
        """Return the variable whose states these are."""
        return self._owner_of_type[id(kind)]

    def report_unknown(self, name: Text, kinds: frozenset[Kind] = frozenset(Kind)) -> None:
        """Report that nothing has this name; propose one of *kinds*."""
        if self.names_lost:
            return
        known = [d.name for d in self._declared.values() if d.kind in kinds]
        owner = self._owners.get(name.value.lower())
        near = self.near.near(name.value, known)
        if owner is not None:
            help_line = f"it is a state of {quoted(owner)}: write `{owner} = {name.value}`"
        elif near:
            help_line = f"did you mean {quoted(near)}?"
        else:
            help_line = "declare it, or check its spelling"
        self._sink.report(Code.UNKNOWN_NAME, name.span, f"there is nothing called {quoted(name.value)}", help_line)


def check_identifier(name: Text, what: str, sink: Sink) -> bool:
    """Report a name that can't be one of a variable, sensor, timer or state; warn of an odd one."""
    if not is_identifier(name.value):
        message = f"{quoted(name.value)} can't be the name of {what}"
        help_line = "use letters A to Z, digits and underscores, and no digit first"
        suggested = "_".join("".join(c if c.isascii() and c.isalnum() else " " for c in name.value).split())
        if is_identifier(suggested):
            help_line += f": {quoted(suggested)}"
        sink.report(Code.BAD_NAME, name.span, message, help_line)
        return False
    if name.value.upper() in RESERVED:
        message = f"{quoted(name.value)} is a word of Structured Text and can't be the name of {what}"
        sink.report(Code.BAD_NAME, name.span, message, f"choose another word, for example {quoted(name.value + '_it')}")
        return False
    if is_odd(name.value):
        message = f"{quoted(name.value)} has a doubled or trailing underscore"
        sink.report(Code.ODD_NAME, name.span, message, f"write {quoted('_'.join(filter(None, name.value.split('_'))))}")
    return True


class FreeNames:
    """Names in free text that must differ from one another: of rules, or of hazards and requirements."""

    def __init__(self, sink: Sink) -> None:
        self._sink = sink
        self._first: dict[str, tuple[str, Text]] = {}

    def declare(self, name: Text, what: str) -> None:
        """Add the name of *what*, or report that it is taken."""
        first = self._first.setdefault(name.value, (what, name))
        if first[1] is not name:
            message = f"{quoted(name.value)} is already the name of {first[0]}, in line {first[1].span.line}"
            self._sink.report(Code.NAME_TAKEN, name.span, message, "give one of them another name")
