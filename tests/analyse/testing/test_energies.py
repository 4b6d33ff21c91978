"""Energy conditions against brute force: a row that is left to choose has no hazard near, one that is marked has."""

from hypothesis import HealthCheck, given, settings

from seqcheck.analyse.testing.records import Energy, Kind, Row
from seqcheck.compile.compile import compile_machine
from seqcheck.model import semantics
from seqcheck.model.model import Hazard, Model, State
from seqcheck.model.run import StepKind
from tests.analyse.testing.making import made, model_of, number_of, start_of, taken
from tests.effort import examples
from tests.outside.independent import Graph, grown
from tests.outside.machines import machines
from tests.outside.reading import machine_of

MOST_STATES = 150
RELAXED = settings(
    max_examples=examples(40), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)

GUARD = """
machine: A guard
tick: 1 s
parts:
  wheel: [still, turning]
  guard: [shut, open]
panel:
  lamp_test: [no, yes]
sensors:
  wheel_still: wheel = still
  guard_shut: guard = shut
outputs:
  drive: [off, on]
  lamp: [dark, lit]
  lock: [engaged, released]
commands:
  start: {permissives: {guard shut: guard_shut, locked: lock = engaged}, then: {drive: on}}
  stop: {then: {drive: off}}
  release: {permissives: {wheel still: wheel_still, drive off: drive = off}, then: {lock: released}}
  lock it: {permissives: {guard is shut: guard_shut}, then: {lock: engaged}}
  light: {permissives: {lamp test: lamp_test = yes}, then: {lamp: lit}}
trips:
  guard opened: {when: NOT guard_shut, then: {drive: off}}
plant:
  it starts: {when: drive = on AND wheel = still, after: at once, then: {wheel: turning}}
  it stops: {when: drive = off AND wheel = turning, after: 2..3 s, then: {wheel: still}}
people:
  open the guard: {if: guard = shut AND lock = released, then: {guard: open}}
  shut the guard: {if: guard = open, then: {guard: shut}}
hazards:
  H1: {text: Open while it turns, must not be: guard = open AND wheel = turning}
"""


def rows_by_name(text: str) -> dict[str, Row]:
    """Return the rows of refusals by the permissive that refuses."""
    return {row.refused_by: row for row in made(model_of(text)).rows() if row.tried is not None}


def test_a_refusal_that_keeps_a_hazard_away_is_for_simulated_signals() -> None:
    rows = rows_by_name(GUARD)
    assert rows["wheel still"].energy is Energy.SIMULATED
    assert "H1 is near: Open while it turns" in rows["wheel still"].why_energy
    assert rows["lamp test"].energy is Energy.CHOOSE
    assert rows["lamp test"].why_energy == ""


def test_a_hazard_that_needs_a_hand_counts_as_near() -> None:
    """Released while it runs, the guard must still be opened by somebody."""
    model = model_of(GUARD)
    row = rows_by_name(GUARD)["wheel still"]
    (test,) = [one for one in made(model).tests if row in one.rows]
    state = start_of(model, test)
    for step in (step for before in test.rows[: test.rows.index(row)] for step in before.steps):
        state = taken(model, state, step)
    assert not near(model, state)
    assert near(model, forced(model, state, row))


@RELAXED
@given(text=machines(with_faults=False))
def test_against_brute_force(text: str) -> None:
    model = compile_machine(machine_of(text))
    graph = grown(model, MOST_STATES)
    if graph is None or graph.failing:
        return
    for test in made(model).tests:
        state = start_of(model, test)
        for row in test.rows:
            for step in row.steps:
                state = taken(model, state, step)
            if row.kind is Kind.REFUSED:
                check(graph, state, row)


def check(graph: Graph, state: State, row: Row) -> None:
    """Hold the energy condition of one refusal against all that could come of its failure."""
    after = forced(graph.model, state, row)
    if row.energy is Energy.CHOOSE:
        assert after is not None
        assert not near(graph.model, after)
    elif not row.hazards and "too much" not in row.why_energy:
        assert any(near(graph.model, forced(graph.model, other, row)) for other in alike(graph, row))


def alike(graph: Graph, row: Row) -> list[State]:
    """Return all states in which a row's permissive alone refuses its command."""
    assert row.tried is not None
    guards = graph.model.steps[number_of(graph.model, row.tried)].guards
    return [s for s in graph.moves if [g.name for g in guards if not graph.truth(g.test, s)] == [row.refused_by]]


def forced(model: Model, state: State, row: Row) -> State | None:
    """Return what comes of a command that is accepted nevertheless."""
    assert row.tried is not None
    step = model.steps[number_of(model, row.tried)]
    values = list(state)
    try:
        semantics.apply(model, step.name, step.program, values)
        return semantics.settle(model, tuple(values))
    except semantics.Failed:
        return None


def near(model: Model, state: State | None) -> bool:
    """Tell whether a hazard can be met without a command; what cannot be completed counts too."""
    if state is None:
        return True
    hazards = [p.rule.must_not_be.test for p in model.properties if isinstance(p.rule, Hazard)]
    seen, pending = {state}, [state]
    for here in pending:
        if any(semantics.evaluate(model, test, here) for test in hazards):
            return True
        for number, after in semantics.steps(model, here):
            if number is not None and model.steps[number].kind is StepKind.COMMAND:
                continue
            if isinstance(after, tuple) and after not in seen:
                seen.add(after)
                pending.append(after)
    return False
