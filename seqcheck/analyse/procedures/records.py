"""What a study of procedures finds out: which work, what every deviation comes to, each with a way that shows it."""

from enum import Enum, IntEnum

from msgspec import Struct

from seqcheck.model.model import State
from seqcheck.search.engine import Stop


class Deviation(Enum):
    """What is done otherwise than written, in the order of the table."""

    LEFT_OUT = "left_out"
    REPEATED = "repeated"
    SWAPPED = "swapped"
    EARLY = "early"
    INSTEAD = "instead"
    STOPPED = "stopped"


class Class(IntEnum):
    """What a deviation, or a procedure as written, can come to, worst first.

    LOST, STUCK and WAY_OUT: it gets stuck, and cannot be got out of, it is not known (or was not asked) whether it can, it can.
    NO_MOMENT: the deviation never comes about.
    """

    HAZARD = 1
    UNDECIDED = 2
    FAILS = 3
    LOST = 4
    STUCK = 5
    WAY_OUT = 6
    REFUSED = 7
    WELL = 8
    NO_EFFECT = 9
    NO_MOMENT = 10


class Way(Struct, frozen=True, kw_only=True):
    """A run, shortly: a start before settling, and what happens: numbers of steps, or so many ticks as negative numbers.

    *begins* is how many moves come before the procedure's own, *stuck* how many before it is stuck: what follows is a way out,
    or once round what it can go through for ever. *fails*: the last move is never completed; *start_fails*: the start is.
    """

    raw_start: State
    moves: tuple[int, ...]
    begins: int = 0
    stuck: int | None = None
    fails: bool = False
    start_fails: bool = False


class Refusal(Struct, frozen=True, kw_only=True):
    """A step (of the model) that is refused where the procedure's step *place* (from 0) was due, by the guards named."""

    place: int
    step: int
    guards: tuple[int, ...]


class Outcome(Struct, frozen=True, kw_only=True):
    """One class that is met, and a way that shows it: fewest steps, among those least time.

    *hazard* is the number of a property; *place* the step of the procedure (from 0) at which it is stuck, or their number if it
    comes to its end; *about* says in words what fails or has no value.
    """

    met: Class
    way: Way | None
    hazard: int | None = None
    refusal: Refusal | None = None
    place: int | None = None
    about: str = ""


class Row(Struct, frozen=True, kw_only=True):
    """One line of the table: a deviation at a step, *other* the command given instead; what it can come to, worst first.

    *regardless*: after a refusal the steps that follow are given all the same; else nothing more is done.
    """

    place: int
    deviation: Deviation
    other: int | None
    regardless: bool
    outcomes: tuple[Outcome, ...]


class Studied(Struct, frozen=True, kw_only=True):
    """One procedure: whether it works (None: undecided), how it breaks, worst first, and the rows of its deviations."""

    procedure: int
    works: bool | None
    breaks: tuple[Outcome, ...]
    rows: tuple[Row, ...] = ()
    stopped: Stop | None = None


class Study(Struct, frozen=True, kw_only=True):
    """What was found about some procedures of a model, and how much was looked at for it."""

    studied: tuple[Studied, ...]
    situations: int
    states: int
    stopped: Stop | None
    seconds: float
