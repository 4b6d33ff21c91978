"""Writes a set of states out as a plain diagram, for a proof."""

from seqcheck.search.engine import Diagram
from seqcheck.search.symbolic.diagrams import Node, Space

EMPTY, FULL = 0, 1


def drawn(space: Space, states: Node) -> Diagram:
    """Return a set of states as a reduced diagram without complemented edges."""
    numbers: dict[Node, int] = {space.false: EMPTY, space.true: FULL}
    nodes: list[tuple[int, int, int]] = []
    pending = [states]
    while pending:
        here = pending[-1]
        if here in numbers:
            pending.pop()
            continue
        one, zero = space.halves(here)
        missing = [half for half in (zero, one) if half not in numbers]
        if missing:
            pending += missing
            continue
        numbers[here] = len(nodes) + 2
        nodes.append((space.top(here) // 2, numbers[zero], numbers[one]))
        pending.pop()
    return Diagram(order=space.order, nodes=tuple(nodes), root=numbers[states])
