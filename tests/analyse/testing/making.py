"""Makes sheets from texts, and plays their rows by the plain definition alone."""

from seqcheck.analyse.testing.records import Sheets, SheetTest
from seqcheck.analyse.testing.sheets import sheets_of
from seqcheck.model import semantics
from seqcheck.model.model import Model, State
from seqcheck.model.run import By, RunStep, StepKind
from seqcheck.search.engine import Limits, Progress
from tests.analyse.procedures.asking import model_of

__all__ = ["made", "model_of", "play", "refusing", "start_of", "taken"]


def silent(_progress: Progress) -> None:
    """Take no note."""


def made(model: Model, limits: Limits | None = None) -> Sheets:
    """Make the sheets of a model."""
    return sheets_of(model, limits or Limits(), silent)


def start_of(model: Model, test: SheetTest) -> State:
    """Return the settled state in which a test begins."""
    start = dict(test.run.start)
    for raw in semantics.raw_starts(model):
        named = {v.name: v.shown(x) for v, x in zip(model.variables, raw, strict=True) if v.name in start}
        if named == start:
            return semantics.settle(model, raw)
    raise AssertionError(test.run.start)


def number_of(model: Model, by: By) -> int:
    """Return the number of the step that somebody takes."""
    (number,) = [n for n, s in enumerate(model.steps) if (s.kind, s.name, s.to) == (by.kind, by.name, by.to)]
    return number


def taken(model: Model, state: State, step: RunStep) -> State:
    """Take a step of a run; it must be possible."""
    if step.by.kind is StepKind.WAIT:
        for _ in range(step.ticks):
            later = semantics.tick(model, state)
            assert later is not None
            state = later
        return state
    number = number_of(model, step.by)
    assert semantics.possible(model, model.steps[number], state)
    return semantics.take(model, model.steps[number], state)


def refusing(model: Model, state: State, by: By) -> list[str]:
    """Return the names of the permissives that refuse a command."""
    step = model.steps[number_of(model, by)]
    return [guard.name for guard in step.guards if not semantics.evaluate(model, guard.test, state)]


def play(model: Model, test: SheetTest) -> State:
    """Play a test row by row: refused where that is expected, effects as expected. Return where it ends."""
    state = start_of(model, test)
    for row in test.rows:
        for step in row.steps:
            state = taken(model, state, step)
        if row.tried is not None:
            assert refusing(model, state, row.tried) == [row.refused_by]
        standing = {v.name: v.shown(x) for v, x in zip(model.variables, state, strict=True)}
        assert dict(row.effects).items() <= standing.items()
    assert state == test.end
    return state
