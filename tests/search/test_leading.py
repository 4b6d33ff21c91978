"""From which states goals can be come to, asked one after another: what is known of earlier ones may shorten later answers."""

from contextlib import suppress

import networkx as nx
from hypothesis import HealthCheck, event, given, settings

from seqcheck.compile.compile import compile_machine
from seqcheck.model.expression import Expression
from seqcheck.model.model import State
from seqcheck.model.run import StepKind
from seqcheck.model.semantics import Impossible
from seqcheck.search.engine import NO_EXTRAS, Limits
from seqcheck.search.limits import Allowance
from seqcheck.search.symbolic.answering import Answering
from seqcheck.search.symbolic.budget import Budget
from seqcheck.search.symbolic.symbolic import Search
from tests.effort import examples
from tests.outside.independent import Graph, grown
from tests.outside.machines import machines
from tests.outside.reading import machine_of
from tests.search.test_agreement import conditions

RELAXED = settings(max_examples=examples(40), deadline=None, suppress_health_check=list(HealthCheck))


def expected(graph: Graph, goal: Expression) -> set[State]:
    """Return the states from which a goal can be come to without faults, from the graph of the plain definition."""
    there: set[State] = set()
    for state in graph.moves:
        with suppress(Impossible):
            if graph.truth(goal, state):
                there.add(state)
    steps = graph.model.steps
    kept: nx.DiGraph[State] = nx.DiGraph()
    kept.add_nodes_from(graph.moves)
    for before, after, data in graph.moves.edges(data=True):
        if data["step"] is None or steps[data["step"]].kind is not StepKind.FAULT:
            kept.add_edge(after, before)
    found = set(there)
    for state in there:
        found |= nx.descendants(kept, state)
    return found


@RELAXED
@given(text=machines())
def test_goals_asked_one_after_another(text: str) -> None:
    machine = machine_of(text)
    for chosen in ((), *((fault.name,) for fault in machine.faults[:1])):
        model = compile_machine(machine, chosen)
        graph = grown(model, 300)
        if graph is None:
            event("too many states")
            return
        search = Search(model, Budget(Allowance(Limits()), Limits(), lambda _: None), NO_EXTRAS)
        answering = Answering(search.parts, search.parts.reaching.all(), search.runs)
        for goal in list(conditions(model))[:6]:
            leading = answering.leading(goal)
            found = {state for state in graph.moves if (leading & search.parts.space.point(state)).satisfiable()}
            assert found == expected(graph, goal)
            assert search.parts.space.count(leading) == len(found)
