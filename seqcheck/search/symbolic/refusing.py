"""Tells for each group of reachable states which steps are refused there, and by which of their conditions."""

from collections.abc import Iterator, Mapping, Sequence

from msgspec import Struct

from seqcheck.model.expression import Expression
from seqcheck.search.symbolic.mapping import Place, Quotient, Scale


class Tried(Struct, frozen=True, kw_only=True):
    """A step in the states of one group: in how many it is *accepted*, in how many *refused*.

    *always* are the numbers of its conditions that fail in all states of the group, *ever* of those that fail in some.
    """

    place: Place
    step: int
    accepted: int
    refused: int
    always: tuple[int, ...]
    ever: tuple[int, ...]


class Refusing(Quotient):
    """A quotient that knows who is refused where."""

    def tried(self, scales: Sequence[Scale], asked: Mapping[int, Sequence[Expression]]) -> Iterator[Tried]:
        """Yield what becomes of some steps in each group; *asked* gives the conditions that each needs, all of them."""
        groups = list(self._split(self._reached, [self._bands(scale) for scale in scales]))
        truth = self._parts.moves.truth
        for number, conditions in asked.items():
            self._look()
            holds = [truth(condition) for condition in conditions]
            accepting = self._space.all(holds)
            for place, states in groups:
                failing = [n for n, node in enumerate(holds) if (states & ~node).satisfiable()]
                yield Tried(
                    place=place,
                    step=number,
                    accepted=self._space.count(states & accepting),
                    refused=self._space.count(states & ~accepting),
                    always=tuple(n for n in failing if not (states & holds[n]).satisfiable()),
                    ever=tuple(failing),
                )
