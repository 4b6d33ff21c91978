"""The state that all questions are about, as free bits, and whether a state is in a drawn set, as a circuit."""

from collections.abc import Sequence

from seqcheck.model.model import Model, State
from seqcheck.proof.circuits import FALSE, TRUE, Circuits, Literal, inverse
from seqcheck.proof.encode import Values
from seqcheck.proof.form import Drawn, Table
from seqcheck.proof.numbers import Arithmetic, Number, constant, within


class FreeState:
    """A state of which nothing is known but that its values are within their ranges (*sound*)."""

    def __init__(self, model: Model, circuits: Circuits) -> None:
        self._model = model
        self._bits: list[list[Literal]] = []
        arithmetic, sound, values = Arithmetic(circuits), TRUE, []
        for variable in model.variables:
            span = variable.highest - variable.lowest
            bits = [circuits.input() for _ in range(span.bit_length())]
            offset = Number((*bits, FALSE), 0, (1 << len(bits)) - 1)
            sound = circuits.both(sound, inverse(arithmetic.less(constant(span), offset)))
            offset = within(offset.bits, 0, span)
            values.append(arithmetic.plus(offset, constant(variable.lowest)) if variable.lowest else offset)
            self._bits.append(bits)
        self.values: Values = tuple(values)
        self.sound = sound

    def offset_bits(self, place: int) -> Sequence[Literal]:
        """Return the bits of a value less its lowest."""
        return self._bits[place]

    def state(self, true: frozenset[Literal]) -> State:
        """Return the state in an answer of the solver."""
        pairs = zip(self._model.variables, self._bits, strict=True)
        return tuple(v.lowest + sum(1 << place for place, bit in enumerate(bits) if bit in true) for v, bits in pairs)


class Membership:
    """Builds "is in this set" for any state."""

    def __init__(self, model: Model, circuits: Circuits, free: FreeState, tables: Sequence[Table]) -> None:
        self._model = model
        self._c = circuits
        self._arithmetic = Arithmetic(circuits)
        self._free = free
        self._tables = tables
        self._nodes: dict[Drawn, Sequence[int]] = {}

    def contains(self, values: Values, drawn: Drawn) -> Literal:
        """Return whether a state is in a set."""
        table = self._tables[drawn.table]
        bits = [self._offset_bits(place, values) for place in range(len(values))]
        known: dict[int, Literal] = {0: FALSE, 1: TRUE}
        for node in self._nodes.setdefault(drawn, ()) or self._needed(drawn):
            place, low, high = table.nodes[node - 2]
            variable, bit = table.order[place]
            known[node] = self._c.choose(bits[variable][bit], known[high], known[low])
        return known[drawn.root]

    def _needed(self, drawn: Drawn) -> Sequence[int]:
        """Return the nodes of a set, each after those that it leads to."""
        nodes, seen, pending = self._tables[drawn.table].nodes, {0, 1}, [drawn.root]
        while pending:
            node = pending.pop()
            if node not in seen:
                seen.add(node)
                pending += nodes[node - 2][1:]
        self._nodes[drawn] = sorted(seen - {0, 1})
        return self._nodes[drawn]

    def _offset_bits(self, place: int, values: Values) -> Sequence[Literal]:
        variable = self._model.variables[place]
        width = (variable.highest - variable.lowest).bit_length()
        if values[place] == self._free.values[place]:
            return self._free.offset_bits(place)
        offset = self._arithmetic.minus(values[place], constant(variable.lowest)) if variable.lowest else values[place]
        return [offset.bit(bit) for bit in range(width)]
