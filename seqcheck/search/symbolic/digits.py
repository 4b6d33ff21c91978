"""A number of very many values as its bits, so that it can be set, counted up and compared without a look at each value.

It still is, for each value, the set of states that have it; these sets are made when they are asked for. What it says of
states in which a variable has no value of its range is left open.
"""

from collections.abc import Iterator, Mapping, Sequence

from seqcheck.search.symbolic.diagrams import Node, Space

MANY_VALUES = 16
"""A variable of more values than this is kept as its bits."""


class Digits(Mapping[int, Node]):
    """A number from *lowest* to *highest*: by how much it is more than the lowest, bit by bit, the lowest bit first."""

    def __init__(self, space: Space, lowest: int, highest: int, bits: Sequence[Node]) -> None:
        self._space = space
        self.lowest = lowest
        self.highest = highest
        self.bits = tuple(bits)
        self._found: dict[int, Node] = {}
        self._listed: dict[int, Node] | None = None

    def __bool__(self) -> bool:
        """Tell that it has a value."""
        return True

    def __getitem__(self, raw: int) -> Node:
        """Return the states that have a value."""
        node = self._having(raw) if self.lowest <= raw <= self.highest else self._space.false
        if not node.satisfiable():
            raise KeyError(raw)
        return node

    def __iter__(self) -> Iterator[int]:
        """Yield the values that some state has, lowest first."""
        return iter(self._values())

    def __len__(self) -> int:
        """Return how many values some state has."""
        return len(self._values())

    def _values(self) -> dict[int, Node]:
        if self._listed is None:
            every = ((raw, self._having(raw)) for raw in range(self.lowest, self.highest + 1))
            self._listed = {raw: node for raw, node in every if node.satisfiable()}
        return self._listed

    def _having(self, raw: int) -> Node:
        if raw not in self._found:
            code = raw - self.lowest
            self._found[raw] = self._space.all(bit if code >> place & 1 else ~bit for place, bit in enumerate(self.bits))
        return self._found[raw]

    def within(self, low: int, high: int) -> Node:
        """Return the states in which the number is in a range."""
        most = self._space.below(self.bits, min(high, self.highest) - self.lowest)
        return most & ~self._space.below(self.bits, low - 1 - self.lowest)

    def increased(self) -> "Digits":
        """Return the number with 1 added; what comes beyond its highest is left open."""
        carry, sums = self._space.true, list[Node]()
        for bit in self.bits:
            sums.append(bit ^ carry)
            carry &= bit
        return self._with(sums)

    def chosen(self, when: Node, otherwise: "Digits") -> "Digits":
        """Return this number where *when* holds and another elsewhere."""
        return self._with([when.ite(one, other) for one, other in zip(self.bits, otherwise.bits, strict=True)])

    def alike(self, other: Mapping[int, Node]) -> "Digits | None":
        """Return another number, if it has the same range or but one value in it, as bits as this one is."""
        if isinstance(other, Digits):
            return other if (self.lowest, self.highest) == (other.lowest, other.highest) else None
        if len(other) != 1 or not self.lowest <= (raw := next(iter(other))) <= self.highest:
            return None
        true, false = self._space.true, self._space.false
        return self._with([true if raw - self.lowest >> place & 1 else false for place in range(len(self.bits))])

    def _with(self, bits: Sequence[Node]) -> "Digits":
        return Digits(self._space, self.lowest, self.highest, bits)


def paired(one: Mapping[int, Node], other: Mapping[int, Node]) -> tuple[Digits, Digits] | None:
    """Return two numbers as bits of the same range, if at least one is kept so and the other can be."""
    like = one if isinstance(one, Digits) else other
    if not isinstance(like, Digits):
        return None
    left, right = like.alike(one), like.alike(other)
    return None if left is None or right is None else (left, right)


def unequal(space: Space, one: Mapping[int, Node], other: Mapping[int, Node]) -> Node:
    """Return the states in which two numbers differ."""
    pair = paired(one, other)
    if pair is None:
        return space.differ(one, other)
    return space.any(a ^ b for a, b in zip(pair[0].bits, pair[1].bits, strict=True))


def within(space: Space, number: Mapping[int, Node], low: int, high: int) -> Node:
    """Return the states in which a number is in a range."""
    if isinstance(number, Digits):
        return number.within(low, high)
    return space.any(node for raw, node in number.items() if low <= raw <= high)


def increased(number: Mapping[int, Node]) -> Mapping[int, Node]:
    """Return a number with 1 added; what comes beyond its highest value may be left open."""
    return number.increased() if isinstance(number, Digits) else {raw + 1: node for raw, node in number.items()}
