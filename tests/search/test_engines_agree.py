"""All engines on random machines, and on the same machines with finer ticks: one answer, whichever engine gives it."""

from collections.abc import Iterator
from itertools import combinations
from unittest.mock import patch

import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from seqcheck.check.machine import Machine
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model import semantics
from seqcheck.model.model import Model
from seqcheck.search.engine import Exploration, Limits, Trace
from seqcheck.search.engines import NAMES, engine
from seqcheck.search.failing import Cause, cause, failure_of
from seqcheck.search.symbolic import reaching
from tests.effort import examples
from tests.outside.machines import machines
from tests.outside.reading import machine_of
from tests.search.observing import observed_in
from tests.search.test_agreement import conditions

MOST_STATES = 3_000
OTHERS = [name for name in NAMES if name != "plain"]
RELAXED = settings(max_examples=examples(50), deadline=None, suppress_health_check=list(HealthCheck))


@pytest.mark.parametrize("name", OTHERS)
@RELAXED
@given(text=machines(), finer=st.sampled_from([1, 1, 3, 10]), nodes=st.sampled_from([0, reaching.LAYERS_FIRST_NODES]))
def test_an_engine_answers_as_plain_does(name: str, text: str, finer: int, nodes: int) -> None:
    """The symbolic one in both ways: layer after layer, and taking steps in no particular order."""
    with patch.object(reaching, "LAYERS_FIRST_NODES", nodes):
        compare(name, text, finer)


def compare(name: str, text: str, finer: int) -> None:
    for model in models(machine_of(refined(text, finer))):
        watches = tuple(conditions(model))
        plain = engine("plain").explore(model, watches, Limits(states=MOST_STATES), lambda _: None)
        if plain.stopped is not None:
            event("too many states")
            return
        other = engine(name).explore(model, watches, Limits(), lambda _: None)
        assert told(model, other) == told(model, plain)


def refined(text: str, finer: int) -> str:
    """Return a file with a tick so many times finer; one without a tick has one of a second."""
    tick = f"tick: {1000 // finer if 1000 % finer == 0 else 1000} ms"
    lines = [line for line in text.splitlines() if not line.startswith("tick:")]
    return "\n".join([lines[0], tick, *lines[1:]]) + "\n"


def models(machine: Machine) -> Iterator[Model]:
    """Yield the machine without faults, with each fault alone, and with all pairs; each with every observer too."""
    names = [fault.name for fault in machine.faults]
    for size in range(3):
        for chosen in combinations(names, size):
            signals = [fault.stuck for fault in machine.faults if fault.name in chosen and fault.stuck is not None]
            if len({(one.signal, one.is_sensor) for one in signals}) == len(signals):
                yield compile_machine(machine, chosen)
                yield from (compile_observed(machine, id_, chosen) for id_ in observed_in(machine))


def told(model: Model, found: Exploration) -> dict[str, object]:
    """Return all that an engine must answer alike; of two runs that cost the same it may show either."""
    assert found.stopped is None
    return {
        "counts": (found.states, found.transitions),
        "found": {number: cost(model, trace) for number, trace in found.found.items()},
        "failures": {why(model, trace): cost(model, trace) for trace in found.failures},
        "unjudged": {number: cost(model, trace) for number, trace in found.unjudged.items()},
        "never": found.never,
        "entered": found.entered,
        "acted": found.acted,
        "passing": found.passing - found.found.keys(),
        "dead ends": found.dead_ends and (found.dead_ends.count, cost(model, found.dead_ends.trace)),
        "time stuck": found.time_stuck and (found.time_stuck.count, cost(model, found.time_stuck.trace)),
    }


def cost(model: Model, trace: Trace) -> tuple[int, int]:
    """Return a trace's steps and ticks, each taken again by the definition."""
    steps = ticks = 0
    for one, other in zip(trace.states, trace.states[1:], strict=False):
        if ticked(model, one) == other:
            ticks += 1
        else:
            assert other in [end for _, end in semantics.steps(model, one)]
            steps += 1
    if trace.attempts:
        steps, ticks = (steps, ticks + 1) if trace.last is None else (steps + 1, ticks)
    return steps, ticks


def ticked(model: Model, state: tuple[int, ...]) -> object:
    """Return the state a tick later, if there is one."""
    try:
        return semantics.tick(model, state)
    except semantics.Failed:
        return None


def why(model: Model, trace: Trace) -> Cause:
    """Return what the failure at the end of a trace counts as."""
    if trace.states:
        failure = failure_of(model, trace.states[-1], trace.last)
        assert failure is not None
        return cause(failure)
    with pytest.raises(semantics.Failed) as failed:
        semantics.settle(model, trace.raw_start)
    return cause(failed.value.failure)
