"""What an audit must say, found by brute force over the plain definition: every machine is built and searched by itself.

Parts are taken out of the text of a file, so that nothing of the tool says what that means.
"""

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import combinations
from typing import TypeAlias

from seqcheck.analyse.auditing.parts import Part, PartKind
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model import model as m
from seqcheck.model import semantics
from seqcheck.model.expression import Apply, Const, Expression, Load, Op, Sense, conjunction
from seqcheck.model.run import StepKind
from tests.outside.independent import LONG, Graph, failures, grown, judged
from tests.outside.reading import machine_of
from tests.search.observing import observed_in

MOST_STATES = 250
SEEN = {m.VariableKind.PANEL, m.VariableKind.OUTPUT, m.VariableKind.MEMORY, m.VariableKind.TIMER}
Situation: TypeAlias = tuple[int, ...]


class TooManyStatesError(Exception):
    """A machine that is not worth searching by brute force."""


# --- taking parts out of a text --------------------------------------------------------------------------------------
def taken_out(text: str, missing: Collection[Part]) -> str:
    """Return a random machine's file without some parts."""
    lines = text.splitlines()
    whole = {(part.step, part.name) for part in missing if part.clause is None}
    for part in missing:
        if part.kind is PartKind.TRIP:
            lines = [line for line in lines if not line.startswith(f'  "{part.name}": ')]
        elif part.clause is None:
            lines = [re.sub(rf'{part.name}: "[^"]*"(, )?', "", line) for line in lines]
    for step, name in {(part.step, part.name) for part in missing if part.clause is not None} - whole:
        clauses = frozenset(part.clause for part in missing if (part.step, part.name) == (step, name))
        lines = [shortened(line, name, clauses) for line in lines]
    kept = [line for line, after in zip(lines, [*lines[1:], "end"], strict=True) if line != "trips:" or after.startswith(" ")]
    return "\n".join(kept) + "\n"


def shortened(line: str, name: str, clauses: Collection[int | None]) -> str:
    """Return a line in which a permissive has lost some clauses."""
    found = re.search(rf'{name}: "([^"]*)"', line)
    return line if found is None else line.replace(found[0], f"{name}: {without_clauses(found[1], clauses)}")


def without_clauses(text: str, clauses: Collection[int | None]) -> str:
    """Return a condition of the form `(A AND B)` without one or both of these."""
    depth, inner = 0, text[1:-1]
    for place, letter in enumerate(inner):
        depth += {"(": 1, ")": -1}.get(letter, 0)
        if depth == 0 and inner[place:].startswith(" AND "):
            sides = (inner[:place], inner[place + 5 :])
    kept = [side for number, side in enumerate(sides) if number not in clauses]
    return f'"{kept[0]}"' if kept else "TRUE"


# --- verdicts --------------------------------------------------------------------------------------------------------
def graph_of(model: m.Model, most: int = MOST_STATES) -> Graph:
    """Return the whole graph of a model. Raises `TooManyStatesError`."""
    graph = grown(model, most)
    if graph is None:
        raise TooManyStatesError
    return graph


def violated(text: str) -> dict[str, int | None]:
    """Return what a file violates, with the fewest steps that show it (None: nothing can). Raises `Impossible`."""
    machine = machine_of(text)
    found: dict[str, int | None] = {}
    for model in (compile_machine(machine), *(compile_observed(machine, id_) for id_ in observed_in(machine))):
        for id_, steps in violated_in(graph_of(model)).items():
            found.setdefault(id_, steps)
    return found


def violated_in(graph: Graph) -> dict[str, int | None]:
    """Return what a model violates. Raises `Impossible` where a property has no value somewhere."""
    costs = costs_of(graph)
    found: dict[str, int | None] = {}
    for p in graph.model.properties:
        if not isinstance(p.rule, m.Elsewhere):
            expected = judged(graph, costs, p.rule)
            if not expected.holds:
                found[p.id] = None if expected.cost is None or isinstance(p.rule, m.Reachable) else expected.cost[0]
    for label, (steps, _) in failures(graph, costs).items():
        id_ = label.removesuffix(", None")
        found[id_] = min(steps, found.get(id_) or steps)
    return found


def costs_of(graph: Graph) -> Mapping[m.State, int]:
    """Return the cost of the cheapest way to each state."""
    import networkx as nx

    lengths = nx.multi_source_dijkstra_path_length(graph.moves, set(graph.starts)) if graph.starts else {}
    return {state: int(length) for state, length in lengths.items()}


def sets(parts: Collection[Part], at_most: int) -> Iterator[frozenset[Part]]:
    """Yield all sets of up to so many parts."""
    for size in range(at_most + 1):
        yield from map(frozenset, combinations(parts, size))


# --- situations ------------------------------------------------------------------------------------------------------
def situation_of(model: m.Model, state: m.State) -> Situation:
    """Return what the controller sees. Raises `Impossible`."""
    seen = [value for v, value in zip(model.variables, state, strict=True) if v.kind in SEEN]
    return (*seen, *(semantics.evaluate(model, Sense(number), state) for number in range(len(model.sensors))))


def looks_like(model: m.Model, situation: Situation) -> Expression:
    """Return the condition of the states that look like a situation."""
    places: list[Expression] = [Load(n) for n, v in enumerate(model.variables) if v.kind in SEEN]
    places += (Sense(number) for number in range(len(model.sensors)))
    return conjunction(*(Apply(Op.EQUAL, (place, Const(raw))) for place, raw in zip(places, situation, strict=True)))


def commands(model: m.Model) -> list[int]:
    """Return the numbers of the commands."""
    return [number for number, step in enumerate(model.steps) if step.kind is StepKind.COMMAND]


@dataclass(frozen=True, slots=True)
class Whole:
    """A graph with what is asked of it again and again."""

    graph: Graph
    after: Mapping[m.State, list[tuple[int | None, m.State]]] = field(default_factory=dict)

    @staticmethod
    def of(graph: Graph) -> "Whole":
        after: dict[m.State, list[tuple[int | None, m.State]]] = {state: [] for state in graph.moves}
        for a, b, data in graph.moves.edges(data=True):
            after[a].append((data["step"], b))
        return Whole(graph, after)

    def reach(self, taken: "Taken") -> set[m.State]:
        """Return what is reached if only some steps are taken."""
        pending = list(self.graph.starts)
        found = set(pending)
        while pending:
            state = pending.pop()
            for number, end in self.after[state]:
                if taken(number, state, end) and end not in found:
                    found.add(end)
                    pending.append(end)
        return found

    def leading(self, bad: Collection[m.State], kept: Collection[int | None]) -> set[m.State]:
        """Return the states from which steps of some numbers (None: ticks) lead to bad ones."""
        found = set(bad)
        grew = True
        while grew:
            more = {a for a, ends in self.after.items() if a not in found and any(n in kept and b in found for n, b in ends)}
            found |= more
            grew = bool(more)
        return found


class Taken:
    """Tells whether a step of a number from a state to another is taken."""

    def __init__(self, *, free: Collection[int | None], harmful: Collection[m.State]) -> None:
        self._free = free
        self._harmful = harmful

    def __call__(self, number: int | None, _state: m.State, end: m.State) -> bool:
        return number in self._free or end not in self._harmful


def steps_of(cost: int) -> int:
    """Return the steps of a cost."""
    return cost // LONG
