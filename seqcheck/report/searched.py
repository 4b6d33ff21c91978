"""How a case was searched, beside what was found: which engine and why, how it counted, what had been done before."""

from msgspec import Struct

from seqcheck.search.engine import Exploration


class Searched(Struct, frozen=True, kw_only=True):
    """What a search tells of itself. *spent_before_s* went into it before it was taken up again."""

    engine: str
    reason: str = ""
    bytes_per_state: float | None = None
    exact_counts: bool = True
    spent_before_s: float = 0.0


def searched(exploration: Exploration, spent_before_s: float = 0.0) -> Searched:
    """Return what is told of a search."""
    return Searched(
        engine=exploration.engine,
        reason=exploration.reason,
        bytes_per_state=exploration.bytes_per_state,
        exact_counts=exploration.exact_counts,
        spent_before_s=spent_before_s,
    )
