"""What a comparison of two machines is asked and what it answers, whichever way it searches.

Both machines are given over one list of variables. A *situation* is what the two can be told apart by: the values of some of
these, and the codes of others, in which each machine keeps the same thing in its own way. What else a machine has is *hidden*:
then several of its states are one situation, and something can be possible in all, in some or in none of them.
"""

from enum import Enum

from msgspec import Struct

from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.search.engine import Stop, Trace


class Side(Enum):
    """Which of two machines."""

    OLD = "old"
    NEW = "new"


class Coded(Struct, frozen=True, kw_only=True):
    """Something that each machine keeps in a variable of its own. *place* is for its code, in a variable of neither.

    *old_codes* and *new_codes* are the codes of the values from the variable's lowest up; none is given twice.
    """

    place: int
    old: int
    new: int
    old_codes: tuple[int, ...]
    new_codes: tuple[int, ...]


class Label(Struct, frozen=True, kw_only=True):
    """A step of one name in both machines, by its number; None: a machine does not have it. Both None: waiting."""

    old: int | None
    new: int | None

    @property
    def is_wait(self) -> bool:
        """Whether it is time that passes."""
        return self.old is None and self.new is None


class Pair(Struct, frozen=True, kw_only=True):
    """Two machines to be compared, over one list of variables.

    *shared* are the places that both keep in the same way; *old_only* and *new_only* are hidden. *commands* tells which of
    *labels* can be refused. *conditions* are truths to be compared, one in each machine; *properties* are numbers
    of the properties with one id.
    """

    old: Model
    new: Model
    shared: tuple[int, ...]
    coded: tuple[Coded, ...]
    old_only: tuple[int, ...]
    new_only: tuple[int, ...]
    labels: tuple[Label, ...]
    commands: frozenset[int]
    conditions: tuple[tuple[Expression, Expression], ...]
    properties: tuple[tuple[int | None, int | None], ...]

    def hidden(self, side: Side) -> tuple[int, ...]:
        """Return what only one of the two has."""
        return self.old_only if side is Side.OLD else self.new_only

    def model(self, side: Side) -> Model:
        """Return one of the two machines."""
        return self.old if side is Side.OLD else self.new


class Way(Struct, frozen=True, kw_only=True):
    """A shortest way in one of the two machines."""

    side: Side
    trace: Trace


class Difference(Struct, frozen=True, kw_only=True):
    """How many situations, or transitions, and a way to one (None: it was not looked for)."""

    count: int
    way: Way | None


class Searched(Struct, frozen=True, kw_only=True):
    """What was searched of one machine.

    *found* has traces of those properties only that are in *asked*: the others come out alike in both machines, or nothing can
    be said of them. Traces are over the variables of the pair.
    """

    states: int
    situations: int
    asked: frozenset[int]
    found: dict[int, Trace]
    unjudged: dict[int, Trace]
    failures: tuple[Trace, ...]


class Level(Struct, frozen=True, kw_only=True):
    """Where a truth became more, and where less: of some states of a situation instead of none, or of all instead of some."""

    more: Difference | None
    less: Difference | None


class Moved(Struct, frozen=True, kw_only=True):
    """What became of the transitions of one name from common situations: those that only one machine has.

    Where there are both, a way is shown to one that has *come*.
    """

    gone: Difference | None
    come: Difference | None


class Compared(Struct, frozen=True, kw_only=True):
    """What sets two machines apart, of what was searched of both.

    *accepted* maps the places of labels that are commands, *moved* those of labels, *judged* those of conditions. *gone* and
    *come* are situations, *starts_gone* and *starts_come* those among the starts. *unclear* counts what is possible in some
    states of a situation only, in both machines: whether it is the same then depends on what is hidden.

    *stopped*: the search ended early. Then what is told of common situations is so, and there may be more; nothing is told of
    situations that only one machine has, and of properties. Where something is hidden nothing is told at all: a situation may
    have further states.
    """

    old: Searched
    new: Searched
    common: int
    stopped: Stop | None
    gone: Difference | None
    come: Difference | None
    starts_gone: Difference | None
    starts_come: Difference | None
    accepted: dict[int, Level]
    moved: dict[int, Moved]
    judged: dict[int, Level]
    unclear: int

    def searched(self, side: Side) -> Searched:
        """Return what was searched of one of the two."""
        return self.old if side is Side.OLD else self.new
