"""How far a search has come: all that is to know, besides its tables and lists, to go on from there."""

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from seqcheck.search.engine import Stop


class Bucket(Struct, frozen=True, kw_only=True):
    """States of one cost: for each owner where they begin and end in its list. The first ones, up to *ticked*, were
    reached by a tick, the others by a step; in layer 0 they are starts.
    """

    layer: int
    moment: int
    begins: tuple[int, ...]
    ticked: tuple[int, ...]
    ends: tuple[int, ...]

    @property
    def count(self) -> int:
        """How many states there are."""
        return sum(self.ends) - sum(self.begins)


class Remark(Struct):
    """How many states of a remarkable sort there are, and the position of a first one."""

    count: int = 0
    first: int = -1

    def note(self, which: NDArray[np.bool_], position: int) -> None:
        """Count some of the states of a piece, of which the first has a position."""
        many = int(np.count_nonzero(which))
        if many and not self.count:
            self.first = position + int(np.argmax(which))
        self.count += many


class Reach(Struct):
    """How far a search has come. *moment*, *begins*: of the next bucket; *within*: that before is not done yet.

    *owner*, *place*: where in it the search goes on. *raws*: starts that were settled. *overtaken*: for each owner, states
    that wait though they were reached more cheaply meanwhile. *torn*: it is not known how far it has come.
    """

    begins: tuple[int, ...]
    overtaken: list[int]
    layer: int = 0
    complete_steps: int = -1
    moment: int = 0
    within: bool = False
    owner: int = 0
    place: int = 0
    raws: int = 0
    started: bool = False
    torn: bool = False
    stopped: Stop | None = None
    dead: Remark = field(default_factory=Remark)
    jammed: Remark = field(default_factory=Remark)
