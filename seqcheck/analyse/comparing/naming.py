"""Finds out which names of two machines mean the same thing: equal ones, and those that are said to have been renamed.

Names of variables, sensors, timers and states ignore case, all others are exact.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from difflib import get_close_matches
from enum import Enum
from typing import TypeAlias

from msgspec import Struct

from seqcheck.model.model import Model, VariableKind
from seqcheck.model.run import StepKind


class Sort(Enum):
    """What a name is the name of."""

    VARIABLE = "variable"
    STATE = "state"
    SENSOR = "sensor"
    TIMER = "timer"
    COMMAND = "command"
    PERSON = "person's action"
    TRIP = "trip"
    PLANT = "plant rule"
    PROPERTY = "hazard or requirement"


IGNORE_CASE = frozenset({Sort.VARIABLE, Sort.STATE, Sort.SENSOR, Sort.TIMER})
STEP_SORTS = {StepKind.COMMAND: Sort.COMMAND, StepKind.PERSON: Sort.PERSON, StepKind.PLANT: Sort.PLANT}
TIME_KINDS = frozenset({VariableKind.TIMER, VariableKind.CLOCK})
MOST_OFFERED = 3


class RenameError(Exception):
    """A renaming that cannot be followed; the text says why."""


class Named(Struct, frozen=True, kw_only=True):
    """A name in a file, as it is written there. A state's is `variable.state`."""

    sort: Sort
    name: str


Names: TypeAlias = Mapping[Sort, Sequence[str]]
Key: TypeAlias = tuple[Sort, str]


def names_of(model: Model) -> dict[Sort, list[str]]:
    """Return all names of a machine that a comparison goes by."""
    declared = [v for v in model.variables if v.kind not in TIME_KINDS]
    found: dict[Sort, list[str]] = {sort: [] for sort in Sort}
    found[Sort.VARIABLE] += [v.name for v in declared]
    found[Sort.STATE] += [f"{v.name}.{label}" for v in declared for label in v.labels if isinstance(label, str)]
    found[Sort.SENSOR] += [sensor.name for sensor in model.sensors]
    found[Sort.TIMER] += [timer.name for timer in model.timers]
    for step in model.steps:
        if step.kind in STEP_SORTS:
            found[STEP_SORTS[step.kind]].append(step.name)
    for reaction in model.reactions:
        found[Sort.TRIP if reaction.is_trip else Sort.PLANT].append(reaction.name)
    found[Sort.PROPERTY] += [p.id for p in model.properties]
    return found


def folded(sort: Sort, name: str) -> str:
    """Return a name as it is compared."""
    return name.lower() if sort in IGNORE_CASE else name


class Naming:
    """The names of two machines, and which of the new one stands for which of the old one."""

    def __init__(self, old: Model, new: Model, renames: Sequence[str]) -> None:
        self._old, self._new = names_of(old), names_of(new)
        self._renamed: dict[Key, str] = {}
        self._taken: dict[Key, str] = {}
        for given in renames:
            self._rename(given)

    def _rename(self, given: str) -> None:
        """Take note of one renaming. Raises `RenameError`."""
        readings = [(given[:place].strip(), given[place + 1 :].strip()) for place, c in enumerate(given) if c == "="]
        if not readings:
            raise RenameError(f"“{given}” has no =; write it as OLD=NEW")
        meant = [(sort, *reading) for reading in readings for sort in Sort if self._both_have(sort, *reading)]
        if not meant:
            raise RenameError(self._why_not(*readings[0]))
        for sort, old, new in meant:
            self._note((sort, folded(sort, old)), (sort, folded(sort, new)), given)

    def _note(self, old: Key, new: Key, given: str) -> None:
        if self._renamed.get(old, new[1]) != new[1] or self._taken.get(new, old[1]) != old[1]:
            raise RenameError(f"“{given}” goes against another renaming of the same {old[0].value}")
        self._renamed[old] = new[1]
        self._taken[new] = old[1]

    def _both_have(self, sort: Sort, old: str, new: str) -> bool:
        return has(self._old, sort, old) and has(self._new, sort, new)

    def _why_not(self, old: str, new: str) -> str:
        sorts = [[sort for sort in Sort if has(names, sort, name)] for names, name in ((self._old, old), (self._new, new))]
        for side, names, name, found in (("old", self._old, old, sorts[0]), ("new", self._new, new, sorts[1])):
            if not found:
                known = [one for listed in names.values() for one in listed]
                near = get_close_matches(name, known, MOST_OFFERED)
                offer = f"; did you mean {' or '.join(f'“{one}”' for one in near)}?" if near else ""
                return f"the {side} file has nothing named “{name}”{offer}"
        return f"“{old}” is a {sorts[0][0].value} of the old file, “{new}” a {sorts[1][0].value} of the new one"

    def renamed(self, sort: Sort, old: str) -> str:
        """Return the name, as it is compared, that stands in the new file for one of the old file."""
        key = (sort, folded(sort, old))
        if key in self._renamed:
            return self._renamed[key]
        # A name that another one has been given is free for nobody else.
        return "" if key in self._taken else key[1]

    def state(self, variable: str, state: str, new_variable: str) -> str:
        """Return the state, as it is compared, that stands for one of a variable's in the new file."""
        key = (Sort.STATE, f"{variable}.{state}".lower())
        if key in self._renamed:
            owner, _, renamed = self._renamed[key].partition(".")
            return renamed if owner == new_variable.lower() else ""
        same = (Sort.STATE, f"{new_variable}.{state}".lower())
        return "" if same in self._taken else state.lower()

    def across(self, name: str) -> str:
        """Return how any name of the old file, of whatever sort, is compared in the new one."""
        sort = next((sort for sort in Sort if has(self._old, sort, name)), None)
        return name if sort is None else self.renamed(sort, name) or name

    def in_new(self, name: str) -> str:
        """Return how any name of the new file is compared."""
        sort = next((sort for sort in Sort if has(self._new, sort, name)), None)
        return name if sort is None else folded(sort, name)

    def unmatched(self) -> tuple[tuple[Named, ...], tuple[Named, ...]]:
        """Return the names of the old file that nothing stands for in the new one, and the reverse."""
        gone = [Named(sort=s, name=n) for s, n in self._each(self._old) if not self._stands(s, n)]
        met = {(s, self._counterpart(s, n)) for s, n in self._each(self._old)}
        come = [Named(sort=s, name=n) for s, n in self._each(self._new) if (s, folded(s, n)) not in met]
        lost = {folded(n.sort, n.name) for n in (*gone, *come) if n.sort is Sort.VARIABLE}
        return tuple(without_states(gone, lost)), tuple(without_states(come, lost))

    @staticmethod
    def _each(names: Names) -> Iterator[Key]:
        return ((sort, name) for sort in Sort for name in names[sort])

    def _stands(self, sort: Sort, name: str) -> bool:
        return has(self._new, sort, self._counterpart(sort, name))

    def _counterpart(self, sort: Sort, name: str) -> str:
        if sort is not Sort.STATE:
            return self.renamed(sort, name)
        variable, _, state = name.partition(".")
        owner = self.renamed(Sort.VARIABLE, variable)
        return f"{owner}.{self.state(variable, state, owner)}"


def has(names: Names, sort: Sort, name: str) -> bool:
    """Tell whether there is a name of a sort."""
    return any(folded(sort, one) == folded(sort, name) for one in names[sort])


def without_states(named: Iterable[Named], lost: set[str]) -> Iterator[Named]:
    """Leave out the states of variables that have no counterpart themselves."""
    return (n for n in named if n.sort is not Sort.STATE or n.name.lower().partition(".")[0] not in lost)
