"""What a comparison of two files finds out."""

from collections.abc import Iterator
from enum import Enum
from fractions import Fraction

from msgspec import Struct

from seqcheck.analyse.comparing.naming import Named
from seqcheck.analyse.verdict import Result, StepAccount
from seqcheck.model.run import By, Run
from seqcheck.search.comparing.pair import Side
from seqcheck.search.engine import Stop


class Outcome(Enum):
    """The answer to "is it the same?"."""

    SAME = "same behaviour"
    DIFFERS = "behaviour differs"
    UNDECIDED = "undecided"


class Shown(Struct, frozen=True, kw_only=True):
    """A shortest run of one of the two files; *accounts* go with its steps."""

    side: Side
    run: Run
    accounts: tuple[StepAccount, ...]


class Change(Struct, frozen=True, kw_only=True):
    """How many situations, or transitions, and a shortest run to one (None: it was not looked for)."""

    count: int
    shown: Shown | None


class VerdictChange(Struct, frozen=True, kw_only=True):
    """A hazard, requirement or built-in check with another verdict. None: it does not stand in that file.

    A built-in check that nothing breaks has no result either: *is_built_in* tells it from one that is not asked.
    """

    id: str
    old: Result | None
    new: Result | None
    is_built_in: bool = False


class AskedChange(Struct, frozen=True, kw_only=True):
    """A hazard or requirement that asks something else. *how* says in words what differs.

    *more* are situations in which its condition is true in the new file only, *less* those in which it is so in the old one.
    """

    id: str
    how: str
    more: Change | None = None
    less: Change | None = None


class CommandChange(Struct, frozen=True, kw_only=True):
    """A command that is now accepted or refused in other situations. *name* is that of the new file if that has it.

    *refused_by* are the permissives that refuse it at the end of the run of *refused*. *only*: the one file that has it.
    """

    name: str
    accepted: Change | None
    refused: Change | None
    refused_by: tuple[str, ...]
    only: Side | None


class StepChange(Struct, frozen=True, kw_only=True):
    """Transitions of one step (or of waiting) from common situations that only the old file has (*gone*), or the new one.

    Where there are both, a run is shown of the new file only.
    """

    by: By
    gone: Change | None
    come: Change | None
    only: Side | None


class Part(Struct, frozen=True, kw_only=True):
    """One of the two files: what it is called, and what was searched of it (None: nothing had to be)."""

    machine: str
    revision: str
    states: int | None = None
    situations: int | None = None


class Comparison(Struct, frozen=True, kw_only=True):
    """All that sets two files apart.

    *quick*: the two are the same, word for word but for what names, texts and layout do; nothing was searched. *stopped*:
    the search ended early; what is told of common situations is so, and there may be more. *unclear* counts what is possible
    in both, in some states of a situation only. *gone* and *come* are situations that only the old or the new file reaches,
    *starts_gone* and *starts_come* those in which only one starts. *notes* say how the situations were compared.
    """

    old: Part
    new: Part
    tick_s: Fraction
    outcome: Outcome
    quick: bool = False
    stopped: Stop | None = None
    common: int | None = None
    verdicts: tuple[VerdictChange, ...] = ()
    asked: tuple[AskedChange, ...] = ()
    commands: tuple[CommandChange, ...] = ()
    gone: Change | None = None
    come: Change | None = None
    starts_gone: Change | None = None
    starts_come: Change | None = None
    steps: tuple[StepChange, ...] = ()
    old_names: tuple[Named, ...] = ()
    new_names: tuple[Named, ...] = ()
    notes: tuple[str, ...] = ()
    unclear: int = 0
    undecided: tuple[str, ...] = ()
    seconds: float = 0.0

    def runs(self) -> Iterator[tuple[Side, Run]]:
        """Yield every run, with the file that it is one of."""
        for verdict in self.verdicts:
            for side, result in ((Side.OLD, verdict.old), (Side.NEW, verdict.new)):
                if result is not None and result.run is not None:
                    yield side, result.run
        for change in self._changes():
            if change is not None and change.shown is not None:
                yield change.shown.side, change.shown.run

    def _changes(self) -> Iterator[Change | None]:
        yield from (self.gone, self.come, self.starts_gone, self.starts_come)
        for one in self.asked:
            yield from (one.more, one.less)
        for command in self.commands:
            yield from (command.accepted, command.refused)
        for step in self.steps:
            yield from (step.gone, step.come)
