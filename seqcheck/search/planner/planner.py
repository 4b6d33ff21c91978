"""Chooses the engine: `plain` for small machines, else `symbolic`, joined by `packed` if that takes long; the first answers.

What is small is tried out. On a machine of few bits of state `plain` begins, and `symbolic` joins it if there are more than
a few states; else `symbolic` begins, and `plain` joins it if that takes a while. `packed` takes the place of `plain` in time.
"""

import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.search.engine import NO_EXTRAS, Engine, Exploration, Extras, Keeper, Limits, Observer, Stop
from seqcheck.search.engines import NAMES, engine
from seqcheck.search.limits import Interruption
from seqcheck.search.planner.job import Entry, Job, ask
from seqcheck.search.planner.reasons import bits
from seqcheck.search.planner.trial import Trial, has_few_bits

if TYPE_CHECKING:
    from seqcheck.search.planner.standby import Standby

FEW_STATES = 100_000
"""With no more than so many states asked for, `plain` is quick enough, and counts them one by one."""

ENTRIES = (
    Entry(engine="symbolic", after_s=0.0, needs_mb=120.0),
    Entry(engine="packed", after_s=1.0, needs_mb=260.0, share=0.7),
    Entry(engine="plain", after_s=1.0, needs_mb=60.0, instead_of="packed", only_beside=True),
)
"""What `symbolic` does within the delay, `packed` would only slow down."""

ALONE_STATES = 4_000
"""`plain` visits so many in some 0.1 s."""

MANY_BITS = 72
"""Machines with more bits of state are seldom small enough for `packed`: it begins only where `symbolic` has given up."""


class Planner(Struct, frozen=True):
    """The engine that chooses among engines; *find* gives one by its name, *names* are those there are.

    *meanwhile* is done once in this process while it has nothing to do but wait for others. *standby* is a process that has
    begun already. *steady*: whose runs are shown is not to hang on which of two was quicker, unless the first takes a while.
    """

    find: Callable[[str], Engine] = engine
    names: tuple[str, ...] = NAMES
    name: str = "auto"
    meanwhile: Callable[[], None] | None = None
    standby: "Standby | None" = None
    steady: bool = False

    def explore(
        self,
        model: Model,
        watches: tuple[Expression, ...],
        limits: Limits,
        observer: Observer,
        extras: Extras = NO_EXTRAS,
    ) -> Exploration:
        """Search every reachable state of *model*, or as far as *limits* allow. Raises `NoAnswerError`."""
        job = Job(
            find=self.find,
            model=model,
            watches=watches,
            limits=limits,
            observer=observer,
            extras=extras,
            meanwhile=self.meanwhile,
            standby=self.standby,
        )
        with Interruption():
            return self._answer(job)

    def _answer(self, job: Job) -> Exploration:
        limits, extras = job.limits, job.extras
        kept = () if extras.keeper is None else engines_of(extras.keeper)
        if kept == ("plain",):
            return ask(job, "plain", "it goes on from its snapshot")
        if self.names == ("plain",):
            return ask(job, "plain", "there is no other")
        if limits.states is not None and limits.states <= FEW_STATES:
            return ask(job, "plain", f"no more than {limits.states:,} states are asked for")
        entries = entries_of(self.names, kept, wide=bits(job.model) > MANY_BITS)
        return one_by_one(job, entries) if self.steady and not kept else first_of(job, entries, on_trial=not kept)


class Alone(Struct, frozen=True):
    """One engine in a process of its own, so that limits and Ctrl-C reach it wherever it is."""

    name: str
    find: Callable[[str], Engine] = engine
    standby: "Standby | None" = None

    def explore(
        self,
        model: Model,
        watches: tuple[Expression, ...],
        limits: Limits,
        observer: Observer,
        extras: Extras = NO_EXTRAS,
    ) -> Exploration:
        """Search every reachable state of *model*, or as far as *limits* allow. Raises `Unfit` and `NoAnswerError`."""
        from seqcheck.search.planner.competing import only

        job = Job(
            find=self.find,
            model=model,
            watches=watches,
            limits=limits,
            observer=observer,
            extras=extras,
            standby=self.standby,
        )
        return only(job, self.name)


def engines_of(keeper: Keeper) -> tuple[str, ...]:
    """Return the engines whose snapshots are kept."""
    from seqcheck.search.planner.keeping import FileKeeper

    return keeper.engines if isinstance(keeper, FileKeeper) else ()


def entries_of(names: Sequence[str], kept: Sequence[str], *, wide: bool) -> list[Entry]:
    """Return the engines that take part, those with a snapshot at once. *wide*: the machine has many bits."""
    entries = [entry for entry in ENTRIES if entry.engine in names]
    entries = [entry if entry.instead_of in names else replace(entry, instead_of="") for entry in entries]
    at_once = [replace(entry, after_s=0.0, instead_of="", only_beside=False) for entry in entries if entry.engine in kept]
    others = [entry for entry in entries if entry.engine not in kept]
    if wide:
        others = [replace(entry, after_s=float("inf")) if entry.engine == "packed" else entry for entry in others]
    return [*at_once, *others]


def one_by_one(job: Job, entries: list[Entry]) -> Exploration:
    """Let `plain` answer for small machines, and others for those alone that it does not."""
    began, limits = time.monotonic(), job.limits
    if has_few_bits(job.model):
        found = ask(replace(job, limits=replace(limits, states=ALONE_STATES)), "plain", "the machine is small")
        if found.stopped is not Stop.STATES:
            return found
    from seqcheck.search.planner.competing import compete

    left = None if limits.seconds is None else max(0.0, limits.seconds - (time.monotonic() - began))
    return compete(Trial(job=replace(job, limits=replace(limits, seconds=left)), entries=entries), on_trial=False)


def first_of(job: Job, entries: list[Entry], *, on_trial: bool) -> Exploration:
    """Let engines compete, and with them `plain` on trial: as the first on a machine that is likely to be small."""
    trial = Trial(job=job, entries=entries)
    found = trial.run() if on_trial and has_few_bits(job.model) else None
    if found is not None and trial.contest is None and trial.settles(found):
        return found
    from seqcheck.search.planner.competing import after_trial, compete

    return compete(trial, on_trial=on_trial) if found is None else after_trial(trial, found)
