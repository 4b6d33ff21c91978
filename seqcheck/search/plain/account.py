"""All that a search of the `plain` engine knows at a moment, in one place, so that it can be kept and taken up again."""

from dataclasses import dataclass, field

from seqcheck.model.model import State
from seqcheck.search.plain.frontier import Frontier
from seqcheck.search.plain.program import Board, Compiled
from seqcheck.search.plain.tracing import Tracer


@dataclass(slots=True)
class Account:
    """All that a search knows. *order* are the visited states; *starts_taken* raw starts were settled."""

    board: Board
    compiled: Compiled
    tracer: Tracer
    frontier: Frontier
    order: list[State] = field(default_factory=list)
    starts_taken: int = 0
    transitions: int = 0
