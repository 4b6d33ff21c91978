"""Records of what a machine does by itself once something has set it going, up to where it rests."""

from msgspec import Struct

from seqcheck.analyse.verdict import StepAccount
from seqcheck.model.run import Run

Values = tuple[int, ...]
"""The values of `Automatic.shown`, in that order."""


class Happening(Struct, frozen=True, kw_only=True):
    """What ends a situation: a plant rule (*step*), or time that lets reactions act (*step* None). *acted* are the reactions.

    It comes from *earliest* to *latest* ticks after the situation began, over all ways into it; *latest* None: it may come at
    any time later, or never. *to* is the number of the situation after it.
    """

    step: int | None
    acted: tuple[str, ...]
    earliest: int
    latest: int | None
    to: int


class Situation(Struct, frozen=True, kw_only=True):
    """What the machine shows, and what can happen next without anybody acting.

    *rests*: it may stay so for ever. *fails*: something that happens here is never completed. *cut*: what follows was not
    looked at.
    """

    values: Values
    happenings: tuple[Happening, ...]
    rests: bool = False
    fails: bool = False
    cut: bool = False


class Sequence(Struct, frozen=True, kw_only=True):
    """One automatic sequence: what *step* sets going, in its first situation *situations*[0].

    *trip* is the trip that it is about, or empty: then it is about the command *step*. *before* is the situation in which the
    step is taken, *acted* are the reactions that act at once. *run* leads there and ends with the step.
    """

    step: int
    trip: str
    before: Values
    acted: tuple[str, ...]
    situations: tuple[Situation, ...]
    run: Run
    accounts: tuple[StepAccount, ...]

    @property
    def is_cut(self) -> bool:
        """Whether some of it was not looked at."""
        return any(situation.cut for situation in self.situations)


class Automatic(Struct, frozen=True, kw_only=True):
    """All automatic sequences that were found. *shown* are the variables that a situation shows.

    Not *complete*: a limit ended the search for what sets something going, so that more may exist.
    """

    shown: tuple[int, ...]
    sequences: tuple[Sequence, ...]
    complete: bool
