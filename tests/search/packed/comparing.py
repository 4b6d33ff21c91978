"""Compares all that two engines answer. Traces may differ as long as they cost the same: see `tests.search.test_agreement`."""

from dataclasses import dataclass

from seqcheck.model import semantics
from seqcheck.model.model import Model
from seqcheck.search.engine import Exploration, Remarkable, Trace
from seqcheck.search.failing import cause, failure_of

Cost = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """An exploration with each trace replaced by what it costs."""

    counts: tuple[object, ...]
    found: dict[int, Cost]
    unjudged: dict[int, Cost]
    failures: dict[object, Cost]
    remarked: tuple[tuple[int, Cost] | None, ...]


def answers(model: Model, found: Exploration) -> Answers:
    """Return what an exploration says; every trace is walked by the definition."""
    return Answers(
        counts=(
            found.states, found.transitions, found.stopped, found.never, found.entered, found.acted, found.passing,
            found.exact_counts,
        ),
        found={number: cost(model, trace) for number, trace in found.found.items()},
        unjudged={number: cost(model, trace) for number, trace in found.unjudged.items()},
        failures=dict(failed(model, trace) for trace in found.failures),
        remarked=tuple(remarked(model, remarkable) for remarkable in (found.dead_ends, found.time_stuck)),
    )  # fmt: skip


def cost(model: Model, trace: Trace) -> Cost:
    """Return a trace's steps and ticks; every link must be a transition, and the start one of the file."""
    assert semantics.settle(model, trace.raw_start) == trace.states[0]
    assert all(value in v.starts for v, value in zip(model.variables, trace.raw_start, strict=True))
    steps = ticks = 0
    for one, other in zip(trace.states, trace.states[1:], strict=False):
        by = [number for number, after in semantics.steps(model, one) if after == other]
        assert by
        ticks, steps = (ticks + 1, steps) if None in by else (ticks, steps + 1)
    if trace.attempts:
        ticks, steps = (ticks + 1, steps) if trace.last is None else (ticks, steps + 1)
    return steps, ticks


def failed(model: Model, trace: Trace) -> tuple[object, Cost]:
    """Return what fails at the end of a trace, and the cost; that of a start is (-1, 0)."""
    if trace.states:
        failure = failure_of(model, trace.states[-1], trace.last)
        assert failure is not None
        return cause(failure), cost(model, trace)
    try:
        semantics.settle(model, trace.raw_start)
    except semantics.Failed as problem:
        return cause(problem.failure), (-1, 0)
    raise AssertionError(trace)


def remarked(model: Model, remarkable: Remarkable | None) -> tuple[int, Cost] | None:
    """Return how many states are remarkable, and the cost of the nearest."""
    return None if remarkable is None else (remarkable.count, cost(model, remarkable.trace))
