"""The conditions under which a step sets something going say what the definition says once the programs have been run."""

from random import Random

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from seqcheck.analyse.automatic.setting_off import Beginnings
from seqcheck.model import semantics
from seqcheck.model.expression import Expression, conjunction, negation
from seqcheck.model.model import Model, State, TimerKind
from seqcheck.model.run import StepKind
from tests.analyse.asking import model_of
from tests.outside.independent import grown
from tests.outside.machines import machines

RELAXED = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])


def value(model: Model, expression: Expression, state: State) -> int | None:
    try:
        return semantics.evaluate(model, expression, state)
    except semantics.Impossible:
        return None


def begins(model: Model, number: int, state: State) -> bool:
    """Tell whether a command is accepted and its own effects begin what a plant rule or a timer waits for."""
    step = model.steps[number]
    after = list(state)
    semantics.apply(model, step.name, step.program, after)
    return semantics.possible(model, step, state) and any(
        not value(model, one, state) and bool(value(model, one, tuple(after))) for one in starting(model)
    )


def starting(model: Model) -> list[Expression]:
    """Return what plant rules and timers wait for."""
    plant = [conjunction(*(g.test for g in step.guards)) for step in model.steps if step.kind is StepKind.PLANT]
    inputs = [negation(t.input.test) if t.kind is TimerKind.TOF else t.input.test for t in model.timers]
    return plant + inputs


@RELAXED
@given(machines(with_faults=False), st.randoms(use_true_random=False))
def test_what_a_command_sets_going_at_first_hand(text: str, chance: Random) -> None:
    model = model_of(text)
    graph = grown(model, 300)
    if graph is None or "/" in text or "MOD" in text or "**" in text or "MUX" in text:
        return
    goals = list(Beginnings(model).goals())
    for state in chance.sample(sorted(graph.moves), min(20, len(graph.moves))):
        for number, step in enumerate(model.steps):
            if step.kind is StepKind.COMMAND:
                reached = any(semantics.evaluate(model, goal.test, state) for goal in goals if goal.command == number)
                try:
                    expected = begins(model, number, state)
                except semantics.Failed:
                    continue
                assert reached or not expected
