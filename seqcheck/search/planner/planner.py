"""Chooses the engine: `plain` for small machines, else `symbolic`, joined by `packed` if that takes long; the first answers.

What is small is tried out: `plain` begins, and is done after so many states or gives way. Unless the machine has very few
bits of state `symbolic` runs beside that trial, so that it loses nothing.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.search.engine import NO_EXTRAS, Engine, Exploration, Extras, Limits, Observer, Stop
from seqcheck.search.engines import NAMES, engine
from seqcheck.search.planner.job import Entry, Job, ask
from seqcheck.search.planner.keeping import FileKeeper
from seqcheck.search.planner.reasons import bits

SMALL_STATES = 1_000
"""`plain` does so many states in less time than another process takes to begin."""

FEW_BITS = 38
"""Machines with no more bits of state than this are seldom large."""

BESIDE_STATES = 8_000
BESIDE_STATES_OF_MANY_BITS = 1_000
"""So many states `plain` visits while `symbolic` begins. What it does in vain costs the second core, hardly any time."""

FEW_STATES = 100_000
"""With no more than so many states asked for, `plain` is quick enough, and counts them one by one."""

ENTRIES = (
    Entry(engine="symbolic", after_s=0.0, needs_mb=120.0),
    Entry(engine="packed", after_s=0.7, needs_mb=260.0),
    Entry(engine="plain", after_s=0.7, needs_mb=60.0, instead_of="packed", only_beside=True),
)
"""What `symbolic` does within the delay, `packed` would only slow down."""


@dataclass(frozen=True, slots=True)
class Planner:
    """The engine that chooses among engines; *find* gives one by its name, *names* are those there are."""

    find: Callable[[str], Engine] = engine
    names: tuple[str, ...] = NAMES
    name: str = "auto"

    def explore(
        self,
        model: Model,
        watches: tuple[Expression, ...],
        limits: Limits,
        observer: Observer,
        extras: Extras = NO_EXTRAS,
    ) -> Exploration:
        """Search every reachable state of *model*, or as far as *limits* allow. Raises `NoAnswerError`."""
        job = Job(find=self.find, model=model, watches=watches, limits=limits, observer=observer, extras=extras)
        kept = extras.keeper.engines if isinstance(extras.keeper, FileKeeper) else ()
        if kept == ("plain",):
            return ask(job, "plain", "it goes on from its snapshot")
        if self.names == ("plain",):
            return ask(job, "plain", "there is no other")
        if limits.states is not None and limits.states <= FEW_STATES:
            return ask(job, "plain", f"no more than {limits.states:,} states are asked for")
        return first_of(job, entries_of(self.names, kept), on_trial=not kept)


@dataclass(frozen=True, slots=True)
class Alone:
    """One engine in a process of its own, so that limits and Ctrl-C reach it wherever it is."""

    name: str
    find: Callable[[str], Engine] = engine

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

        job = Job(find=self.find, model=model, watches=watches, limits=limits, observer=observer, extras=extras)
        return only(job, self.name)


def entries_of(names: Sequence[str], kept: Sequence[str]) -> list[Entry]:
    """Return the engines that take part: those there are, and those with a snapshot at once."""
    entries = [entry for entry in ENTRIES if entry.engine in names]
    entries = [entry if entry.instead_of in names else replace(entry, instead_of="") for entry in entries]
    at_once = [replace(entry, after_s=0.0, instead_of="", only_beside=False) for entry in entries if entry.engine in kept]
    return [*at_once, *(entry for entry in entries if entry.engine not in kept)]


def first_of(job: Job, entries: list[Entry], *, on_trial: bool) -> Exploration:
    """Let engines compete, after and beside a trial of `plain`."""
    small = bits(job.model) <= FEW_BITS
    if on_trial and small and (trial := tried(job, SMALL_STATES)).stopped is not Stop.STATES:
        return trial
    from seqcheck.search.planner.competing import compete

    most = BESIDE_STATES if small else BESIDE_STATES_OF_MANY_BITS
    return compete(job, entries, partial(tried, job, most) if on_trial else None)


def tried(job: Job, states: int) -> Exploration:
    """Ask `plain` for a few states. It stops at the limit on states if the machine has more."""
    trial = replace(job, limits=replace(job.limits, states=states), extras=replace(job.extras, keeper=None))
    return ask(trial, "plain", "the machine is small")
