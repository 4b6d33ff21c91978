"""Judges a requirement on order or time by a search of its own, on a machine with an observer."""

import time
from collections.abc import Iterator

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.judge import Judge, why_no_value
from seqcheck.analyse.record import record
from seqcheck.analyse.verdict import Observation, Result, Verdict
from seqcheck.model import model as rules
from seqcheck.model.model import Model
from seqcheck.model.run import Beyond, Run
from seqcheck.model.semantics import settle
from seqcheck.search.engine import Engine, Exploration, Limits, Observer, Trace


class Observed(Struct, frozen=True, kw_only=True):
    """The verdict, what there is to report *beside* it, and how it was searched."""

    result: Result
    beside: tuple[Result, ...]
    observation: Observation


def limits_left(limits: Limits, began: float) -> Limits:
    """Return limits on a call with the time that is left of it since *began*."""
    return limits if limits.seconds is None else replace(limits, seconds=max(0.0, limits.seconds - (time.monotonic() - began)))


def observe(base: Model, model: Model, engine: Engine, limits: Limits, observer: Observer) -> Observed:
    """Search a model whose only property an observer judges; *base* is the machine as it is without.

    Raises `Disagreement` where engine and definition differ.
    """
    exploration = engine.explore(model, (), limits, observer)
    judge = Judge(model, exploration)
    (p,) = model.properties
    result = judge.verdict_on(0)
    without_value = tuple(_without_value(base, model, judge, exploration))
    if without_value and result.verdict is not Verdict.VIOLATED:
        reason = "one of its conditions has no value somewhere"
        result = replace(result, verdict=Verdict.UNDECIDED, run=None, accounts=(), reason=reason)
    observation = Observation(
        id=p.id,
        engine=exploration.engine,
        states=exploration.states,
        transitions=exploration.transitions,
        stopped=exploration.stopped,
        complete_steps=exploration.complete_steps,
    )
    return Observed(result=result, beside=without_value, observation=observation)


def _without_value(base: Model, model: Model, judge: Judge, exploration: Exploration) -> Iterator[Result]:
    """Yield the violation that one of the requirement's conditions has no value in some reachable state."""
    (p,) = model.properties
    problems = list(_failing(model, exploration))
    if isinstance(p.rule, rules.Observed):
        when = p.rule.when
        unjudged = exploration.unjudged.values()
        problems += [(t, f"“{when.text}” {why_no_value(model, when.test, t.states[-1])}") for t in unjudged]
    found = [(record(base, unobserved(base, trace)), problem) for trace, problem in problems]
    for (run, accounts), problem in sorted(found, key=lambda one: (one[0][0].step_count, one[0][0].tick_count))[:1]:
        yield judge.check("range", f"range: {p.id}", f"a condition of {p.id} has no value: {problem}", run, accounts)


def _failing(model: Model, exploration: Exploration) -> Iterator[tuple[Trace, str]]:
    """Yield the way to a state in which the observer fails, and what it fails in."""
    for trace in exploration.failures:
        problem = failing_observer(model, record(model, trace)[0])
        if problem:
            yield trace, f"it {problem}"


def failing_observer(model: Model, run: Run) -> str:
    """Return what an observer of *model* fails in at the end of a run, empty if none does: no failure of the machine itself."""
    failure = run.failure
    fails = isinstance(failure, Beyond) and any(one.rule == failure.rule for one in model.observers)
    return failure.problem if fails and isinstance(failure, Beyond) else ""


def unobserved(base: Model, trace: Trace) -> Trace:
    """Return a trace as it is without the observer, which failed after its last step."""
    size = len(base.variables)
    raw = trace.raw_start[:size]
    states = tuple(state[:size] for state in trace.states) or (settle(base, raw),)
    return replace(trace, raw_start=raw, states=states)
