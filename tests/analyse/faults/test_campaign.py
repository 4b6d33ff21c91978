"""Minimal fault sets of random machines against an independent search of every set, and against one search for all."""

from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import replace
from itertools import combinations
from typing import TypeVar

import networkx as nx
from hypothesis import HealthCheck, event, given, settings

from seqcheck.analyse.faults.crews import Here
from seqcheck.analyse.faults.desk import Told
from seqcheck.analyse.faults.sets import FaultSet, count_of, fault_sets, rivals
from seqcheck.analyse.faults.together import Whole, search_together
from seqcheck.check import machine as tree
from seqcheck.check.machine import Machine
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model import model as m
from seqcheck.model import semantics
from seqcheck.model.budget import within_budget
from seqcheck.simulate.replay import replay
from tests.analyse.faults.press import DERIVED
from tests.analyse.faults.studying import campaign_of, desk_of, rows_of, sets_of
from tests.effort import examples
from tests.outside.independent import Expected, Graph, Surveyed, against, grown, having, survey
from tests.outside.machines import machines
from tests.outside.reading import machine_of

MOST_STATES = 600
T = TypeVar("T")
RELAXED = settings(max_examples=examples(40), deadline=None, suppress_health_check=list(HealthCheck))


def allowed(machine: Machine, up_to: int) -> list[FaultSet]:
    """Return the sets of faults without two that stick one signal, by the file alone."""
    stuck = {fault.name: fault.stuck for fault in machine.faults}
    names = list(stuck)
    sets = [chosen for size in range(up_to + 1) for chosen in combinations(names, size)]
    signals = [[(s.signal, s.is_sensor) for name in chosen if (s := stuck[name]) is not None] for chosen in sets]
    return [chosen for chosen, used in zip(sets, signals, strict=True) if len(set(used)) == len(used)]


def surveys(machine: Machine, up_to: int) -> dict[FaultSet, Surveyed] | None:
    """Search every set apart; None if a machine is large, or there are many sets."""
    found = {}
    sets = allowed(machine, up_to)
    if len(sets) > 40:
        return None
    for chosen in sets:
        graph = grown(compile_machine(machine, chosen), MOST_STATES)
        if graph is None:
            return None
        found[chosen] = survey(graph)
        for requirement in machine.requirements:
            if isinstance(requirement.rule, tree.Response | tree.Precedence):
                observed = grown(compile_observed(machine, requirement.id, chosen), 4 * MOST_STATES)
                if observed is None:
                    return None
                found[chosen] = replace(found[chosen], expected={**found[chosen].expected, **order(observed)})
    return found


def order(graph: Graph) -> dict[str, Expected]:
    """Judge a requirement on order or time by the states that its observer calls a violation."""
    (asked,) = graph.model.properties
    assert isinstance(asked.rule, m.Observed)
    lengths = nx.multi_source_dijkstra_path_length(graph.moves, set(graph.starts)) if graph.starts else {}
    try:
        met = [int(lengths[state]) for state in having(graph, asked.rule.violated.test)]
    except semantics.Impossible:
        return {}
    return {asked.id: against(met)}


@RELAXED
@given(text=machines())
def test_minimal_sets_are_those_of_an_independent_search(text: str) -> None:
    machine = machine_of(text)
    surveyed = surveys(machine, 2)
    if surveyed is None:
        event("too much")
        return
    rows = rows_of(machine, 2)
    told = sets_of(rows)
    for id_ in told.keys() - {"range", "settling"}:
        expected: dict[FaultSet, tuple[int, int] | None] = {}
        for chosen, one in surveyed.items():
            violated = id_ in one.expected and not one.expected[id_].holds
            if violated and not any(set(part) < set(chosen) for part in expected):
                expected[chosen] = one.expected[id_].cost
        event(f"{id_[0]} by {[len(chosen) for chosen in expected][:3]}")
        assert told[id_] == set(expected.items()), id_
    for run in (reached.result.run for row in rows for reached in row.reached):
        assert run is None or replay(machine, run).agrees


