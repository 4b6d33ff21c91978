"""Chooses an order for the bits of a model: what has to do with one another stands close together."""

from seqcheck.search.symbolic.diagrams import width
from seqcheck.search.symbolic.valuing import Facts


def ordered(facts: Facts) -> tuple[tuple[int, int], ...]:
    """Return the bits from the top, as variable and place."""
    widths = [width(v.lowest, v.highest) for v in facts.model.variables]
    return tuple((n, bit) for n, bits in enumerate(widths) for bit in reversed(range(bits)))
