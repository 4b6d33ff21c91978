"""Finds the way back from where a test ends to the start condition, down the ranks of the search or by a search of its own."""

from collections.abc import Callable, Mapping

from seqcheck.analyse.procedures.moving import FAILED, NOT_YET, Moves
from seqcheck.analyse.testing.trails import Found, as_at_start
from seqcheck.model.expression import FALSE
from seqcheck.model.model import Model, State
from seqcheck.search.engine import Diagram, Drawn, Listed

MOST = 20_000
"""States that are looked at for a way back where the search gives no ranks."""


class WaysBack:
    """Ways back of one machine. A way is a list of states by their numbers, the one it begins in first."""

    def __init__(self, model: Model, moves: Moves, found: Found) -> None:
        self._model = model
        self._moves = moves
        self._goal = as_at_start(model)
        self._rank = _ranks(model, found)

    def way(self, state: int) -> tuple[int, ...] | None:
        """Return a shortest way back, in steps and ticks; None if none was found."""
        if self._goal == FALSE:
            return None
        return self._down(state) if self._rank is not None else self._searched(state)

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

    def _searched(self, state: int) -> tuple[int, ...] | None:
        before: dict[int, int | None] = {state: None}
        pending = [state]
        for here in pending:
            if self._moves.truth(self._goal, here) == 1:
                return _back(before, here)
            if len(before) > MOST:
                return None
            for after in self._successors(here):
                if after not in before:
                    before[after] = here
                    pending.append(after)
        return None


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
