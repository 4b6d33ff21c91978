"""Responses and precedences of random machines: the observer, every engine and the whole verdict against the plain reading."""

import random
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from seqcheck.analyse.verdict import Case, Result
from seqcheck.analyse.verify import verify_case
from seqcheck.check import machine as tree
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model import model as m
from seqcheck.model import semantics
from seqcheck.model.run import Beyond
from seqcheck.search.engine import Limits
from seqcheck.search.engines import NAMES, engine
from tests.effort import examples
from tests.outside.machines import machines
from tests.outside.orders import Answer, Order, Truths, answered, is_violated, orders_of
from tests.outside.reading import machine_of
from tests.search.test_engines_agree import cost, refined

MOST_STATES = 1_500
WALK = 25
RELAXED = settings(max_examples=examples(50), deadline=None, suppress_health_check=list(HealthCheck))


def fault_sets(machine: tree.Machine) -> list[tuple[str, ...]]:
    """Return no fault, and each of the first two alone."""
    return [(), *((fault.name,) for fault in machine.faults[:2])]


# --- one run at a time ---
@RELAXED
@given(text=machines(with_orders_only=True), seed=st.integers(0, 2**32 - 1))
def test_the_observer_says_of_every_run_what_the_reading_says(text: str, seed: int) -> None:
    """Along random walks of the machine as it is, at every moment."""
    machine = machine_of(text)
    chance = random.Random(seed)  # noqa: S311 - no secret
    for faults in fault_sets(machine):
        for order in orders_of(machine, faults):
            for _ in range(4):
                walk(order, compile_observed(machine, order.id, faults), chance)


def walk(order: Order, observed: m.Model, chance: random.Random) -> None:
    """Go through one machine, with the observer and without; time passes every other time, if it can."""
    assert [v.starts for v in observed.variables[len(order.model.variables) :]] == [(0,)] * added(order)
    raw = chance.choice(list(semantics.raw_starts(order.model)))
    seen = settled(observed, (*raw, *[0] * added(order)))
    state = settled(order.model, raw)
    run: list[tuple[Truths, int]] = []
    time, violated = 0, False
    for _ in range(WALK):
        if not isinstance(state, tuple):
            assert not isinstance(seen, tuple)
            return
        run.append((order.truths(state), time))
        if not order.is_read(run[-1][0]):
            assert isinstance(seen, Beyond)
            assert seen.variable is None
            event("no value")
            return
        assert isinstance(seen, tuple)
        assert seen[: len(state)] == state
        if run[-1][0].a is not None:
            violated = is_violated(order, run) or (violated and order.within is not None)
            assert tells(observed, seen) is violated
            event(f"{'precedence' if order.within is None else 'response'} {violated}")
        ways = dict(semantics.steps(order.model, state))
        if not ways:
            return
        number = None if None in ways and chance.random() < 0.5 else chance.choice(list(ways))
        state, seen = ways[number], dict(semantics.steps(observed, seen))[number]
        time += number is None


def added(order: Order) -> int:
    """Return the number of variables that an observer takes."""
    return 1 if order.within is None else 3


def settled(model: m.Model, raw: m.State) -> object:
    """Return where a start settles, or how it fails."""
    try:
        return semantics.settle(model, raw)
    except semantics.Failed as failed:
        return failed.failure


def tells(observed: m.Model, state: m.State) -> bool:
    """Tell whether the model's own condition says that the requirement is violated."""
    (p,) = observed.properties
    assert isinstance(p.rule, m.Observed)
    return bool(semantics.evaluate(observed, p.rule.violated.test, state))


# --- all runs ---
def cases(text: str) -> Iterator[tuple[tree.Machine, tuple[str, ...], Order, Answer]]:
    """Yield what is to be compared: each order with each set of faults, and what all its runs say."""
    machine = machine_of(text)
    for faults in fault_sets(machine):
        for order in orders_of(machine, faults):
            answer = answered(order, MOST_STATES)
            if answer is None:
                event("too many states")
                return
            event(f"{'precedence' if order.within is None else 'response'} {answer.verdict}")
            yield machine, faults, order, answer


@pytest.mark.parametrize("name", NAMES)
@RELAXED
@given(text=machines(with_orders_only=True), finer=st.sampled_from([1, 1, 1, 10]))
def test_each_engine_finds_what_the_reading_says(name: str, text: str, finer: int) -> None:
    """Violated or not; the fewest steps, and the least time that they take."""
    for machine, faults, order, answer in cases(refined(text, finer)):
        observed = compile_observed(machine, order.id, faults)
        found = engine(name).explore(observed, (), Limits(), lambda _: None)
        assert found.stopped is None
        traces = {number: cost(observed, trace) for number, trace in found.found.items()}
        assert traces == ({} if answer.violated is None else {0: answer.violated})


@RELAXED
@given(text=machines(with_orders_only=True))
def test_the_verdict_is_that_of_the_reading(text: str) -> None:
    """With the run that shows it, and with the violation that a condition has no value, by its shortest run."""
    judged: dict[tuple[str, ...], Case] = {}
    for machine, faults, order, answer in cases(text):
        if faults not in judged:
            judged[faults] = verified(machine, faults)
        case = judged[faults]
        (result,) = [result for result in case.results if result.id == order.id]
        assert (result.verdict.value, cost_of(result)) == (answer.verdict, answer.violated)
        without_value = [result for result in case.results if result.id == f"range: {order.id}"]
        assert [cost_of(one) for one in without_value] == [answer.valueless] * (answer.valueless is not None)


def verified(machine: tree.Machine, faults: tuple[str, ...]) -> Case:
    """Return the whole verdict."""
    model = compile_machine(machine, faults)
    return verify_case(model, engine("plain"), Limits(), lambda _: None, lambda id_: compile_observed(machine, id_, faults))


def cost_of(result: Result) -> tuple[int, int] | None:
    """Return the steps and ticks of a result's run."""
    return None if result.run is None else (result.run.step_count, result.run.tick_count)
