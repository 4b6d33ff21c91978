"""Looks at every step of a small machine for what the search by situations did not find: trips set off in the wake of others.

A trip whose condition becomes true only through an at-once rule or another trip is not foreseen from the state before; nor is
that a command which could be accepted changes nothing in the end. On larger machines this is left out, and said so.
"""

from collections.abc import Collection, Sequence

from msgspec import Struct

from seqcheck.analyse.testing.goals import COMMAND, TRIP
from seqcheck.analyse.testing.records import Item
from seqcheck.analyse.testing.showing import Showing
from seqcheck.analyse.testing.trails import Found, Trail, moves_along, moves_from, with_move
from seqcheck.model.model import State

MOST = 25_000
"""States of the largest machine that is looked at so."""


class Looked(Struct, frozen=True, kw_only=True):
    """The trails found; *never*: the items that nothing shows; *complete*: all others were looked at too."""

    trails: tuple[Trail, ...]
    complete: bool
    never: frozenset[Item] = frozenset()


def look_again(found: Found, showing: Showing, missing: Collection[Item]) -> Looked:
    """Return trails to what is still missing. The search must have begun in states that *found* has trails from."""
    asked = {item for item in missing if item.sort == COMMAND or (item.sort == TRIP and item.number in found.acted)}
    if not asked:
        return Looked(trails=(), complete=True)
    if found.stopped is not None or found.states > MOST:
        return Looked(trails=(), complete=False)
    return Looked(trails=tuple(_Look(showing=showing, asked=asked).trails(found.starts)), complete=True)


class _Look(Struct, kw_only=True):
    """One look at all steps, nearest states first."""

    showing: Showing
    asked: set[Item]

    def trails(self, starts: Sequence[tuple[State, int]]) -> list[Trail]:
        raw = {number: before for before, number in reversed(starts)}
        parents: dict[int, int | None] = dict.fromkeys(raw)
        pending = list(parents)
        trails: list[Trail] = []
        for here in pending:
            for move, after in moves_from(self.showing.moves, here):
                if self._shows(here, move, after):
                    way = _way(parents, here)
                    before = Trail(raw_start=raw[way[0]], states=way, moves=moves_along(self.showing.moves, way))
                    trails.append(with_move(before, move, after))
                if after not in parents:
                    parents[after] = here
                    pending.append(after)
            if not self.asked:
                break
        return trails

    def _shows(self, here: int, move: int, after: int) -> bool:
        """Tell whether a step shows something that is asked for; it is then no longer."""
        shown = {Item(COMMAND, move)} & self.asked
        before, later = self.showing.moves.states[here], self.showing.moves.states[after]
        if any(item.sort == TRIP and before[item.place] != later[item.place] for item in self.asked):
            shown |= {item for item, _ in self.showing.trips(here, move)} & self.asked
        self.asked -= shown
        return bool(shown)


def _way(parents: dict[int, int | None], last: int) -> tuple[int, ...]:
    way: list[int] = []
    here: int | None = last
    while here is not None:
        way.append(here)
        here = parents[here]
    return tuple(reversed(way))
