"""Searches in this process, one engine after the other: for a process that may start no others."""

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.search.engine import NO_EXTRAS, Exploration, Extras, Limits, Observer, Stop, Unfit
from seqcheck.search.engines import engine
from seqcheck.search.planner.reasons import bits

FEW_STATES = 2_000
"""Up to so many `plain` is the quickest."""

FEW_BITS = 38


class Within(Struct, frozen=True):
    """The engine that tries one engine after the other, each by itself."""

    name: str = "auto"

    def explore(
        self,
        model: Model,
        watches: tuple[Expression, ...],
        limits: Limits,
        observer: Observer,
        extras: Extras = NO_EXTRAS,
    ) -> Exploration:
        """Search every reachable state of *model*, or as far as *limits* allow, by the first engine that suits it."""
        few = FEW_STATES if limits.states is None else min(FEW_STATES, limits.states)
        if bits(model) <= FEW_BITS:
            small = engine("plain").explore(model, watches, replace(limits, states=few), observer, extras)
            if small.stopped is not Stop.STATES or few == limits.states:
                return small
        for other in ("symbolic", "packed"):
            try:
                found = engine(other).explore(model, watches, limits, observer, extras)
            except Unfit:
                continue
            if found.stopped is not Stop.MEMORY:
                return found
        return engine("plain").explore(model, watches, limits, observer, extras)
