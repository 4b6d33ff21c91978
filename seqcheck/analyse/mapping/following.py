"""Takes the steps of a recorded run again with the plain definition, to see which states it passes."""

from collections.abc import Iterator

from seqcheck.analyse.record import Disagreement
from seqcheck.model import semantics
from seqcheck.model.idling import elapsed_matters, idle_ticks
from seqcheck.model.model import Model, State, Variable
from seqcheck.model.run import Run, StepKind, Value


def states_of(model: Model, run: Run, *, every_tick: bool) -> Iterator[State]:
    """Yield the settled states that a run passes; not *every_tick*: without those between which only timers and clocks go on.

    The run may be that of the same machine with an observer. Raises `Disagreement` if it is no run of the machine.
    """
    number_of = {(step.kind, step.name, step.to): number for number, step in reversed(tuple(enumerate(model.steps)))}
    given = dict(run.start)
    try:
        state = semantics.settle(model, tuple(_raw(v, given) for v in model.variables))
        yield state
        for place, step in enumerate(run.steps):
            if run.failure is not None and place == len(run.steps) - 1:
                return
            if step.by.kind is StepKind.WAIT:
                for later in _waited(model, state, step.ticks, every_tick=every_tick):
                    state = later
                    yield state
            else:
                number = number_of[step.by.kind, step.by.name, step.by.to]
                state = semantics.take(model, model.steps[number], state)
                yield state
    except semantics.Failed as failed:
        if run.failure is None or run.steps:
            raise Disagreement(f"a step of the run fails: {failed.failure}") from None


def _raw(variable: Variable, given: dict[str, Value]) -> int:
    """Return the start value that a run gives of a variable; one that runs do not speak of has a single one."""
    if variable.name not in given:
        return variable.starts[0]
    value = given[variable.name]
    return variable.labels.index(value) if variable.labels else int(value)


def _waited(model: Model, state: State, ticks: int, *, every_tick: bool) -> Iterator[State]:
    """Yield the states that so many ticks lead through; of those on which only time passes perhaps only the last."""
    skips = not every_tick and not elapsed_matters(model)
    while ticks > 0:
        later = semantics.tick(model, state)
        if later is None:
            raise Disagreement(f"time cannot pass in {state}")
        ticks -= 1
        idle = min(ticks, idle_ticks(model, state, later)) if skips else 0
        if idle:
            moved = (one != other for one, other in zip(state, later, strict=True))
            later = tuple(value + idle * moves for value, moves in zip(later, moved, strict=True))
            ticks -= idle
        yield later
        state = later
