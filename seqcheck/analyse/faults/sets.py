"""Lists the sets of faults of a machine that can be studied together, the small ones first."""

from collections.abc import Iterator, Mapping
from itertools import combinations
from math import comb
from typing import TypeAlias

from seqcheck.model.expression import reads
from seqcheck.model.model import Model
from seqcheck.model.run import StepKind

FaultSet: TypeAlias = tuple[str, ...]
"""Names of faults, in file order."""

MOST_COUNTED = 1_000_000


def rivals(model: Model) -> Mapping[str, frozenset[str]]:
    """Return for each fault of a model those that can no longer occur once it has: they stick the same signal."""
    flags = dict(zip(model.fault_variables, model.faults, strict=True))
    ready = {step.name: reads(step.ready, model.sensor_values) for step in model.steps if step.kind is StepKind.FAULT}
    return {name: frozenset(flags[place] for place in ready[name] if place in flags) - {name} for name in model.faults}


def fault_sets(model: Model, size: int) -> Iterator[FaultSet]:
    """Yield the sets of so many faults of a model without two that stick one signal."""
    excluded = rivals(model)
    for chosen in combinations(model.faults, size):
        if not any(other in excluded[one] for one, other in combinations(chosen, 2)):
            yield chosen


def count_of(model: Model, size: int) -> int:
    """Return the number of sets of so many faults; where there are very many, those with two on one signal are counted too."""
    most = comb(len(model.faults), size)
    return most if most > MOST_COUNTED else sum(1 for _ in fault_sets(model, size))
