"""The networkx rival, as a program: the machine's graph through its plain definition, searched with Dijkstra's algorithm.

    python -m tests.benchmarks.graph FILE

Prints what the C rival prints: states, transitions, and the least steps to each hazard and goal that is met.
"""

import json
import sys
from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import TypeAlias

import networkx as nx

from seqcheck.compile.compile import compile_machine
from seqcheck.model import semantics
from seqcheck.model.expression import Expression
from seqcheck.model.model import Model, State
from tests.benchmarks.c_program import asked_of
from tests.benchmarks.searched import Searched
from tests.outside.reading import machine_of

Graph: TypeAlias = "nx.MultiDiGraph[State]"


def grown(model: Model) -> tuple[Graph, list[State]]:
    """Return the graph of all reachable states, a step weighing 1 and a tick 0, and the starts in it."""
    graph: Graph = nx.MultiDiGraph()
    starts: list[State] = []
    for raw in semantics.raw_starts(model):
        try:
            starts.append(semantics.settle(model, raw))
        except semantics.Failed:
            continue
    graph.add_nodes_from(starts)
    pending = list(graph)
    while pending:
        state = pending.pop()
        led = [(number, after) for number, after in semantics.steps(model, state) if after != state]
        moves = [(number, after) for number, after in led if isinstance(after, tuple)]
        pending += dict.fromkeys(after for _, after in moves if after not in graph)
        graph.add_edges_from((state, after, {"weight": 0 if number is None else 1}) for number, after in moves)
    return graph, starts


def least_steps(model: Model, costs: Mapping[State, int], test: Expression) -> int | None:
    """Return the least steps to a state in which a condition holds; where it has no value it does not."""

    def holds(state: State) -> bool:
        try:
            return bool(semantics.evaluate(model, test, state))
        except semantics.Impossible:
            return False

    return min((cost for state, cost in costs.items() if holds(state)), default=None)


def searched(model: Model) -> Searched:
    """Grow and search the graph of a model."""
    graph, starts = grown(model)
    lengths = nx.multi_source_dijkstra_path_length(graph, set(starts)) if starts else {}
    costs = {state: int(length) for state, length in lengths.items()}
    layers = Counter(costs.values())
    met = {number: steps for number, test in asked_of(model) if (steps := least_steps(model, costs, test)) is not None}
    return Searched(
        states=graph.number_of_nodes(),
        transitions=graph.number_of_edges(),
        layers=tuple(layers[cost] for cost in sorted(layers)),
        met=met,
        bytes=None,
    )


if __name__ == "__main__":
    text = Path(sys.argv[1]).read_text(encoding="utf-8")
    sys.stdout.write(json.dumps(asdict(searched(compile_machine(machine_of(text))))) + "\n")
