"""A second reading of what a machine does by itself: state by state, with the plain definition and networkx."""

from collections.abc import Iterator
from typing import TypeAlias

import networkx as nx

from seqcheck.analyse.automatic.records import Situation, Values
from seqcheck.model import semantics
from seqcheck.model.model import Model, State
from seqcheck.model.run import StepKind

Label: TypeAlias = tuple[int | None, tuple[str, ...], Values]
"""What happens (a plant rule, or time), the reactions that act, and what is shown then."""


class Reading:
    """Reads one model."""

    def __init__(self, model: Model, shown: tuple[int, ...]) -> None:
        self._model = model
        self._shown = shown
        self.fails = False

    def values(self, state: State) -> Values:
        return tuple(state[place] for place in self._shown)

    def moves(self, state: State) -> Iterator[tuple[int | None, tuple[str, ...], State]]:
        """Yield what can happen without anybody acting, and changes the state or takes a tick."""
        plant = [number for number, step in enumerate(self._model.steps) if step.kind is StepKind.PLANT]
        for number in (*plant, None):
            names: list[str] = []

            def watch(reactions: list[str], _values: State, names: list[str] = names) -> None:
                names.extend(name for name in reactions if name not in names)

            try:
                if number is None:
                    after = semantics.tick(self._model, state, watch)
                elif semantics.possible(self._model, self._model.steps[number], state):
                    after = semantics.take(self._model, self._model.steps[number], state, watch)
                else:
                    after = None
            except semantics.Failed:
                self.fails = True
                continue
            if after is not None and (number is None or after != state):
                yield number, tuple(names), after

    def hidden(self, state: State) -> "nx.DiGraph[State]":
        """Return the states from here on before anything else is shown; edges weigh their ticks."""
        graph: nx.DiGraph[State] = nx.DiGraph()
        graph.add_node(state)
        pending = [state]
        while pending:
            here = pending.pop()
            for number, _, after in self.moves(here):
                if self.values(after) == self.values(here):
                    if after not in graph:
                        pending.append(after)
                    graph.add_edge(here, after, weight=int(number is None))
        return graph

    def events(self, state: State) -> Iterator[tuple[State, Label, State]]:
        """Yield from where, what happens first that is shown, and the state after it."""
        for here in self.hidden(state):
            for number, names, after in self.moves(here):
                if self.values(after) != self.values(here):
                    yield here, (number, names, self.values(after)), after

    def histories(self, state: State, depth: int) -> set[tuple[Label, ...]]:
        """Return what can be shown one after the other, up to so many changes."""
        found: set[tuple[Label, ...]] = {()}
        if depth:
            for _, label, after in self.events(state):
                found |= {(label, *rest) for rest in self.histories(after, depth - 1)}
        return found

    def times(self, state: State) -> dict[Label, tuple[int, int | None]]:
        """Return when each label comes first, and when last: None where time can go round before it."""
        graph = self.hidden(state)
        first = nx.single_source_dijkstra_path_length(graph, state)
        round_ = {here for part in nx.strongly_connected_components(graph) for here in part
                  if len(part) > 1 or graph.has_edge(here, here)}  # fmt: skip
        endless = round_.union(*(nx.descendants(graph, here) for here in round_))
        acyclic = graph.subgraph(set(graph) - endless)
        last = {here: max(sum(graph.edges[pair]["weight"] for pair in nx.utils.pairwise(path))
                          for path in nx.all_simple_paths(acyclic, state, here)) if here != state else 0
                for here in acyclic}  # fmt: skip
        found: dict[Label, tuple[int, int | None]] = {}
        for here, label, _ in self.events(state):
            tick = int(label[0] is None)
            earliest = int(first[here]) + tick
            latest = None if here in endless else int(last[here]) + tick
            known = found.get(label, (earliest, latest))
            found[label] = min(known[0], earliest), None if None in {known[1], latest} else max(known[1] or 0, latest or 0)
        return found

    def stays(self, state: State) -> bool:
        """Tell whether nothing more may ever be shown: time can go round, or nothing at all can happen."""
        graph = self.hidden(state)
        for part in nx.strongly_connected_components(graph):
            within = graph.subgraph(part)
            if any(within.edges[pair]["weight"] for pair in within.edges):
                return True
        return any(not list(self.moves(here)) for here in graph)


def drawn(situations: tuple[Situation, ...], number: int, depth: int) -> set[tuple[Label, ...]]:
    """Return the histories that the situations tell."""
    found: set[tuple[Label, ...]] = {()}
    if depth:
        for one in situations[number].happenings:
            label = one.step, one.acted, situations[one.to].values
            found |= {(label, *rest) for rest in drawn(situations, one.to, depth - 1)}
    return found
