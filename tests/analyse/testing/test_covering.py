"""The choice of tests against every possible choice."""

import random
from itertools import combinations

import pytest

from seqcheck.analyse.testing import covering
from seqcheck.analyse.testing.covering import bound, cover


def fewest(sets: list[frozenset[int]]) -> int:
    """Return how few sets have everything, by trying all choices."""
    everything = frozenset[int]().union(*sets)
    return next(
        size
        for size in range(len(sets) + 1)
        if any(frozenset[int]().union(*chosen) == everything for chosen in combinations(sets, size))
    )


def drawn(chance: random.Random) -> list[frozenset[int]]:
    """Draw some sets, some of them alike or empty."""
    items = range(chance.randrange(1, 10))
    return [frozenset(item for item in items if chance.random() < 0.4) for _ in range(chance.randrange(1, 9))]


@pytest.mark.parametrize("seed", range(60))
def test_it_is_as_small_as_can_be(seed: int) -> None:
    chance = random.Random(seed)  # noqa: S311 - no secret
    sets = drawn(chance)
    costs = [chance.randrange(5) for _ in sets]
    found = cover(sets, costs)
    everything = frozenset[int]().union(*sets)
    assert frozenset[int]().union(*(sets[n] for n in found.sets)) == everything
    assert len(found.sets) == found.fewest == fewest(sets) <= found.greedy
    assert bound(sets, everything) <= found.fewest


ROWS = [frozenset(range(7)), frozenset(range(7, 14))]
TRAP = [*ROWS, frozenset({0, 1, 2, 3, 7, 8, 9, 10}), frozenset({4, 5, 11, 12}), frozenset({6, 13})]


def test_greed_alone_takes_more() -> None:
    """The classic trap: the largest set first, then half of what is left, and again."""
    found = cover(TRAP, [1] * 5)
    assert (found.sets, found.greedy, found.fewest) == ((0, 1), 3, 2)


def test_greed_drops_what_others_have_come_to_cover() -> None:
    found = cover([frozenset({0, 1, 2}), frozenset({3, 4, 5}), frozenset({1, 2, 4, 5})], [1, 1, 1])
    assert (found.sets, found.greedy) == ((0, 1), 2)


def test_where_branching_ends_early_the_bound_still_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(covering, "MOST_NODES", 1)
    found = cover(TRAP, [1] * 5)
    assert len(found.sets) == 3
    assert found.fewest == 2


def test_the_cheaper_of_equal_sets_is_taken() -> None:
    assert cover([frozenset({0}), frozenset({0}), frozenset({0})], [3, 1, 2]).sets == (1,)


def test_nothing_to_cover() -> None:
    assert cover([], []).sets == ()
    assert cover([frozenset()], [1]) == covering.Chosen(sets=(), greedy=0, fewest=0)
