"""Takes the steps of a run by the plain definition and says where it ends."""

from seqcheck.model import semantics
from seqcheck.model.model import Model, State, VariableKind, condition_of
from seqcheck.model.run import By, StepKind
from seqcheck.proof.form import ByRun, RefusedError
from seqcheck.proof.wording import said_act, said_failure, said_state

GIVEN = frozenset({VariableKind.PART, VariableKind.PANEL, VariableKind.OUTPUT, VariableKind.MEMORY})
MOST_TICKS = 1_000_000
"""Ticks of waiting that a run may have."""


def end_of(model: Model, run: ByRun) -> State:
    """Return the state in which a run ends. Raises `RefusedError` if it is no run."""
    try:
        state = semantics.settle(model, _start(model, run))
        for place, (by, ticks) in enumerate(run.steps, start=1):
            state = _wait(model, state, ticks, place) if by.kind is StepKind.WAIT else _take(model, state, by, place)
    except semantics.Failed as failed:
        raise RefusedError(f"the run of {run.id} fails: {said_failure(failed.failure)}") from None
    return state


def confirm_run(model: Model, run: ByRun, number: int) -> None:
    """Confirm that a run ends in the goal of a property. Raises `RefusedError`."""
    goal = condition_of(model.properties[number].rule).test
    state = end_of(model, run)
    try:
        reached = semantics.evaluate(model, goal, state)
    except semantics.Impossible:
        reached = 0
    if not reached:
        raise RefusedError(f"the run of {run.id} does not end in its goal but in {said_state(model, state)}")


def _start(model: Model, run: ByRun) -> State:
    given = dict(run.start)
    wanted = [variable.name for variable in model.variables if variable.kind in GIVEN]
    if len(given) != len(run.start) or set(given) != set(wanted):
        raise RefusedError(f"the run of {run.id} does not give each variable one start value")
    values = []
    for variable in model.variables:
        starts = {variable.shown(start): start for start in variable.starts}
        chosen = given[variable.name] if variable.kind in GIVEN else variable.shown(variable.starts[0])
        matching = [raw for value, raw in starts.items() if value == chosen and type(value) is type(chosen)]
        if not matching:
            raise RefusedError(f"the run of {run.id} begins with {variable.name} = {chosen}, which is no start value")
        values.append(matching[0])
    return tuple(values)


def _take(model: Model, state: State, by: By, place: int) -> State:
    for step in model.steps:
        if (step.kind, step.name, step.to) == (by.kind, by.name, by.to):
            if not semantics.possible(model, step, state):
                raise RefusedError(f"{said_act(by)}, number {place} of a run, is not possible in {said_state(model, state)}")
            return semantics.take(model, step, state)
    raise RefusedError(f"{said_act(by)}, number {place} of a run, does not exist")


def _wait(model: Model, state: State, ticks: int, place: int) -> State:
    if ticks > MOST_TICKS:
        raise RefusedError(f"number {place} of a run waits for more than {MOST_TICKS:,} ticks")
    for _ in range(ticks):
        later = semantics.tick(model, state)
        if later is None:
            raise RefusedError(f"time cannot pass at number {place} of a run, in {said_state(model, state)}")
        if later == state:
            break
        state = later
    return state
