"""Sets of states as decision diagrams: drawing listed states, listing drawn ones, following one state."""

from collections.abc import Iterable, Iterator, Sequence
from typing import TypeAlias

from msgspec import Struct

from seqcheck.model.model import State
from seqcheck.proof.form import CaseProof, Domain, Drawn, Table

Order: TypeAlias = tuple[tuple[int, int], ...]


def natural_order(domains: Sequence[Domain]) -> Order:
    """Return all bits, variable by variable, the highest bit first."""
    widths = [(domain.highest - domain.lowest).bit_length() for domain in domains]
    return tuple((place, bit) for place, width in enumerate(widths) for bit in reversed(range(width)))


class Drawing:
    """Draws sets of states into one table."""

    def __init__(self, domains: Sequence[Domain]) -> None:
        self._lowest = [domain.lowest for domain in domains]
        self._order = natural_order(domains)
        self._nodes: list[tuple[int, int, int]] = []
        self._known: dict[tuple[int, int, int], int] = {}

    @property
    def table(self) -> Table:
        """The table drawn so far."""
        return Table(order=self._order, nodes=tuple(self._nodes))

    def draw(self, states: Iterable[State]) -> int:
        """Return the node of a set of states."""
        level = dict.fromkeys(map(self._bits, states), 1)
        for place in reversed(range(len(self._order))):
            above: dict[int, list[int]] = {}
            for bits, node in level.items():
                above.setdefault(bits >> 1, [0, 0])[bits & 1] = node
            level = {bits: self._node(place, low, high) for bits, (low, high) in above.items()}
        return level.get(0, 0)

    def _bits(self, state: State) -> int:
        bits = 0
        for place, bit in self._order:
            bits = bits << 1 | (state[place] - self._lowest[place]) >> bit & 1
        return bits

    def _node(self, place: int, low: int, high: int) -> int:
        if low == high:
            return low
        key = (place, low, high)
        if key not in self._known:
            self._nodes.append(key)
            self._known[key] = len(self._nodes) + 1
        return self._known[key]


def contains(table: Table, root: int, state: State, domains: Sequence[Domain]) -> bool:
    """Tell whether a state is in a drawn set."""
    node = root
    while node > 1:
        place, low, high = table.nodes[node - 2]
        variable, bit = table.order[place]
        node = high if (state[variable] - domains[variable].lowest) >> bit & 1 else low
    return node == 1


def listed(table: Table, root: int, domains: Sequence[Domain], most: int) -> list[State] | None:
    """Return all states of a drawn set; None if they are more than *most*."""
    fields = _fields(domains)
    given = set(table.order)
    order = [*table.order, *(bit for bit in natural_order(domains) if bit not in given)]
    left = [field.width for field in fields]
    level = [(root, 0)] if root else []
    for place, (variable, bit) in enumerate(order):
        level = list(_followed(table, place, level, 1 << fields[variable].shift + bit))
        left[variable] -= 1
        if not left[variable]:
            level = [pair for pair in level if fields[variable].value(pair[1]) <= domains[variable].highest]
        if len(level) > 2 * most + 1000:
            return None
    return [tuple(field.value(bits) for field in fields) for _, bits in level] if len(level) <= most else None


class Field(Struct, frozen=True, kw_only=True):
    """Where the bits of one variable stand in a number that holds all bits."""

    shift: int
    width: int
    lowest: int

    def value(self, bits: int) -> int:
        """Return the variable's value."""
        return (bits >> self.shift & (1 << self.width) - 1) + self.lowest


def _fields(domains: Sequence[Domain]) -> list[Field]:
    fields: list[Field] = []
    shift = 0
    for domain in domains:
        width = (domain.highest - domain.lowest).bit_length()
        fields.append(Field(shift=shift, width=width, lowest=domain.lowest))
        shift += width
    return fields


def _followed(table: Table, place: int, level: list[tuple[int, int]], one: int) -> Iterator[tuple[int, int]]:
    """Yield where each of some nodes leads with the bit at *place*, with the bits so far; *one* is that bit."""
    for node, bits in level:
        low = high = node
        if node > 1 and table.nodes[node - 2][0] == place:
            _, low, high = table.nodes[node - 2]
        if low:
            yield low, bits
        if high:
            yield high, bits | one


def lowest_layers(case: CaseProof, layers: Sequence[Drawn], states: Sequence[State]) -> list[int]:
    """Return for each state the first layer that it is in, -1 if it is in none."""
    index = {state: place for place, state in enumerate(states)}
    ranks = [-1] * len(states)
    for rank, layer in enumerate(layers):
        for state in _in_layer(case, layer, states):
            place = index.get(state)
            if place is not None and ranks[place] < 0:
                ranks[place] = rank
    return ranks


def _in_layer(case: CaseProof, layer: Drawn, states: Sequence[State]) -> Iterable[State]:
    """Return at least those of some states that a layer has: all of the layer, unless it has many more."""
    table = case.tables[layer.table]
    found = listed(table, layer.root, case.domains, len(states))
    return (state for state in states if contains(table, layer.root, state, case.domains)) if found is None else found
