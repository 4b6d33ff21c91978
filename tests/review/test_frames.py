"""What the replay shows after each step is what the plain definition says, on small random machines too."""

from collections.abc import Iterator
from pathlib import Path

from hypothesis import HealthCheck, given, settings

from seqcheck.analyse.faults.noticing import has_no_value_somewhere
from seqcheck.analyse.verdict import Result
from seqcheck.analyse.verify import verify_case
from seqcheck.check.check import check
from seqcheck.compile.compile import compile_machine
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.model import semantics
from seqcheck.model.expression import Load, Sense
from seqcheck.model.model import Model, State, VariableKind
from seqcheck.model.run import RunStep, StepKind
from seqcheck.review.frames import Frame, differences, frames, items, raw_start
from seqcheck.search.engine import Limits
from seqcheck.search.engines import engine
from seqcheck.syntax.read import read
from tests.outside.machines import machines
from tests.review.mixer import MIXER
from tests.review.pages import review_of

ORDER = (VariableKind.PANEL, VariableKind.PART, VariableKind.OUTPUT, VariableKind.MEMORY)


def board(model: Model, state: State) -> Frame:
    """Read a state by hand, in words."""
    truths = {True: "true", False: "false"}

    def said(value: object) -> str:
        return truths[value] if isinstance(value, bool) else str(value).replace("_", " ")

    values: list[str] = []
    for kind in ORDER:
        for place, variable in enumerate(model.variables):
            if variable.kind is kind:
                values.append(said(variable.shown(semantics.evaluate(model, Load(place), state))))
    for number, sensor in enumerate(model.sensors):
        if not has_no_value_somewhere(model, sensor.value):
            values.append(said(sensor.shown(semantics.evaluate(model, Sense(number), state))))
    values += ["on" if semantics.evaluate(model, timer.q, state) else "off" for timer in model.timers]
    return tuple(values)


def taken(model: Model, state: State, step: RunStep) -> State:
    """Take a recorded step with the plain definition."""
    if step.by.kind is StepKind.WAIT:
        for _ in range(step.ticks):
            after = semantics.tick(model, state)
            assert after is not None
            state = after
        return state
    (found,) = [one for one in model.steps if (one.kind, one.name, one.to) == (step.by.kind, step.by.name, step.by.to)]
    return semantics.take(model, found, state)


def boards(model: Model, result: Result) -> Iterator[Frame]:
    assert result.run is not None
    state = semantics.settle(model, raw_start(model, result.run.start))
    yield board(model, state)
    for step in result.run.steps:
        state = taken(model, state, step)
        yield board(model, state)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(machines())
def test_every_frame_is_the_state_of_the_definition(text: str) -> None:
    sink = Sink()
    document = read(text.encode(), sink)
    assert document is not None
    machine = check(document, sink)
    assert machine is not None
    model = compile_machine(machine)
    case = verify_case(model, engine("plain"), Limits(states=3000), lambda _: None)
    for result in case.results:
        if result.run is not None and result.run.failure is None:
            assert frames(result.run, result.accounts, model, items(model)) == tuple(boards(model, result))


def test_what_is_commanded_and_what_is_really_done(tmp_path: Path) -> None:
    review = review_of(MIXER, tmp_path)
    assert review.faults is not None
    welded = [one.result for row in review.faults.rows for one in row.reached if one.faults == ("motor welded",)]
    (motor,) = [place for place, item in enumerate(items(review.model)) if item.name == "motor"]
    last = [
        frames(one.run, one.accounts, review.model, items(review.model))[-1][motor] for one in welded if one.run is not None
    ]
    assert "off, really run" in last


def test_only_what_differs_is_kept() -> None:
    assert list(differences(("a", "b", "c"), ("a", "x", "c"))) == [(1, "x")]
