"""Looks at the limits between two pieces of work, and tells the observer."""

from collections.abc import Callable
from dataclasses import dataclass

from seqcheck.search.engine import Limits, Observer, Progress, Stop
from seqcheck.search.limits import Allowance
from seqcheck.search.packed.rolls import OutOfMemory

FINISHING_S = 2e-9
"""Letting go of a state takes so long at the end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lookout:
    """What a search may take and whom it tells. *pilot_states*: a first, short search stops there."""

    allowance: Allowance
    limits: Limits
    observer: Observer
    pilot_states: int | None = None

    def look(self, count: Callable[[], Progress]) -> Stop | None:
        """Return the limit that is exceeded, if any."""
        progress = count()
        self.observer(progress)
        if self.pilot_states is not None and progress.states > self.pilot_states:
            return self.allowance.exceeded(progress.states) or Stop.STATES
        return self.allowance.exceeded(progress.states, progress.states * FINISHING_S)

    def reserve(self, wanted_bytes: int) -> None:
        """Raise `OutOfMemory` if so many bytes more would go beyond the limit."""
        if self.limits.memory_mb is not None and self.allowance.room_mb() < wanted_bytes / 1e6:
            raise OutOfMemory

    def exceeded_states(self, states: int) -> bool:
        """Tell whether the limit on states is exceeded."""
        return self.limits.states is not None and states > self.limits.states

    @property
    def most_states(self) -> int | None:
        """How many states may be found."""
        some = [most for most in (self.limits.states, self.pilot_states) if most is not None]
        return min(some, default=None)
