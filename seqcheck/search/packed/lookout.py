"""Looks at the limits between two pieces of work, and tells the observer."""

import threading
from collections.abc import Callable
from typing import TYPE_CHECKING

from msgspec import Struct, field

from seqcheck.search.engine import Limits, Observer, Progress, Stop
from seqcheck.search.limits import Allowance
from seqcheck.search.packed.rolls import Exhausted

if TYPE_CHECKING:
    from seqcheck.search.packed.searching import Search

FINISHING_S = 2e-9
"""Letting go of a state takes so long at the end."""

GROWING_S = 4e-9
"""Filling a byte of a table that grows takes so long."""

FOR_SUCCESSORS = 0.03
"""The share of the limit on memory for successors that are not in a table yet."""

KEEPING_S = 3e-8
"""Writing a state into a snapshot takes so long."""


class Budget(Struct):
    """What may still be taken of memory until the next look, by all threads together: what is granted is not used at once."""

    left_bytes: float = float("inf")
    lock: threading.Lock = field(default_factory=threading.Lock)

    def take(self, wanted_bytes: int) -> None:
        """Take so much, or give it back if it is below 0. Raises `Exhausted` if it is not there."""
        with self.lock:
            if wanted_bytes > max(0, self.left_bytes):
                raise Exhausted
            self.left_bytes -= wanted_bytes


class Lookout(Struct, frozen=True, kw_only=True):
    """What a search may take and whom it tells. *pilot_states*: a first, short search stops there.

    *to_the_first*: stop after the layer in which a violation was found. *keep* is called where a search can be taken up again.
    *finishing_s*: how long it takes at the end for each state.
    """

    allowance: Allowance
    limits: Limits
    observer: Observer
    pilot_states: int | None = None
    to_the_first: bool = False
    keep: Callable[["Search"], None] = lambda _search: None
    finishing_s: float = FINISHING_S
    budget: Budget = field(default_factory=Budget)

    def __post_init__(self) -> None:
        self.budget.left_bytes = self.allowance.room_mb() * 1e6

    def look(self, count: Callable[[], Progress]) -> Stop | None:
        """Return the limit that is exceeded, if any."""
        progress = count()
        self.observer(progress)
        self.budget.left_bytes = self.allowance.room_mb() * 1e6
        if self.pilot_states is not None and progress.states > self.pilot_states:
            return self.allowance.exceeded(progress.states) or Stop.STATES
        return self.allowance.exceeded(progress.states, progress.states * self.finishing_s)

    def reserve(self, wanted_bytes: int) -> None:
        """Ask for so many bytes more; below 0: give them back. Raises `Exhausted` if they would go beyond the limit."""
        needed_s = wanted_bytes * GROWING_S
        if self.limits.seconds is not None and needed_s > 0 and self.allowance.exceeded(0, needed_s) is Stop.SECONDS:
            raise Exhausted(Stop.SECONDS)
        self.budget.take(wanted_bytes)

    def exceeded_states(self, states: int) -> bool:
        """Tell whether the limit on states is exceeded."""
        return self.limits.states is not None and states > self.limits.states

    def most_sources(self, states: int, source_bytes: int, successors: int) -> float:
        """Return how many states may be expanded at a time: *states* were found, and each may take so much, for a while."""
        fitting = float("inf")
        if self.limits.memory_mb is not None:
            fitting = self.limits.memory_mb * 1e6 * FOR_SUCCESSORS / source_bytes
        if self.most_states is not None:
            fitting = min(fitting, (self.most_states - states) // successors)
        return max(1, fitting)

    @property
    def most_states(self) -> int | None:
        """How many states may be found."""
        some = [most for most in (self.limits.states, self.pilot_states) if most is not None]
        return min(some, default=None)
