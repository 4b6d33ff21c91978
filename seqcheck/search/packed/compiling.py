"""Compiles the functions of this folder to machine code with numba. Imported only when no compiled code is kept."""

from collections.abc import Callable, Mapping

from seqcheck.search.packed.linking import link, number, spread, tally
from seqcheck.search.packed.sifting import sift
from seqcheck.search.packed.tables import count, different, insert, keep_lost, lead, move, reach
from seqcheck.search.packed.visiting import visit_long, visit_short

GROUPS: Mapping[str, Mapping[str, Callable[[int], int]]] = {
    "tables": {
        "sift": sift,
        "insert": insert,
        "move": move,
        "lead": lead,
        "keep_lost": keep_lost,
        "reach": reach,
        "count": count,
        "different": different,
    },
    "links": {"number": number, "tally": tally, "link": link, "spread": spread},
    "short": {"visit": visit_short},
    "long": {"visit": visit_long},
}
