"""Finds the strongly connected components of a directed graph (Tarjan, 1972), without recursion."""

from collections.abc import Iterator, Sequence


def components(leads: Sequence[Sequence[int]]) -> list[list[int]]:
    """Return the components of a graph, given by where each node leads; what a component leads to comes before it."""
    search = _Search(leads)
    for root in range(len(leads)):
        if not search.order[root]:
            search.enter(root)
            search.go_on()
    return search.found


class _Search:
    """The order in which nodes are met, and the lowest that each leads back to."""

    def __init__(self, leads: Sequence[Sequence[int]]) -> None:
        self._leads = leads
        self._low = [0] * len(leads)
        self._on_stack = bytearray(len(leads))
        self._stack: list[int] = []
        self._path: list[tuple[int, Iterator[int]]] = []
        self._counted = 0
        self.order = [0] * len(leads)
        self.found: list[list[int]] = []

    def enter(self, node: int) -> None:
        """Begin with a node that was not met before."""
        self._counted += 1
        self.order[node] = self._low[node] = self._counted
        self._stack.append(node)
        self._on_stack[node] = 1
        self._path.append((node, iter(self._leads[node])))

    def go_on(self) -> None:
        """Follow the path until it is taken back as a whole."""
        order, low, on_stack = self.order, self._low, self._on_stack
        while self._path:
            node, rest = self._path[-1]
            for after in rest:
                if not order[after]:
                    self.enter(after)
                    break
                if on_stack[after] and order[after] < low[node]:
                    low[node] = order[after]
            else:
                self._leave(node)

    def _leave(self, node: int) -> None:
        """Take a node off the path, and its component off the stack if it was the first of it."""
        self._path.pop()
        if self._path:
            before = self._path[-1][0]
            self._low[before] = min(self._low[before], self._low[node])
        if self._low[node] == self.order[node]:
            members = [self._stack.pop()]
            while members[-1] != node:
                members.append(self._stack.pop())
            for member in members:
                self._on_stack[member] = 0
            self.found.append(members)
