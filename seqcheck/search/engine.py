"""What an engine is asked and what it answers, whichever engine it is."""

from collections.abc import Callable, Mapping, Sequence
from enum import Enum
from typing import Protocol, TypeAlias, runtime_checkable

from msgspec import Struct

from seqcheck.model.expression import Expression
from seqcheck.model.model import Model, State


class Limits(Struct, frozen=True, kw_only=True):
    """Where a search gives up: states found, seconds of searching, megabytes (10^6 bytes) resident. None: no limit.

    Memory is that of the process with all that it started, at its peak.
    """

    states: int | None = None
    seconds: float | None = None
    memory_mb: float | None = None


class Stop(Enum):
    """Why a search ended before every state was visited."""

    STATES = "the limit on states"
    SECONDS = "the limit on time"
    MEMORY = "the end of the memory it may take"
    INTERRUPTED = "an interruption from the keyboard"
    FIRST = "the first violation, as was asked"


class Progress(Struct, frozen=True, kw_only=True):
    """How far a search is: states found, transitions counted, the number of steps now searched, states not yet expanded."""

    states: int
    transitions: int
    layer: int
    waiting: int


Observer: TypeAlias = Callable[[Progress], None]
"""Is told now and then how far a search is."""


class Trace(Struct, frozen=True, kw_only=True):
    """A shortest way through settled states. *last* is a step (None with *attempts*: a tick) attempted at the end.

    *raw_start* is the start before settling. A trace whose start itself fails has no states.
    """

    raw_start: State
    states: tuple[State, ...]
    attempts: bool = False
    last: int | None = None


class Remarkable(Struct, frozen=True, kw_only=True):
    """States of some remarkable sort: how many, and a shortest way to one."""

    count: int
    trace: Trace


class Diagram(Struct, frozen=True, kw_only=True):
    """A set of states as a reduced ordered binary decision diagram.

    *order* names the bits from the top: a variable and a bit of its value less the variable's lowest (0: worth 1, 1: worth
    2, …). Node 0 is the empty set, node 1 everything; node *n* + 2 is `nodes[n]`: a place in *order*, and the nodes where
    that bit is 0 and 1, which come earlier. *root* is the set. A state is in the set if following its bits leads to 1.
    """

    order: tuple[tuple[int, int], ...]
    nodes: tuple[tuple[int, int, int], ...]
    root: int


class Listed(Struct, frozen=True, kw_only=True):
    """All reachable states; *ranks* maps a `Recoverable` that holds to each state's number of transitions to its goal."""

    states: Sequence[State]
    ranks: Mapping[int, Sequence[int]]


class Drawn(Struct, frozen=True, kw_only=True):
    """All reachable states as a diagram.

    *ranks* maps a `Recoverable` that holds to disjoint sets, the first that of its goal, which cover the reachable states:
    each state of a later one has a transition that is no fault into an earlier one.
    """

    states: Diagram
    ranks: Mapping[int, tuple[Diagram, ...]]


Evidence: TypeAlias = Listed | Drawn
"""The set of all reachable states, for a proof file."""


class Snapshot(Struct, frozen=True, kw_only=True):
    """A search as it stood, to be taken up again by the same engine on the same model. *parts* are the engine's own."""

    engine: str
    parts: Mapping[str, bytes]


class Keeper(Protocol):
    """Keeps snapshots of one search."""

    def due(self) -> bool:
        """Tell whether it is time for a new snapshot; cheap."""

    def save(self, snapshot: Snapshot) -> None:
        """Put a snapshot in place of the one before, whole or not at all."""

    def kept(self, engine: str) -> Snapshot | None:
        """Return the snapshot to go on from, if there is one of that engine."""


class Extras(Struct, frozen=True, kw_only=True):
    """What is asked of a search besides its answers: snapshots to be kept, and evidence for a proof file.

    *first*: stop once every run of so many steps is searched as the first violation takes.

    *exact_counts*: the states and transitions of the definition are to be counted, even if a reduced machine would do.

    *ahead*, if given, may be told of the traces of an answer that is still being worked out.
    """

    keeper: Keeper | None = None
    evidence: bool = False
    exact_counts: bool = False
    first: bool = False
    ahead: Callable[[Trace], None] | None = None


NO_EXTRAS = Extras()


class Exploration(Struct, frozen=True, kw_only=True):
    """What a search found.

    *found* maps the number of a property to a trace: a violation, or for `Reachable` without faults a witness. *failures*
    are traces whose last step never settles or leaves a range, one for each place where that can happen. *unjudged* maps
    properties to a way to a state in which their condition has no value. *never* are the numbers of the watched
    expressions that are true in no reachable state, *acted* the reactions that ever acted, *passing* the properties
    (hazards) that held while settling. *complete_steps*: every run of so many steps was searched (-1: none;
    None: that was not counted, the search having ended).

    *engine* names the engine that answered and *reason* says why it was that one, where a choice was made.
    *bytes_per_state* is what the set of visited states takes in memory. Not *exact_counts*: the states and transitions are
    those of a reduced machine. *evidence* is there if it was asked for and every state was visited.
    """

    states: int
    transitions: int
    stopped: Stop | None
    complete_steps: int | None
    found: Mapping[int, Trace]
    failures: tuple[Trace, ...]
    unjudged: Mapping[int, Trace]
    never: frozenset[int]
    entered: tuple[frozenset[int], ...]
    acted: frozenset[int]
    passing: frozenset[int]
    dead_ends: Remarkable | None
    time_stuck: Remarkable | None
    engine: str
    reason: str = ""
    bytes_per_state: float | None = None
    exact_counts: bool = True
    evidence: Evidence | None = None


class Engine(Protocol):
    """A way to search all reachable states."""

    @property
    def name(self) -> str:
        """The name that `--engine` takes."""

    def explore(
        self,
        model: Model,
        watches: tuple[Expression, ...],
        limits: Limits,
        observer: Observer,
        extras: Extras = NO_EXTRAS,
    ) -> Exploration:
        """Search every reachable state of *model*, or as far as *limits* allow.

        Raises `Unfit` before any search if the engine is not made for such a model.
        """


@runtime_checkable
class Preparing(Protocol):
    """An engine that can do part of its work before it knows the model."""

    def prepare(self) -> None:
        """Do that part, for the next search of this process."""


class Unfit(Exception):  # noqa: N818 - it is no error of the program
    """An engine is not made for a model; the text says why."""
