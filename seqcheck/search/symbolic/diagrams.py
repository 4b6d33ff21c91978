"""The door to the decision-diagram library: sets of states as diagrams over the bits of a model's variables.

A variable is kept as its value less its lowest, in as many bits as its range needs. Each bit has two places in the order,
one for the state before a step and one, right below, for the state after it.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import reduce
from operator import and_, or_
from pathlib import Path
from typing import TypeAlias

from oxidd.bcdd import BCDDFunction, BCDDManager, BCDDSubstitution
from oxidd.util import BooleanOperator, DDDMPFile, DDMemoryError

from seqcheck.model.model import Model, State

Node: TypeAlias = BCDDFunction
Renaming: TypeAlias = BCDDSubstitution
Cube: TypeAlias = BCDDFunction
"""A conjunction of bits: which bits to quantify, or one state."""

AND = BooleanOperator.AND
OutOfNodes = DDMemoryError

_laid_out: dict[tuple[int, int], BCDDManager] = {}


def lay_out(nodes: int, cache: int) -> None:
    """Make room for the diagrams of a `Space` that is to have as much of it: that takes a while, and needs no model."""
    _laid_out[nodes, cache] = manager = BCDDManager(nodes, cache, 1)
    manager.add_vars(1)


class Space:
    """The bits of one model in one manager.

    *order* lists them from the top, as a variable and a bit's place; *nodes* is the room for diagrams, *cache* that for the
    results of operations.
    """

    def __init__(self, model: Model, order: Sequence[tuple[int, int]], nodes: int, cache: int) -> None:
        known = _laid_out.pop((nodes, cache)) if (nodes, cache) in _laid_out else None
        self._manager = BCDDManager(nodes, cache, 1) if known is None else known
        self._model = model
        self.order = tuple(order)
        self._manager.add_vars(2 * len(order) - self._manager.num_vars())
        place_of = {bit: 2 * place for place, bit in enumerate(order)}
        widths = [width(v.lowest, v.highest) for v in model.variables]
        self.now = [[place_of[variable, bit] for bit in range(bits)] for variable, bits in enumerate(widths)]
        self.true = self._manager.true()
        self.false = self._manager.false()
        self._literals = [self._manager.var(place) for place in range(2 * len(order))]
        now = zip(self.order, self._literals[::2], strict=True)
        self._from_below = [(variable, bit, one, ~one) for (variable, bit), one in now][::-1]
        self._cubes: dict[tuple[int, int], Node] = {}

    @property
    def node_count(self) -> int:
        """The number of diagram nodes alive or not yet collected."""
        return self._manager.approx_num_inner_nodes()

    def owners(self, bits: Iterable[int]) -> frozenset[int]:
        """Return the variables that some bits belong to."""
        return frozenset(self.order[bit // 2][0] for bit in bits)

    def literal(self, bit: int) -> Node:
        """Return the set in which one bit is 1; an odd number is a bit after a step."""
        return self._literals[bit]

    def has(self, variable: int, raw: int) -> Node:
        """Return the states in which a variable has a value."""
        key = (variable, raw)
        if key not in self._cubes:
            code = raw - self._model.variables[variable].lowest
            literals = [self._literals[bit] for bit in self.now[variable]]
            self._cubes[key] = self.all(one if code >> place & 1 else ~one for place, one in enumerate(literals))
        return self._cubes[key]

    def all(self, sets: Iterable[Node]) -> Node:
        """Return what is in every one of some sets."""
        return reduce(and_, sets, self.true)

    def any(self, sets: Iterable[Node]) -> Node:
        """Return what is in any of some sets, joined pairwise so that none grows before it must."""
        pending = list(sets)
        if not pending:
            return self.false
        while len(pending) > 1:
            pending = [reduce(or_, pending[i : i + 2]) for i in range(0, len(pending), 2)]
        return pending[0]

    def differ(self, one: Mapping[int, Node], other: Mapping[int, Node]) -> Node:
        """Return the states in which two numbers, given by a set for each value, differ."""
        return ~self.any(node & other[raw] for raw, node in one.items() if raw in other)

    def cube(self, bits: Iterable[int]) -> Cube:
        """Return a conjunction of bits, to quantify over them."""
        return self.all(self._literals[bit] for bit in sorted(bits, reverse=True))

    def renaming(self, bits: Iterable[int]) -> Renaming:
        """Return what turns bits after a step into bits before one."""
        return BCDDSubstitution([(bit + 1, self._literals[bit]) for bit in bits])

    def priming(self, bits: Iterable[int]) -> Renaming:
        """Return what turns bits before a step into bits after one."""
        return BCDDSubstitution([(bit, self._literals[bit + 1]) for bit in bits])

    def valid(self) -> Node:
        """Return the set of all states whose every variable is in its range."""
        return self.all(self.at_most(self.now[n], v.highest - v.lowest) for n, v in enumerate(self._model.variables))

    def at_most(self, bits: Sequence[int], most: int) -> Node:
        """Return the states in which a number, its lowest bit first, is at most *most*."""
        return self.below([self._literals[bit] for bit in bits], most)

    def below(self, bits: Sequence[Node], most: int) -> Node:
        """Return the states in which a number, given by the states in which each bit is 1, is at most *most*."""
        if most < 0:
            return self.false
        found = self.true
        for place, bit in enumerate(bits):
            found = ~bit | found if most >> place & 1 else ~bit & found
        return found if most < 1 << len(bits) else self.true

    def count(self, states: Node) -> int:
        """Return the number of states in a set, exactly."""
        return int(states.sat_count(len(self._literals))) >> len(self._literals) // 2

    def point(self, state: State) -> Node:
        """Return the set of one state, built from the lowest bit up."""
        codes = [raw - v.lowest for raw, v in zip(state, self._model.variables, strict=True)]
        found = self.true
        for variable, bit, one, zero in self._from_below:
            found &= one if codes[variable] >> bit & 1 else zero
        return found

    def pick(self, states: Node) -> State:
        """Return some state of a set that is not empty."""
        cube = states.pick_cube()
        if cube is None:
            raise ValueError(states)
        return tuple(
            v.lowest + sum(bool(cube[bit]) << place for place, bit in enumerate(bits))
            for v, bits in zip(self._model.variables, self.now, strict=True)
        )

    @staticmethod
    def top(states: Node) -> int:
        """Return the place in the order of the topmost bit that a set depends on; -1 if it depends on none."""
        level = states.node_level()
        return -1 if level is None else level

    def halves(self, states: Node) -> tuple[Node, Node]:
        """Return what is left of a set where its topmost bit is 1, and where it is 0. Raises `ValueError` if it has none."""
        halves = states.cofactors()
        if halves is None:
            raise ValueError(states)
        return halves

    def export(self, path: Path, sets: Sequence[Node]) -> None:
        """Write sets into a file."""
        self._manager.export_dddmp(path, sets)

    def imported(self, path: Path) -> list[Node]:
        """Read the sets of a file that a manager with the same bits has written."""
        file = DDDMPFile(path)
        try:
            return list(self._manager.import_dddmp(file))
        finally:
            file.close()

    def values(self, states: Node, variable: int) -> Iterator[int]:
        """Yield the values that a variable has in a set, lowest first."""
        own = set(self.now[variable])
        seen = states.exists(self.cube(bit for bits in self.now for bit in bits if bit not in own))
        v = self._model.variables[variable]
        for code in self._codes(seen, [self._literals[bit] for bit in self.now[variable]]):
            if code <= v.highest - v.lowest:
                yield v.lowest + code

    def _codes(self, seen: Node, bits: Sequence[Node]) -> Iterator[int]:
        """Yield the numbers that some bits, the lowest first, form in a set that depends on no others."""
        if not seen.satisfiable():
            return
        if seen == self.true:
            yield from range(1 << len(bits))
            return
        *lower, highest = bits
        yield from self._codes((seen & ~highest).exists(highest), lower)
        yield from ((1 << len(lower)) + code for code in self._codes((seen & highest).exists(highest), lower))

    def collect(self) -> None:
        """Free the nodes that nothing refers to."""
        self._manager.gc()


def width(lowest: int, highest: int) -> int:
    """Return the number of bits that a range needs."""
    return (highest - lowest).bit_length()