@RELAXED
@given(text=machines())
def test_failing_steps_are_found_with_the_fewest_faults(text: str) -> None:
    machine = machine_of(text)
    surveyed = surveys(machine, 1)
    if surveyed is None:
        event("too much")
        return
    told = sets_of(rows_of(machine, 1))
    for kind in ("range", "settling"):
        failing = [chosen for chosen, one in surveyed.items() if any(label.startswith(kind) for label in one.failures)]
        valueless = {faults for faults, _ in told[kind]} - set(failing)
        minimal = {chosen for chosen in failing if not any(set(part) < set(chosen) for part in failing)}
        assert {faults for faults, _ in told[kind]} - valueless == minimal
        assert not valueless or kind == "range"


def test_sets_leave_out_two_stuck_faults_on_one_signal() -> None:
    machine = machine_of(
        "machine: M\nparts: {p: [a, b]}\nsensors: {s: p = a}\noutputs: {s_out: bool}\nfaults:\n"
        "  derive: [sensors, outputs]\n  p breaks: {then: {p: b}}\n"
    )
    model = compile_machine(machine, [fault.name for fault in machine.faults])
    assert rivals(model)["s stuck at TRUE"] == {"s stuck at FALSE"}
    for size in range(4):
        assert list(fault_sets(model, size)) == [chosen for chosen in allowed(machine, size) if len(chosen) == size]
        assert count_of(model, size) == len(list(fault_sets(model, size)))


# --- one search over all sets ---
@RELAXED
@given(text=machines())
def test_one_search_and_a_search_for_each_set_say_the_same(text: str) -> None:
    machine = machine_of(text)
    if len(allowed(machine, 2)) > 40:
        event("too much")
        return
    apart, together = campaign_of(machine, 2), campaign_of(machine, 2)
    with apart.desk, together.desk:
        for whole in together.wholes():
            found = search_together(whole, 20)
            event(f"come to an end: {found is not None}")
            list(together.take_together(Told(whole=whole, found=found)))
        left = together.collector.wanted(())
        event(f"left: {bool(left)}")
        list(apart.run())
        list(together.run())
    assert sets_of(together.collector.rows()) == sets_of(apart.collector.rows())
    for run in (reached.result.run for row in together.collector.rows() for reached in row.reached):
        assert run is None or replay(machine, run).agrees


def test_whoever_searches_all_sets_at_once_wins_if_it_is_first() -> None:
    """The crew never answers about sets of faults: all that is known comes of the search over all at once."""

    class Together(Here):
        size = 4

        def submit(self, work: Callable[..., T], *about: object) -> "Future[T]":
            return super().submit(work, *about) if isinstance(about[0], Whole) else Future()

    machine = machine_of(DERIVED)
    campaign = campaign_of(machine, 2, desk_of(Together))
    campaign.desk.wholes = campaign.wholes()
    with campaign.desk:
        shown = {(one.result.id, one.faults) for one in campaign.run()}
    rows = campaign.collector.rows()
    assert sets_of(rows) == sets_of(rows_of(machine, 2))
    assert shown == {(one.result.id, one.faults) for row in rows for one in row.reached}
    assert [(one.done, one.total) for one in campaign.covered] == [(1, 1), (15, 15), (98, 98)]


@RELAXED
@given(text=machines())
def test_a_budget_of_all_faults_is_no_budget_and_one_of_none_lets_none_occur(text: str) -> None:
    machine = machine_of(text)
    names = [fault.name for fault in machine.faults]
    everything = compile_machine(machine, names)
    free, bounded, none = (
        grown(model, MOST_STATES) for model in (everything, within_budget(everything, len(names)), within_budget(everything, 0))
    )
    faultless = grown(compile_machine(machine), MOST_STATES)
    if free is not None and bounded is not None:
        assert {state[:-1] for state in bounded.moves} == set(free.moves)
        flags = everything.fault_variables
        assert all(state[-1] == sum(state[flag] for flag in flags) for state in bounded.moves)
    if none is not None and faultless is not None:
        assert len(none.moves) == len(faultless.moves)
