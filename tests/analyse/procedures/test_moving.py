"""The generated functions do what the plain definition does, in every reachable state of random machines."""

from hypothesis import HealthCheck, given, settings

from seqcheck.analyse.procedures.moving import FAILED, NOT_YET, Moves
from seqcheck.compile.compile import compile_machine
from seqcheck.model import semantics
from seqcheck.model.model import Model, State, condition_of
from seqcheck.model.run import StepKind
from tests.effort import examples
from tests.outside.independent import grown
from tests.outside.machines import machines
from tests.outside.reading import machine_of

RELAXED = settings(
    max_examples=examples(50), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


def expected(model: Model, number: int, state: State) -> State | int:
    """Return what a step comes to by the definition, as `Moves.step` says it."""
    step = model.steps[number]
    try:
        if not semantics.evaluate(model, step.ready, state):
            return NOT_YET
        missing = [not semantics.judge(model, step.name, guard.test, state) for guard in step.guards]
        if any(missing):
            return -sum(1 << place for place, false in enumerate(missing) if false)
        return semantics.take(model, step, state)
    except semantics.Failed:
        return FAILED


def ticked(model: Model, state: State) -> State | int:
    """Return what a tick comes to by the definition, as `Moves.tick` says it."""
    try:
        after = semantics.tick(model, state)
    except semantics.Failed:
        return FAILED
    return NOT_YET if after is None else after


def truth(model: Model, state: State, hazard: int) -> int:
    """Return 1 or 0, or FAILED where a hazard has no value."""
    try:
        return int(bool(semantics.evaluate(model, condition_of(model.properties[hazard].rule).test, state)))
    except semantics.Impossible:
        return FAILED


@RELAXED
@given(text=machines(with_faults=False))
def test_steps_ticks_and_truths_are_those_of_the_definition(text: str) -> None:
    model = compile_machine(machine_of(text))
    graph = grown(model, 200)
    if graph is None:
        return
    moves = Moves(model)

    def shown(after: int) -> State | int:
        return moves.states[after] if after >= 0 else after

    for state in graph.moves:
        number = moves.number(state)
        by_step = {n: expected(model, n, state) for n in range(len(model.steps))}
        assert {n: shown(moves.step(n, number)) for n in by_step} == by_step
        assert shown(moves.tick(number)) == ticked(model, state)
        possible = {
            n: after for n, after in by_step.items() if after != state and (isinstance(after, tuple) or after == FAILED)
        }
        plant = {n: after for n, after in possible.items() if model.steps[n].kind is StepKind.PLANT}
        assert {n: shown(after) for n, after in moves.plant(number)} == plant
        done = {n: after for n, after in possible.items() if isinstance(after, tuple)}
        assert {n: shown(after) for n, after in moves.everything(number)} == done
        truths = [truth(model, state, hazard) for hazard in moves.hazards]
        bits = sum(1 << place for place, value in enumerate(truths) if value == 1)
        assert moves.hazard(number) == bits | ((1 << len(truths)) if FAILED in truths else 0)
