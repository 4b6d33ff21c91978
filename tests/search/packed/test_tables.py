"""Tables of visited states against sets of Python: crowded ones, too, where many states have their slots far from the first."""

import numpy as np
import pytest
from numpy.typing import NDArray

from seqcheck.search.packed import frame as f
from seqcheck.search.packed import visited
from seqcheck.search.packed.layout import laid_out
from seqcheck.search.packed.program import mover
from seqcheck.search.packed.rolls import Roll
from seqcheck.search.packed.visited import Visited
from seqcheck.search.packed.visitor import Visitor
from tests.analyse.asking import model_of
from tests.cli.calling import counters

Words = NDArray[np.uint64]


def drawn(chance: np.random.Generator, many: int, width: int) -> Words:
    """Return states with few prefixes, so that they meet again, and with 0 among them."""
    states = chance.integers(0, 1 << 17, size=(many, width)).astype(np.uint64)
    states[:, 1:] &= np.uint64(3)
    return states


def listed(roll: Roll) -> list[tuple[int, ...]]:
    return [tuple(row) for _, states in roll.pieces(0, roll.length, roll.length) for row in states.tolist()]


@pytest.mark.parametrize("width", [1, 2, 3])
@pytest.mark.parametrize("load", [0.35, 0.9])
def test_new_states_are_listed_once_in_their_order(width: int, load: float, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("MOST_LOAD_NEAR", "MOST_LOAD_SMALL"):
        monkeypatch.setattr(visited, name, load)
    chance = np.random.default_rng(width)
    table, roll, known = Visited(width, lambda _: None), Roll(width, lambda _: None), dict[tuple[int, ...], None]()
    for many in (1, 5000, 300, 40_000, 20_000):
        states = drawn(chance, many, width)
        table.insert(states, many, roll)
        known |= dict.fromkeys(tuple(row) for row in states.tolist())
        assert listed(roll) == list(known)
        assert table.prefixes == len({(row[0] >> 6, *row[1:]) for row in known})
    assert table.prefixes <= load * table.slots
    some = drawn(chance, 10_000, width)
    assert table.count(some) == sum(tuple(row) in known for row in some.tolist())


@pytest.mark.parametrize("owners", [1, 2, 3])
@pytest.mark.parametrize("digits", [3, 9])
def test_what_was_not_visited_is_kept_in_its_order(owners: int, digits: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """*digits*: that of a machine of one word, and of one of two."""
    monkeypatch.setattr(visited, "MOST_LOAD_NEAR", 0.9)
    model = model_of(counters(digits, 200))
    layout = laid_out(model)
    visitor = Visitor(mover(model, layout, ()), 0, 0)
    visitor.make_sieves(owners)
    tables = [Visited(layout.words, lambda _: None) for _ in range(owners)]
    rolls = [Roll(layout.words, lambda _: None) for _ in range(owners)]
    chance, known = np.random.default_rng(owners), dict[tuple[int, ...], None]()
    for many in (1, 255, 256, 257, 700, 2000, 6000, 6000, 6000):
        states = drawn(chance, many, layout.words)
        visitor.point_at(tables, ())
        visitor.take(states)
        visitor.sift()
        counts = visitor.sifted_counts[0].tolist()
        kept = [[tuple(row) for row in visitor.sifted[0][owner][:count].tolist()] for owner, count in enumerate(counts)]
        told = list(dict.fromkeys(tuple(row) for row in states.tolist()))
        fresh = [row for row in told if row not in known]
        assert sorted(row for rows in kept for row in dict.fromkeys(rows)) == sorted(fresh)
        for rows in kept:
            assert list(dict.fromkeys(rows)) == [row for row in fresh if row in set(rows)]
        for owner, count in enumerate(counts):
            tables[owner].insert(visitor.sifted[0][owner], count, rolls[owner])
        known |= dict.fromkeys(fresh)
    assert sum(roll.length for roll in rolls) == len(known)
    assert int(visitor.frame[f.SIDE]) == 0
