"""What an engine is asked and what it answers, whichever engine it is."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Protocol, TypeAlias

from seqcheck.model.expression import Expression
from seqcheck.model.model import Model, State


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Where a search gives up: states found, seconds of searching, megabytes (10^6 bytes) resident. None: no limit."""

    states: int | None = None
    seconds: float | None = None
    memory_mb: float | None = None


class Stop(Enum):
    """Why a search ended before every state was visited."""

    STATES = "the limit on states"
    SECONDS = "the limit on time"
    MEMORY = "the limit on memory"
    INTERRUPTED = "an interruption from the keyboard"


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far a search is: states found, transitions counted, the number of steps now searched, states not yet expanded."""

    states: int
    transitions: int
    layer: int
    waiting: int


Observer: TypeAlias = Callable[[Progress], None]
"""Is told now and then how far a search is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """A shortest way through settled states. *last* is a step (None with *attempts*: a tick) attempted at the end.

    *raw_start* is the start before settling. A trace whose start itself fails has no states.
    """

    raw_start: State
    states: tuple[State, ...]
    attempts: bool = False
    last: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Remarkable:
    """States of some remarkable sort: how many, and a shortest way to one."""

    count: int
    trace: Trace


@dataclass(frozen=True, slots=True, kw_only=True)
class Exploration:
    """What a search found.

    *found* maps the number of a property to a trace: a violation, or for `Reachable` without faults a witness. *failures*
    are traces whose last step never settles or leaves a range, one for each place where that can happen. *unjudged* maps
    properties to a way to a state in which their condition has no value. *never* are the numbers of the watched
    expressions that are true in no reachable state, *acted* the reactions that ever acted, *passing* the properties
    (hazards) that held while settling. *complete_steps*: every run of so many steps was searched (-1: none).
    """

    states: int
    transitions: int
    stopped: Stop | None
    complete_steps: int
    found: Mapping[int, Trace]
    failures: tuple[Trace, ...]
    unjudged: Mapping[int, Trace]
    never: frozenset[int]
    entered: tuple[frozenset[int], ...]
    acted: frozenset[int]
    passing: frozenset[int]
    dead_ends: Remarkable | None
    time_stuck: Remarkable | None


class Engine(Protocol):
    """A way to search all reachable states."""

    @property
    def name(self) -> str:
        """The name that `--engine` takes."""

    def explore(self, model: Model, watches: tuple[Expression, ...], limits: Limits, observer: Observer) -> Exploration:
        """Search every reachable state of *model*, or as far as *limits* allow."""
