"""Finds for each class that a deviation meets a cheapest way that shows it: fewest steps, among those least time."""

from collections.abc import Callable, Iterable, Iterator
from heapq import heapify, heappop, heappush
from typing import TypeAlias

from msgspec import Struct, field

from seqcheck.analyse.procedures.deviations import Deviating
from seqcheck.analyse.procedures.outcomes import Outcomes
from seqcheck.analyse.procedures.records import Deviation
from seqcheck.analyse.procedures.situations import NO_EFFECT, SHIFT, STATE, WELL, Refused, Situations
from seqcheck.analyse.procedures.written import Written, cost_of

Node: TypeAlias = tuple[int, bool]
"""A situation, and whether something was refused in the deviation before it."""


class Found(Struct, frozen=True, kw_only=True):
    """A situation, what it costs to come there, and how: the situation as written where it begins, and the moves from there."""

    cost: int
    situation: int
    entry: int
    moves: tuple[int, ...]


class Walk(Struct, kw_only=True):
    """The situations of a deviation up to where it goes on as written: *inner* ones, and *joins*.

    A join is *unchanged* where the deviation had no effect: nothing was refused, and the machine may be there in the same state
    as written.
    """

    inner: list[Node] = field(default_factory=list)
    joins: list[tuple[Node, bool]] = field(default_factory=list)
    costs: dict[Node, int] = field(default_factory=dict)
    parents: dict[Node, tuple[Node | None, int]] = field(default_factory=dict)

    def found(self, node: Node) -> Found:
        """Return how a situation of the walk is come to."""
        cost, situation, moves = self.costs[node], node[0], []
        while (parent := self.parents[node])[0] is not None:
            moves.append(parent[1])
            node = parent[0]
        return Found(cost=cost, situation=situation, entry=parent[1], moves=tuple(reversed(moves)))


class Witnesses:
    """Looks through what can come of the deviations from one procedure."""

    def __init__(self, situations: Situations, written: Written, outcomes: Outcomes) -> None:
        self._situations = situations
        self._written = written
        self._outcomes = outcomes
        self._as_written: dict[tuple[int, int], set[int]] = {}

    def looked(self, deviating: Deviating) -> "Look":
        """Look through one deviation."""
        each = [deviating.entries] if deviating.deviation is Deviation.STOPPED else [(entry,) for entry in deviating.entries]
        walks = [self._walk(deviating, entries) for entries in each if entries]
        return Look(self._situations, self._outcomes, deviating, walks, self._written.reached)

    def _walk(self, deviating: Deviating, entries: Iterable[int]) -> Walk:
        walk, visit = Walk(), self._situations.visit
        alone, first = self._situations.script.alone, deviating.cell << SHIFT
        heap: list[tuple[int, int, bool]] = []
        for entry in entries:
            node = first | entry & STATE, False
            if node not in walk.costs:
                walk.costs[node] = self._written.reached[entry]
                walk.parents[node] = (None, entry)
                heap.append((walk.costs[node], *node))
        heapify(heap)
        while heap:
            cost, *rest = heappop(heap)
            node = rest[0], bool(rest[1])
            if cost > walk.costs[node]:
                continue
            cell = node[0] >> SHIFT
            if cell == deviating.target:
                walk.joins.append((node, self._is_unchanged(deviating, node, walk)))
                continue
            walk.inner.append(node)
            if cell == alone or not self._outcomes.is_seen(node[0]) or (seen := visit(node[0])).hazards:
                continue
            refused = any(isinstance(noted, Refused) for _, noted in self._situations.named(seen.noted))
            for move, after in seen.moves:
                reached = after, node[1] or (refused and after >> SHIFT != cell)
                total = cost + cost_of(move)
                if total < walk.costs.get(reached, total + 1):
                    walk.costs[reached] = total
                    walk.parents[reached] = (node, move)
                    heappush(heap, (total, *reached))
        return walk

    def _is_unchanged(self, deviating: Deviating, node: Node, walk: Walk) -> bool:
        if node[1] or deviating.deviation is Deviation.STOPPED:
            return False
        line = self._written.line
        cell = (*line.first, line.end)[deviating.on]
        state = node[0] & STATE
        if cell << SHIFT | state not in self._written.reached:
            return False
        return state in self._may_be(walk.found(node).entry, cell)

    def _may_be(self, entry: int, cell: int) -> set[int]:
        """Return the states in which the machine may come from a situation to a cell as written, hazards not met."""
        known = self._as_written.get((entry, cell))
        if known is None:
            known = self._as_written[entry, cell] = set()
            seen, pending = {entry}, [entry]
            while pending:
                situation = pending.pop()
                if situation not in self._written.reached or self._situations.visit(situation).hazards:
                    continue
                if situation >> SHIFT == cell:
                    known.add(situation & STATE)
                for _, after in self._situations.visit(situation).moves:
                    if after not in seen and (situation >> SHIFT != cell or after >> SHIFT == cell):
                        seen.add(after)
                        pending.append(after)
        return known


