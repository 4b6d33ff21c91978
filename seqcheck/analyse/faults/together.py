"""Takes in what one search over all sets of faults found, in place of a search for each set.

Such a search looks at a machine with all faults under study and a budget (`model/budget.py`). Whatever it answers for is not
asked again; a campaign asks the rest set by set.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence

from msgspec import Struct

from seqcheck.analyse.faults.asking import Answer, Search
from seqcheck.analyse.faults.sets import FaultSet
from seqcheck.model.budget import within_budget
from seqcheck.model.model import Elsewhere, Model, State
from seqcheck.search.engine import Limits, Trace, Unfit
from seqcheck.search.limits import memory_of_this_computer_mb

SHARE_OF_MEMORY = 0.4
"""The part of a computer's memory that one search over all sets may take."""


class Combination(Struct, frozen=True, kw_only=True):
    """A minimal set of faults, and a shortest trace, of the machine with the budget, in which they all occur.

    *trace* None: no run can show it, since it is about something that is never reached.
    """

    faults: FaultSet
    trace: Trace | None


class Minimal(Struct, frozen=True, kw_only=True):
    """What one search found: by the id of each hazard and requirement that it answers for, the minimal sets of faults.

    *none_fails*: no step fails with any of the sets.
    """

    found: Mapping[str, tuple[Combination, ...]]
    none_fails: bool


class Whole(Struct, frozen=True, kw_only=True):
    """A machine with all its faults under study, of which up to so many occur."""

    model: Model
    up_to: int

    @property
    def about(self) -> tuple[str, int]:
        """What it is about: the requirement that is observed, if any, and the number of faults."""
        return (self.model.properties[0].id if self.model.observers else "", self.up_to)


def search_together(whole: Whole, seconds: float | None, most_mb: float | None = None) -> Minimal | None:
    """Search all sets of faults at once, in so many seconds and megabytes at the most; None if that came to no end."""
    from seqcheck.search.symbolic.sorting import Apart, sort

    model = within_budget(whole.model, whole.up_to)
    there_mb = memory_of_this_computer_mb()
    allowed = (most_mb, None if there_mb is None else SHARE_OF_MEMORY * there_mb)
    limits = Limits(seconds=seconds, memory_mb=min((one for one in allowed if one is not None), default=None))
    try:
        told = sort(model, Apart(by=model.fault_variables), None, limits, lambda _: None)
    except Unfit:
        return None
    if told.stopped is not None or not told.states:
        return None
    return Minimal(
        found={
            p.id: tuple(Combination(faults=_named(model, values), trace=trace) for values, trace in told.found.get(number, ()))
            for number, p in enumerate(model.properties)
            if number not in told.unjudged and not isinstance(p.rule, Elsewhere) and not (model.observers and told.fails)
        },
        none_fails=not told.fails and not told.unjudged,
    )


def _named(model: Model, occurred: Sequence[int]) -> FaultSet:
    return tuple(fault for fault, flag in zip(model.faults, occurred, strict=True) if flag)


def answers(everything: Model, found: Minimal, studying: Callable[[FaultSet], Model]) -> Iterator[Answer]:
    """Yield an answer for each set of faults that is minimal for something, as a search for that set alone would give it."""
    by_set: dict[FaultSet, dict[str, Trace | None]] = {}
    for id_, combinations in found.found.items():
        for one in combinations:
            by_set.setdefault(one.faults, {})[id_] = one.trace
    for faults, traces in sorted(by_set.items(), key=lambda pair: len(pair[0])):
        told = Projection(everything, studying(faults))
        shown = {id_: told.trace(trace) for id_, trace in traces.items() if trace is not None}
        search = Search(states=0, stopped=None, found=shown, unjudged={}, failures=())
        if everything.observers:
            nothing = Search(states=0, stopped=None, found={}, unjudged={}, failures=())
            yield Answer(study=faults, ids=tuple(traces), search=nothing, observed=dict.fromkeys(traces, search))
        else:
            yield Answer(study=faults, ids=tuple(traces), search=search, observed={})


class Projection:
    """Turns a trace of a machine with all faults under study into one of the same machine with some of them."""

    def __init__(self, everything: Model, some: Model) -> None:
        places = {variable.name: place for place, variable in enumerate(everything.variables)}
        self._kept = [places[variable.name] for variable in some.variables]
        numbers = {(step.kind, step.name, step.to): number for number, step in enumerate(some.steps)}
        self._numbers = {
            old: numbers[step.kind, step.name, step.to]
            for old, step in enumerate(everything.steps)
            if (step.kind, step.name, step.to) in numbers
        }

    def trace(self, trace: Trace) -> Trace:
        """Return the trace without what only other faults have. Raises `KeyError` if it takes a step of one."""
        return Trace(
            raw_start=self._state(trace.raw_start),
            states=tuple(map(self._state, trace.states)),
            attempts=trace.attempts,
            last=None if trace.last is None else self._numbers[trace.last],
        )

    def _state(self, state: State) -> State:
        return tuple(state[place] for place in self._kept)
