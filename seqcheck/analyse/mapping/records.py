"""The map of reachable situations as data: situations, what leads from one to another, what is never reached."""

from msgspec import Struct

from seqcheck.model.run import StepKind, Value
from seqcheck.search.engine import Stop


class Axis(Struct, frozen=True, kw_only=True):
    """Something of the file by whose values states are grouped.

    *values* are its values, or bands of them (`1..7`), as the file writes them; where it may have none, `no value` is the last.
    """

    name: str
    spoken: str
    kind: str
    values: tuple[str, ...]


class Met(Struct, frozen=True, kw_only=True):
    """A hazard that is met in so many states."""

    id: str
    states: int


class Situation(Struct, frozen=True, kw_only=True):
    """The reachable states that have certain values, one of each axis.

    *starts* are start states among them, *failing* those in which some step leaves a range or never settles, *inside* the
    transitions that stay within.
    """

    values: tuple[str, ...]
    states: int
    starts: int
    hazards: tuple[Met, ...]
    failing: int
    inside: int


class Taken(Struct, frozen=True, kw_only=True):
    """A step that makes so many transitions; *to* as in a run. Time has no name."""

    kind: StepKind
    name: str
    to: Value | None
    transitions: int


class Passage(Struct, frozen=True, kw_only=True):
    """All that leads from one situation to another, both by number; in the file's order, time last."""

    tail: int
    head: int
    taken: tuple[Taken, ...]


class Unreached(Struct, frozen=True, kw_only=True):
    """Values that no reachable state has together, and the hazards that every such state would meet."""

    values: tuple[str, ...]
    hazards: tuple[str, ...]


class OnMap(Struct, frozen=True, kw_only=True):
    """A hazard, met in so many *states* (0: in none).

    It is *told* if each situation says whether it is met, in all its states or in none, reached or not.
    """

    id: str
    text: str
    states: int
    told: bool


class BadRun(Struct, frozen=True, kw_only=True):
    """The shortest run that violates something: what, in how many steps, and the situations that it passes, in order.

    *path* is empty where a search that ended early did not find all of them.
    """

    id: str
    text: str
    steps: int
    path: tuple[int, ...]


class SituationMap(Struct, frozen=True, kw_only=True):
    """The quotient of the reachable states by the values of some axes.

    *why* says in words where the axes come from. *possible* is the number of combinations that the values allow, reached
    or not; *unreached* are those of them that are not reached and in which a hazard would be met. *stopped*: only the states
    found until then are counted, and what was not reached may be reachable.
    """

    axes: tuple[Axis, ...]
    why: str
    faults: tuple[str, ...]
    states: int
    transitions: int
    situations: tuple[Situation, ...]
    passages: tuple[Passage, ...]
    unreached: tuple[Unreached, ...]
    possible: int
    hazards: tuple[OnMap, ...]
    bad: BadRun | None
    stopped: Stop | None
