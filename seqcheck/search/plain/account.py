"""All that a search of the `plain` engine knows at a moment, in one place, so that it can be kept and taken up again."""

from msgspec import Struct, field

from seqcheck.model.model import State
from seqcheck.search.plain.frontier import Frontier
from seqcheck.search.plain.program import Board, Compiled
from seqcheck.search.plain.tracing import Tracer


class Account(Struct):
    """All that a search knows. *order* are the visited states; *starts_taken* raw starts were settled."""

    board: Board
    compiled: Compiled
    tracer: Tracer
    frontier: Frontier
    order: list[State] = field(default_factory=list)
    starts_taken: int = 0
    transitions: int = 0