class Look:
    """All that one deviation can come to. *comes_to* and *hazards* are bits, as in `situations`."""

    def __init__(
        self, situations: Situations, outcomes: Outcomes, deviating: Deviating, walks: list[Walk], written: dict[int, int]
    ) -> None:
        self._situations = situations
        self._outcomes = outcomes
        self._deviating = deviating
        self._walks = walks
        self._written = written
        self.comes_to = 0
        self.hazards = 0
        for root in deviating.roots:
            self.hazards |= outcomes.hazards[outcomes.place(root)]
        for walk in walks:
            for node in walk.inner:
                self.comes_to |= self._of_inner(node[0])
            for node, unchanged in walk.joins:
                self.comes_to |= self._of_join(node[0], unchanged=unchanged)

    @property
    def is_open(self) -> bool:
        """Whether there may be more hazards, where it was not looked."""
        return bool(self.hazards >> len(self._situations.moves.hazards))

    def _of_inner(self, situation: int) -> int:
        if situation >> SHIFT == self._situations.script.alone:
            return self._outcomes.comes_to[self._outcomes.place(situation)]
        return self._outcomes.own(situation)

    def _of_join(self, situation: int, *, unchanged: bool) -> int:
        bits = self._outcomes.comes_to[self._outcomes.place(situation)]
        return bits ^ WELL ^ NO_EFFECT if unchanged and bits & WELL else bits

    def hazard(self, bit: int) -> Found:
        """Return the cheapest way to a hazard that can be met."""
        seeds = [
            Found(cost=self._written[entry], situation=root, entry=entry, moves=())
            for entry, root in zip(self._deviating.entries, self._deviating.roots, strict=True)
        ]
        visit, total = self._situations.visit, self._outcomes.hazards
        return self._guided(seeds, lambda s: visit(s).hazards & bit, lambda s: total[self._outcomes.place(s)] & bit)

    def note(self, bit: int) -> Found:
        """Return the cheapest way to what a bit of `comes_to` stands for."""
        sought = WELL if bit == NO_EFFECT else bit
        own, total = self._outcomes.own, self._outcomes.comes_to
        seeds = list(self._seeds(bit))
        return self._guided(seeds, lambda s: own(s) & sought, lambda s: total[self._outcomes.place(s)] & sought)

    def _seeds(self, bit: int) -> Iterator[Found]:
        for walk in self._walks:
            for node in walk.inner:
                if self._of_inner(node[0]) & bit:
                    yield walk.found(node)
            for node, unchanged in walk.joins:
                if self._of_join(node[0], unchanged=unchanged) & bit:
                    yield walk.found(node)

    def _guided(self, seeds: Iterable[Found], is_there: Callable[[int], int], may_lead: Callable[[int], int]) -> Found:
        """Return the cheapest way from one of the seeds to where it is, through where it may lead."""
        starts = {seed.situation: seed for seed in sorted(seeds, key=lambda seed: -seed.cost)}
        costs = {situation: seed.cost for situation, seed in starts.items()}
        parents: dict[int, tuple[int, int]] = {}
        heap = [(cost, situation) for situation, cost in costs.items()]
        heapify(heap)
        while heap:
            cost, situation = heappop(heap)
            if is_there(situation):
                return self._traced(situation, cost, starts, parents)
            if cost > costs[situation]:
                continue
            for move, after in self._situations.visit(situation).moves:
                total = cost + cost_of(move)
                if may_lead(after) and total < costs.get(after, total + 1):
                    costs[after] = total
                    parents[after] = (situation, move)
                    heappush(heap, (total, after))
        raise AssertionError(self._deviating)

    @staticmethod
    def _traced(situation: int, cost: int, starts: dict[int, Found], parents: dict[int, tuple[int, int]]) -> Found:
        moves: list[int] = []
        at = situation
        while at in parents:
            at, move = parents[at]
            moves.append(move)
        seed = starts[at]
        return Found(cost=cost, situation=situation, entry=seed.entry, moves=(*seed.moves, *reversed(moves)))
