"""Where a search stands: which states wait to be visited, in the order of (steps, time)."""

from collections.abc import Iterator
from typing import TypeAlias

from msgspec import Struct, field

from seqcheck.model.model import State
from seqcheck.search.plain.program import STEP

Buckets: TypeAlias = dict[int, list[State]]
"""States by their time in ticks."""


class Frontier(Struct):
    """The states that wait. A layer holds all of one number of steps, sorted into buckets by time.

    *rest* from *at* on is what is left of the bucket now being visited, that of *moment*; *buckets* are the later ones of
    this layer, *following* those of the next: the starts, before the first layer. On a timed machine *cost* has the key of
    each state in a bucket; an entry with another key is one that a cheaper way has overtaken.
    """

    timed: bool
    cost: dict[State, int]
    layer: int = -1
    complete_steps: int = -1
    moment: int = 0
    rest: list[State] = field(default_factory=list)
    at: int = 0
    buckets: Buckets = field(default_factory=dict)
    following: Buckets = field(default_factory=dict)
    waiting: int = 0

    @property
    def key(self) -> int:
        """The key of all states in *rest*."""
        return self.layer * STEP + self.moment

    def add_start(self, state: State) -> None:
        """Take in a settled start."""
        self.following.setdefault(0, []).append(state)
        self.waiting += 1

    def part(self, most: int) -> list[State]:
        """Return the next states to visit, at most so many and all of one key; none: every state was visited."""
        while self.at >= len(self.rest):
            if not self._open_bucket():
                return []
        part = self.rest[self.at : self.at + most]
        self.at += len(part)
        self.waiting -= len(part)
        return part

    def _open_bucket(self) -> bool:
        """Open the next bucket, of the next layer if need be; tell whether there is one."""
        if not self.buckets:
            self.complete_steps = self.layer
            if not self.following:
                return False
            self.buckets, self.following = self.following, {}
            self.layer += 1
        self.moment = min(self.buckets)
        listed = self.buckets.pop(self.moment)
        self.rest, self.at = self._live(listed, self.key), 0
        self.waiting -= len(listed) - len(self.rest)
        for state in self.rest if self.timed else ():
            del self.cost[state]
        return True

    def _live(self, bucket: list[State], key: int) -> list[State]:
        """Leave out states that a cheaper way has overtaken."""
        return [state for state in bucket if self.cost.get(state) == key] if self.timed else bucket

    def add(self, fresh: list[State], waits: list[State]) -> None:
        """Take in what a visit discovered: states that are one step further, and states that are one tick later."""
        if fresh:
            self.following.setdefault(self.moment, []).extend(fresh)
        if waits:
            self.buckets.setdefault(self.moment + 1, []).extend(waits)
        self.waiting += len(fresh) + len(waits)
        if self.at >= len(self.rest) and not self.buckets:
            self.complete_steps = self.layer

    def closes_layer(self) -> bool:
        """Tell whether all of this layer was visited, and count it as complete if so."""
        if self.layer < 0 or self.at < len(self.rest):
            return False
        if any(self._live(bucket, self.layer * STEP + moment) for moment, bucket in self.buckets.items()):
            return False
        self.complete_steps = self.layer
        return True

    def live(self) -> Iterator[tuple[int, int, list[State]]]:
        """Yield steps, time and states of everything that waits, each state once: *rest* first, then the buckets."""
        yield self.layer, self.moment, self.rest[self.at :]
        for layer, buckets in ((self.layer, self.buckets), (self.layer + 1, self.following)):
            for moment, bucket in buckets.items():
                yield layer, moment, self._live(bucket, layer * STEP + moment)

    def take_up(self, groups: list[tuple[int, int, list[State]]]) -> None:
        """Stand where another search stood, given what `live` yielded there."""
        self.layer, self.moment, self.rest = groups[0]
        self.at = 0
        for layer, moment, states in groups[1:]:
            (self.buckets if layer == self.layer else self.following)[moment] = states
            if self.timed:
                self.cost.update(dict.fromkeys(states, layer * STEP + moment))
        self.waiting = sum(len(states) for _, _, states in groups)
