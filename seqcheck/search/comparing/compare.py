"""Chooses how two machines are compared: by sets, or state by state where a machine is not made for sets."""

from seqcheck.search.comparing.pair import Compared, Pair
from seqcheck.search.comparing.symbolic import compare_sets
from seqcheck.search.engine import Limits, Observer, Unfit


def compare_pair(pair: Pair, limits: Limits, observer: Observer) -> Compared:
    """Compare two machines, or as far as *limits* allow."""
    try:
        return compare_sets(pair, limits, observer)
    except Unfit:
        from seqcheck.search.comparing.explicit import compare_states

        return compare_states(pair, limits, observer)
