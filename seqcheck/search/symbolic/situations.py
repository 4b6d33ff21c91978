"""What the controller sees of states: sets of states are turned into sets of situations and back.

A situation is the values of panel, sensors, outputs, memory and timers. A model gets a mirror for each sensor: a variable that
is always at its lowest, whose place in a set of situations holds what the sensor reads.
"""

from collections.abc import Iterator, Sequence

from msgspec.structs import replace

from seqcheck.model.expression import Sense
from seqcheck.model.model import Model, Variable, VariableKind
from seqcheck.search.symbolic.diagrams import Node
from seqcheck.search.symbolic.moves import Move
from seqcheck.search.symbolic.symbolic import Search

SEEN = (VariableKind.PANEL, VariableKind.OUTPUT, VariableKind.MEMORY, VariableKind.TIMER)


def mirrored(model: Model) -> Model:
    """Return a model with a mirror for each sensor, after all its variables."""
    mirrors = tuple(_mirror(model, number) for number in range(len(model.sensors)))
    return replace(model, variables=(*model.variables, *mirrors))


def _mirror(model: Model, number: int) -> Variable:
    sensor = model.sensors[number]
    return Variable(
        name=f"mirror of {sensor.name}",
        kind=VariableKind.ABSENCE,
        lowest=sensor.lowest,
        highest=sensor.highest,
        labels=(),
        starts=(sensor.lowest,),
        line=1,
    )


def gated(move: Move, gate: Node) -> Move:
    """Return a move that can be taken only in some states, and does not fail there."""
    return replace(
        move, possible=move.possible & gate, changing=move.changing & gate, relation=move.relation & gate, failing=()
    )


class Situations:
    """What the controller sees of states: sets of states are turned into sets of situations and back.

    A model has a mirror for each sensor: a variable that is always 0, whose place in a set holds what the sensor reads.
    """

    def __init__(self, model: Model, search: Search, mirrors: Sequence[int]) -> None:
        self._space = space = search.parts.space
        self._mirrors = list(mirrors)
        hidden = [n for n, v in enumerate(model.variables) if v.kind not in SEEN and n not in mirrors]
        self._hidden = space.cube(bit for n in hidden for bit in space.now[n])
        self._zero = space.all(space.has(n, model.variables[n].lowest) for n in mirrors)
        self._own = space.cube(bit for n in mirrors for bit in space.now[n])
        origin = search.parts.moves.origin
        self._reads = space.true
        for number, mirror in enumerate(mirrors):
            cases = origin.number(Sense(number))
            self._reads &= space.any(node & space.has(mirror, raw) for raw, node in cases.items())

    def of(self, states: Node) -> Node:
        """Return the situations of some states."""
        return (states.exists(self._own) & self._reads).exists(self._hidden)

    def states(self, situations: Node) -> Node:
        """Return all states, reachable or not, that look like one of some situations."""
        return (situations & self._reads).exists(self._own) & self._zero

    def count(self, situations: Node) -> int:
        """Return the number of situations."""
        hidden = self._space.all(~self._space.literal(bit) for bit in sorted(self._bits_of_hidden(), reverse=True))
        return self._space.count(situations & hidden)

    def _bits_of_hidden(self) -> Iterator[int]:
        pending = self._hidden
        while (top := self._space.top(pending)) >= 0:
            yield top
            pending = self._space.halves(pending)[0]

    def one(self, situations: Node) -> Node:
        """Return one of some situations, which must not be none."""
        hidden = set(self._bits_of_hidden())
        cube = situations.pick_cube()
        if cube is None:
            raise ValueError(situations)
        bits = [bit for bits in self._space.now for bit in bits if bit not in hidden]
        literals = [self._space.literal(bit) if cube[bit] else ~self._space.literal(bit) for bit in sorted(bits, reverse=True)]
        return self._space.all(literals)
