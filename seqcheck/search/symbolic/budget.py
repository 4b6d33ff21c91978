"""Says how much room the diagrams of a search may take, and looks at the limits while it goes on."""

import time

from seqcheck.search.engine import Limits, Observer, Progress, Stop
from seqcheck.search.limits import Allowance
from seqcheck.search.symbolic.diagrams import Space
from seqcheck.search.symbolic.reaching import Halt, Reached

MOST_NODES = 1 << 25
LEAST_NODES = 1 << 12
BYTES_A_NODE = 32
"""A node with its entry in the table of nodes."""

BYTES_A_CACHED = 24
"""An entry of the cache of operations."""

SMALL = 110
SMALL_CACHE, LARGE_CACHE = 1 << 18, 1 << 20
"""Entries of the cache of operations, for models of few bits and of many: a large one takes 30 ms to lay out."""

SHOWN_EVERY_S = 0.5
AFTERWARDS = 0.04
"""Answering takes this part of the time that was searched, and more if runs are to be shown."""


def cache_for(bits: int, *, is_long: bool = False) -> int:
    """Return how many entries the cache of operations has for a model of so many bits, or for a search that is long anyway."""
    return SMALL_CACHE if bits <= SMALL and not is_long else LARGE_CACHE


def nodes_for(room_mb: float, cache: int) -> int:
    """Return how many nodes fit into so many megabytes (10^6 bytes), beside the cache."""
    room = room_mb * 1e6 - cache * BYTES_A_CACHED
    return MOST_NODES if room >= MOST_NODES * BYTES_A_NODE else max(LEAST_NODES, int(room) // BYTES_A_NODE)


class Budget:
    """Looks at the limits of one search, and tells an observer how far it is. *is_long*: it will take a second or so."""

    def __init__(self, allowance: Allowance, limits: Limits, observer: Observer, *, is_long: bool = False) -> None:
        self.is_long = is_long
        self._allowance = allowance
        self._limits = limits
        self._observer = observer
        self._began = time.monotonic()
        self._shown_at = self._began
        self._lifted = False
        self.space: Space | None = None
        self.stopped: Stop | None = None

    def room_mb(self) -> float:
        """Return how much memory may still be taken, in megabytes (10^6 bytes)."""
        return self._allowance.room_mb()

    def lift(self) -> None:
        """Stop looking: the search has ended, what is found is to be told."""
        self._lifted = True

    def check(self, reached: Reached) -> None:
        """Report progress. Raises `Halt` where a limit is reached."""
        if self._lifted:
            return
        states = 0
        now = time.monotonic()
        shows = now - self._shown_at > SHOWN_EVERY_S
        if self.space is not None and (shows or self._limits.states is not None):
            states = self.space.count(reached.states)
        if shows:
            self._shown_at = now
            layer = max(0, len(reached.layers) - 1)
            self._observer(Progress(states=states, transitions=0, layer=layer, waiting=0))
        self.stopped = self._allowance.exceeded(states, AFTERWARDS * (now - self._began))
        if self.stopped is not None:
            raise Halt(self.stopped)
