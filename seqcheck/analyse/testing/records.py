"""What acceptance-test sheets hold: tests with their rows, what each row shows, what cannot be tested, and how few tests do."""

from collections.abc import Iterator
from enum import Enum, IntEnum

from msgspec import Struct

from seqcheck.model.model import State
from seqcheck.model.run import By, Run, RunStep, Values
from seqcheck.search.engine import Stop


class Kind(Enum):
    """What a row shows: nothing, it only leads on; or one of the three sorts of checks."""

    STEP = "step"
    REFUSED = "refused"
    ACCEPTED = "accepted"
    TRIP = "trip"


class Timing(IntEnum):
    """How far a row can be done whatever the machine's own timing is, best first.

    ANY: at any time. WITHIN: within a stated time. PROMPT: without delay since the last wait. OPEN: the machine may take any
    time, or never do what is waited for. AT_ONCE: only in the moment itself. LUCK: the machine may also have moved so that the
    row cannot be done, or shows nothing. UNKNOWN: too much was to be looked at.
    """

    ANY = 0
    WITHIN = 1
    PROMPT = 2
    OPEN = 3
    AT_ONCE = 4
    LUCK = 5
    UNKNOWN = 6


class Energy(Enum):
    """What is proposed for a row: signals only, or that the person responsible chooses."""

    SIMULATED = "simulated signals only"
    CHOOSE = "to be chosen"


CHOICES = ("isolated", "simulated signals only", "low speed", "full energy")
"""The energy conditions that the person responsible chooses from."""


class Item(Struct, frozen=True, order=True):
    """One thing to be shown: a permissive refuses, a command is accepted, a trip writes one variable.

    *number* is that of a step, for a trip of a reaction; *place* that of a guard, for a trip of the variable that it writes.
    """

    sort: str
    number: int
    place: int = -1


class Cover(Struct, frozen=True, kw_only=True):
    """Whether an item is shown: by the row with an id; else *reason* says why not. *is_open*: a limit left that undecided."""

    item: Item
    text: str
    row: str = ""
    timing: Timing | None = None
    reason: str = ""
    is_open: bool = False
    alone: bool = True


class Row(Struct, frozen=True, kw_only=True):
    """One line of a sheet, with the *steps* of the test's run that it stands for; a command tried in vain, *tried*, is none.

    *hazards* are those that may be met on it as the machine is. *items* are what it shows. *refused_by* names the permissive
    that must refuse; *effects* are the values that must be there after it. *least_ticks* and *most_ticks* bound how long what
    is waited for can take (None: no bound). *within_ticks* is how long after the last row that did something it may be done.
    *deadlines* name the requirements that limit the time of an effect.
    """

    kind: Kind
    id: str = ""
    requirement: str = ""
    action: str = ""
    expected: str = ""
    limit: str = ""
    energy: Energy = Energy.CHOOSE
    why_energy: str = ""
    timing: Timing = Timing.ANY
    timing_text: str = ""
    hazards: tuple[str, ...] = ()
    steps: tuple[RunStep, ...] = ()
    tried: By | None = None
    items: tuple[Item, ...] = ()
    refused_by: str = ""
    effects: Values = ()
    least_ticks: int = 0
    most_ticks: int | None = None
    within_ticks: int | None = None
    deadlines: tuple[str, ...] = ()


class Restoring(Struct, frozen=True, kw_only=True):
    """How to get back to the start condition: lines of text, and the same as a run that goes on from the test's run.

    *hazards* are those that may be met on the way as the machine is.
    """

    lines: tuple[str, ...]
    found: bool
    run: Run | None = None
    hazards: tuple[str, ...] = ()


class SheetTest(Struct, frozen=True, kw_only=True):
    """One test: a run from the start condition with the checks made on its way. *cautions* name hazards that it may meet."""

    id: str
    title: str
    start: tuple[str, ...]
    rows: tuple[Row, ...]
    run: Run
    end: State
    restoring: Restoring
    cautions: tuple[str, ...] = ()

    @property
    def timing(self) -> Timing:
        """The worst timing of its rows."""
        return max((row.timing for row in self.rows), default=Timing.ANY)

    @property
    def checks(self) -> int:
        """How many of its rows show something."""
        return sum(row.kind is not Kind.STEP for row in self.rows)


class Sheets(Struct, frozen=True, kw_only=True):
    """All tests of a machine, what they cover, and what is not covered.

    *fewest*: no fewer of the *candidates*, the runs that were looked at, cover what can be covered; *greedy* is how many the
    simplest choice takes.
    """

    machine: str
    revision: str
    tests: tuple[SheetTest, ...]
    covers: tuple[Cover, ...]
    candidates: int
    greedy: int
    fewest: int
    assumptions: tuple[str, ...]
    rules: tuple[str, ...]
    engine: str
    states: int
    stopped: Stop | None

    @property
    def exact(self) -> bool:
        """Whether there are as few tests as can be."""
        return len(self.tests) == self.fewest

    def rows(self) -> Iterator[Row]:
        """Yield the rows of all tests."""
        for test in self.tests:
            yield from test.rows
