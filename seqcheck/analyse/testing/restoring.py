"""Finds the way back from where a test ends to the start condition, down the ranks of the search or by a search of its own.

A way on which no hazard holds is preferred to a shorter one. What holds only in passing, while the machine settles, is no state
and is not looked at; what the machine may do at another moment than on the way is for the warning to say.
"""

from collections.abc import Callable, Mapping
from heapq import heappop, heappush
from itertools import count

from seqcheck.analyse.procedures.moving import FAILED, NOT_YET, Moves
from seqcheck.analyse.testing.trails import Found, as_at_start
from seqcheck.model.expression import FALSE
from seqcheck.model.model import Model, State
from seqcheck.search.engine import Diagram, Drawn, Listed

MOST = 20_000
"""States that are looked at for a way back where the search gives no ranks, and for one that meets no hazard."""


class WaysBack:
    """Ways back of one machine. A way is a list of states by their numbers, the one it begins in first."""

    def __init__(self, model: Model, moves: Moves, found: Found) -> None:
        self._model = model
        self._moves = moves
        self._goal = as_at_start(model)
        self._rank = _ranks(model, found)
        self._lost: set[int] = set()
        self._caught: set[int] = set()

    def way(self, state: int) -> tuple[int, ...] | None:
        """Return a shortest way back, in steps and ticks, that meets no hazard after its first state.

        Where no such way was found, return a shortest one at all; None if there is none either. A hazard that has no value in a
        state counts as met there.
        """
        if self._goal == FALSE:
            return None
        ranked = self._rank is not None
        shortest = self._down(state) if ranked else self._searched(state, self._lost, clear=False)
        if shortest is None and (ranked or state in self._lost):
            return None
        if not self._moves.hazards or (shortest is not None and not any(map(self._moves.hazard, shortest[1:]))):
            return shortest
        return self._searched(state, self._caught, clear=True) or shortest

    def _successors(self, state: int) -> tuple[int, ...]:
        ticked = self._moves.tick(state)
        after = [ticked] if ticked not in {FAILED, NOT_YET, state} else []
        return (*(other for _, other in self._moves.everything(state)), *after)

    def _down(self, state: int) -> tuple[int, ...] | None:
        rank = self._rank
        if rank is None:
            return None
        way, left = [state], rank(self._moves.states[state])
        while left:
            ranked = [(rank(self._moves.states[after]), after) for after in self._successors(way[-1])]
            best, after = min(ranked, default=(left, state), key=lambda pair: pair[0])
            if best >= left:
                return None
            way.append(after)
            left = best
        return tuple(way)

    def _searched(self, state: int, hopeless: set[int], *, clear: bool) -> tuple[int, ...] | None:
        """Search for a shortest way; *clear*: through states without a hazard only.

        *hopeless* are states from which earlier searches of this kind found none: tests often end near one another. Where there
        are ranks they say how long a way is at least, and lead the search; where there are none it goes breadth first.
        """
        if state in hopeless:
            return None
        before: dict[int, int | None] = {state: None}
        taken, met = {state: 0}, count()
        pending = [(self._least(state), 0, next(met), state)]
        while pending:
            here = heappop(pending)[-1]
            if self._moves.truth(self._goal, here) == 1:
                return _back(before, here)
            if len(before) > MOST:
                return None
            so_far = taken[here] + 1
            for after in self._successors(here):
                if after in hopeless or (after in taken and taken[after] <= so_far) or (clear and self._moves.hazard(after)):
                    continue
                before[after], taken[after] = here, so_far
                heappush(pending, (so_far + self._least(after), -so_far, next(met), after))
        hopeless.update(before)
        return None

    def _least(self, state: int) -> int:
        return 0 if self._rank is None else self._rank(self._moves.states[state])


def _back(before: Mapping[int, int | None], last: int) -> tuple[int, ...]:
    way: list[int] = []
    here: int | None = last
    while here is not None:
        way.append(here)
        here = before[here]
    return tuple(reversed(way))


def _ranks(model: Model, found: Found) -> Callable[[State], int] | None:
    """Return what tells how far a state is from the start condition, if the search knows that of every state."""
    evidence = found.evidence
    if evidence is None or found.back not in evidence.ranks:
        return None
    if isinstance(evidence, Listed):
        return dict(zip(evidence.states, evidence.ranks[found.back], strict=True)).__getitem__
    return drawn_ranks(model, evidence, found.back)


def drawn_ranks(model: Model, evidence: Drawn, number: int) -> Callable[[State], int]:
    """Return the same from sets of states as diagrams."""
    sets = evidence.ranks[number]

    def rank(state: State) -> int:
        return next(place for place, one in enumerate(sets) if contains(model, one, state))

    return rank


def contains(model: Model, diagram: Diagram, state: State) -> bool:
    """Tell whether a state is in a set."""
    node = diagram.root
    while node > 1:
        place, low, high = diagram.nodes[node - 2]
        variable, bit = diagram.order[place]
        node = high if (state[variable] - model.variables[variable].lowest) >> bit & 1 else low
    return node == 1
