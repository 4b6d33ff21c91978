"""Random machines: every row by the plain definition and the simulator, what is shown and what is not against brute force."""

import random
from functools import lru_cache

from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from seqcheck.analyse.testing.records import Row, Sheets, Timing
from seqcheck.cli.sheet_replay import confirm
from seqcheck.compile.compile import compile_machine
from seqcheck.model import semantics
from seqcheck.model.model import Hazard, Model, State
from seqcheck.model.run import StepKind
from tests.analyse.testing.dawdling import follow
from tests.analyse.testing.making import made, play, taken
from tests.effort import examples
from tests.outside.independent import Graph, grown
from tests.outside.machines import machines
from tests.outside.reading import machine_of

MOST_STATES = 400
RELAXED = settings(
    max_examples=examples(60), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
TEXTS = machines(with_faults=False)


@lru_cache(maxsize=4)
def known(text: str) -> tuple[Model, Graph | None, Sheets | None]:
    """Return a machine, all that it can do, and its sheets; nothing of a machine that is large, or of which a step fails."""
    model = compile_machine(machine_of(text))
    graph = grown(model, MOST_STATES)
    if graph is None or graph.failing:
        return model, None, None
    return model, graph, made(model)


@RELAXED
@given(text=TEXTS)
def test_rows_come_out_by_the_plain_definition_and_the_simulator(text: str) -> None:
    model, _, sheets = known(text)
    if sheets is None:
        event("too large, or it fails")
        return
    for test in sheets.tests:
        end = play(model, test)
        if test.restoring.run is not None:
            for step in test.restoring.run.steps[len(test.run.steps) :]:
                end = taken(model, end, step)
                assert met(model, end) <= set(test.restoring.hazards)
            start = dict(test.run.end) if not test.run.steps else None
            assert start is None or start
    confirm(machine_of(text), sheets)


@RELAXED
@given(text=TEXTS)
def test_what_is_shown_and_what_is_not(text: str) -> None:
    model, graph, sheets = known(text)
    if sheets is None or graph is None:
        event("too large, or it fails")
        return
    shown = {(cover.item.sort, cover.item.number, cover.item.place) for cover in sheets.covers if cover.row}
    assert shown == set(showable(model, graph))
    assert sheets.fewest <= len(sheets.tests) <= sheets.greedy
    rows = {row.id: row for row in sheets.rows()}
    for cover in sheets.covers:
        assert bool(cover.row) != bool(cover.reason)
        assert not cover.row or cover.item in rows[cover.row].items
        assert not cover.is_open


def showable(model: Model, graph: Graph) -> list[tuple[str, int, int]]:
    """Return all that some state of the whole graph can show."""
    found: dict[tuple[str, int, int], None] = {}
    for state in graph.moves:
        for number, step in enumerate(model.steps):
            if step.kind is StepKind.COMMAND:
                missing = [n for n, g in enumerate(step.guards) if not graph.truth(g.test, state)]
                if len(missing) == 1:
                    found["permissive", number, missing[0]] = None
                if not missing and semantics.take(model, step, state) != state:
                    found["command", number, -1] = None
        for item in tripped(model, state):
            found[item] = None
    return list(found)


def tripped(model: Model, state: State) -> list[tuple[str, int, int]]:
    """Return what trips are seen to write when something happens in a state."""
    found = []
    for number in (*range(len(model.steps)), None):
        acted: list[str] = []

        def watch(reactions: list[str], _values: State, acted: list[str] = acted) -> None:
            acted.extend(reactions)

        if number is None:
            after = semantics.tick(model, state, watch)
        else:
            step = model.steps[number]
            after = semantics.take(model, step, state, watch) if semantics.possible(model, step, state) else None
        for place, reaction in enumerate(model.reactions):
            if after is None or not reaction.is_trip or reaction.name not in acted:
                continue
            values = list(after)
            semantics.apply(model, reaction.name, reaction.program, values)
            written = {target for assign in reaction.program for target in assign.targets}
            found += [("trip", place, x) for x in written if state[x] != after[x] == values[x]]
    return found


@RELAXED
@given(text=TEXTS, seed=st.integers(0, 2**32 - 1))
def test_rows_that_are_said_not_to_depend_on_timing_do_not(text: str, seed: int) -> None:
    """An unlucky tester, and a machine that moves as chance has it: rows come out up to one that depends on timing.

    Whatever hazard is met on a row is named by it.
    """
    model, _, sheets = known(text)
    if sheets is None:
        event("too large, or it fails")
        return
    chance = random.Random(seed)  # noqa: S311 - no secret

    def warned(row: Row, state: State) -> None:
        assert met(model, state) <= set(row.hazards)

    for test in sheets.tests:
        sure = next((n for n, row in enumerate(test.rows) if row.timing > Timing.PROMPT), len(test.rows))
        for _ in range(4):
            assert follow(model, test, chance, warned) == sure
        event("a hazard may be met" if any(test.cautions for test in sheets.tests) else "no hazard is met")


def met(model: Model, state: State) -> set[str]:
    """Return the ids of the hazards that are met in a state."""
    hazards = [(p.id, p.rule.must_not_be.test) for p in model.properties if isinstance(p.rule, Hazard)]
    return {id_ for id_, test in hazards if semantics.evaluate(model, test, state)}
