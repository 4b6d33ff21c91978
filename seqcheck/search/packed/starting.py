"""Every combination of start values, packed, some at a time."""

from collections.abc import Iterator, Sequence
from math import prod

import numpy as np
from numpy.typing import NDArray

from seqcheck.model.model import Model
from seqcheck.search.packed.layout import Layout, Packed

Numbers = NDArray[np.int64]


def raw_starts(model: Model, layout: Layout, most: int, taken: int = 0) -> Iterator[Packed]:
    """Yield the starts before they settle, but for those *taken*, in the order of the definition, at most *most* at a time."""
    choices = [np.array(variable.starts, np.int64) for variable in model.variables]
    total = prod(len(some) for some in choices)
    for first in range(taken, total, most):
        yield layout.pack(_columns(choices, first, min(total, first + most)), min(total - first, most))


def _columns(choices: Sequence[Numbers], first: int, end: int) -> list[Numbers]:
    """Return the values of each variable; the last one changes fastest. Where 64 bits may not do, count in Python."""
    columns = []
    stride = prod(len(some) for some in choices)
    for some in choices:
        stride //= len(some)
        if len(some) == 1:
            columns.append(np.full(end - first, some[0]))
        elif stride < 1 << 62 and end < 1 << 62:
            columns.append(some[np.arange(first, end) // stride % len(some)])
        else:
            columns.append(np.array([some[number // stride % len(some)] for number in range(first, end)]))
    return columns
