"""Chooses few tests that show everything between them: a set cover, greedily and then exactly, with a bound to trust.

Exactly: branch and bound over the item that the fewest tests show. Bounds: items of which no test shows two need a test
each; and a test shows at most so many items. (Garey and Johnson, Computers and Intractability, 1979, problem SP5, from memory.)
"""

from collections.abc import Sequence

from msgspec import Struct

MOST_NODES = 20_000
"""Branches that are looked at before what was found must do."""


class Chosen(Struct, frozen=True, kw_only=True):
    """The numbers of the sets chosen, how many greed alone took, and how few can possibly do."""

    sets: tuple[int, ...]
    greedy: int
    fewest: int


def cover(sets: Sequence[frozenset[int]], costs: Sequence[int]) -> Chosen:
    """Choose few sets that together have everything that any of them has; of equally many, cheap ones where that is easy."""
    everything = frozenset[int]().union(*sets)
    kept = _undominated(sets, costs)
    greedy = _greedy(sets, costs, kept, everything)
    search = _Search(sets=[sets[n] for n in kept], best=[kept.index(n) for n in greedy])
    search.branch(everything, [])
    chosen = tuple(kept[n] for n in search.best)
    whole = search.nodes < MOST_NODES
    fewest = len(chosen) if whole else bound([sets[n] for n in kept], everything)
    return Chosen(sets=_cheapest(sets, costs, chosen), greedy=len(greedy), fewest=fewest)


def _undominated(sets: Sequence[frozenset[int]], costs: Sequence[int]) -> list[int]:
    """Return the numbers of the sets that are in no other; of equal ones the cheapest."""
    order = sorted(range(len(sets)), key=lambda n: (-len(sets[n]), costs[n], n))
    kept: list[int] = []
    for number in order:
        if sets[number] and not any(sets[number] <= sets[other] for other in kept):
            kept.append(number)
    return kept


def _greedy(sets: Sequence[frozenset[int]], costs: Sequence[int], kept: Sequence[int], everything: frozenset[int]) -> list[int]:
    chosen: list[int] = []
    left = set(everything)
    while left:
        best = max(kept, key=lambda n: (len(sets[n] & left), -costs[n], -n))
        chosen.append(best)
        left -= sets[best]
    for number in tuple(chosen):
        others = frozenset[int]().union(*(sets[n] for n in chosen if n != number))
        if sets[number] <= others:
            chosen.remove(number)
    return chosen


def bound(sets: Sequence[frozenset[int]], left: frozenset[int]) -> int:
    """Return a number of sets below which nothing that is left can be covered."""
    if not left:
        return 0
    holders = {item: frozenset(n for n, one in enumerate(sets) if item in one) for item in left}
    apart, taken = 0, set[int]()
    for item in sorted(left, key=lambda i: (len(holders[i]), i)):
        if not holders[item] & taken:
            apart += 1
            taken |= holders[item]
    largest = max(len(one & left) for one in sets)
    return max(apart, -(-len(left) // largest))


class _Search(Struct, kw_only=True):
    """A search for a smaller cover than *best*."""

    sets: list[frozenset[int]]
    best: list[int]
    nodes: int = 0

    def branch(self, left: frozenset[int], chosen: list[int]) -> None:
        """Try every set that has the item which is hardest to come by."""
        self.nodes += 1
        if self.nodes >= MOST_NODES:
            return
        if not left:
            if len(chosen) < len(self.best):
                self.best = list(chosen)
            return
        if len(chosen) + bound(self.sets, left) >= len(self.best):
            return
        hardest = min(left, key=lambda item: (sum(item in one for one in self.sets), item))
        holding = [n for n, one in enumerate(self.sets) if hardest in one]
        for number in sorted(holding, key=lambda n: (-len(self.sets[n] & left), n)):
            self.branch(left - self.sets[number], [*chosen, number])


def _cheapest(sets: Sequence[frozenset[int]], costs: Sequence[int], chosen: Sequence[int]) -> tuple[int, ...]:
    """Put a cheaper set in the place of each that one can stand in for."""
    result = list(chosen)
    for place, number in enumerate(result):
        others = frozenset[int]().union(*(sets[n] for n in result if n != number))
        needed = sets[number] - others
        result[place] = min((n for n in range(len(sets)) if needed <= sets[n]), key=lambda n: (costs[n], n))
    return tuple(sorted(result))
