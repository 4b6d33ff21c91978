"""The map of a small machine by its plain definition: every state listed, sorted by hand. Shares no code with the map."""

from collections import Counter, defaultdict
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field
from itertools import product

from seqcheck.model import model as m
from seqcheck.model import semantics
from seqcheck.model.expression import Expression, Load, Sense
from seqcheck.model.run import StepKind
from tests.outside.independent import Graph

Values = tuple[str, ...]


@dataclass(slots=True)
class Plain:
    """All that a map must say."""

    states: Counter[Values] = field(default_factory=Counter)
    starts: Counter[Values] = field(default_factory=Counter)
    met: dict[Values, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    failing: Counter[Values] = field(default_factory=Counter)
    inside: Counter[Values] = field(default_factory=Counter)
    passages: dict[tuple[Values, Values], Counter[Hashable]] = field(default_factory=lambda: defaultdict(Counter))
    unreached: dict[Values, tuple[str, ...]] = field(default_factory=dict)
    possible: int = 0
    told: set[str] = field(default_factory=set)


def names(model: m.Model) -> list[str]:
    """Return what a map can be made by."""
    declared = {m.VariableKind.PART, m.VariableKind.PANEL, m.VariableKind.OUTPUT, m.VariableKind.MEMORY}
    timers = [f"{timer.name}.{what}" for timer in model.timers for what in ("Q", "ET")]
    return [v.name for v in model.variables if v.kind in declared] + [s.name for s in model.sensors] + timers


def meaning(model: m.Model, name: str) -> tuple[Expression, Sequence[object]]:
    """Return what a name stands for, and the labels of its values."""
    for place, variable in enumerate(model.variables):
        if variable.name == name and variable.kind is not m.VariableKind.TIMER:
            return Load(place), variable.labels
    for number, sensor in enumerate(model.sensors):
        if sensor.name == name:
            return Sense(number), sensor.labels
    timer = next(one for one in model.timers if one.name == name.rpartition(".")[0])
    return (timer.q, (False, True)) if name.endswith(".Q") else (timer.et, ())


def values_of(model: m.Model, by: Sequence[str], state: m.State) -> Values:
    """Return the values that a state has, as texts."""
    found = []
    for name in by:
        value, labels = meaning(model, name)
        try:
            raw = semantics.evaluate(model, value, state)
        except semantics.Impossible:
            found.append("no value")
            continue
        label = labels[raw] if labels else raw
        found.append(str(label).upper() if isinstance(label, bool) else str(label))
    return tuple(found)


def holds(model: m.Model, test: Expression, state: m.State) -> bool:
    """Tell whether a condition has a value and is true."""
    try:
        return bool(semantics.evaluate(model, test, state))
    except semantics.Impossible:
        return False


def hazards(model: m.Model) -> dict[str, Expression]:
    """Return the hazards' conditions by id."""
    return {p.id: p.rule.must_not_be.test for p in model.properties if isinstance(p.rule, m.Hazard)}


def plain_map(graph: Graph, by: Sequence[str]) -> Plain:
    """Sort the states of a grown graph."""
    model, plain = graph.model, Plain()
    sorted_into = {state: values_of(model, by, state) for state in graph.moves}
    for state, values in sorted_into.items():
        plain.states[values] += 1
        plain.met[values].update(id_ for id_, test in hazards(model).items() if holds(model, test, state))
    plain.starts.update(sorted_into[state] for state in set(graph.starts))
    plain.failing.update(sorted_into[state] for state in {state for state, _, _ in graph.failing if state is not None})
    for tail, head, data in graph.moves.edges(data=True):
        ends = sorted_into[tail], sorted_into[head]
        if ends[0] == ends[1]:
            plain.inside[ends[0]] += 1
        else:
            step = None if data["step"] is None else model.steps[data["step"]]
            plain.passages[ends][(StepKind.WAIT, "", None) if step is None else (step.kind, step.name, step.to)] += 1
    return plain


def everything(model: m.Model, by: Sequence[str], plain: Plain) -> None:
    """Add what all states say that the variables' ranges allow, reachable or not."""
    tests = hazards(model)
    seen: dict[Values, list[frozenset[str]]] = defaultdict(list)
    for state in product(*(range(v.lowest, v.highest + 1) for v in model.variables)):
        met = frozenset(id_ for id_, test in tests.items() if holds(model, test, state))
        seen[values_of(model, by, state)].append(met)
    plain.possible = len(seen)
    plain.told = {id_ for id_ in tests if all(len({id_ in met for met in some}) == 1 for some in seen.values())}
    for values, some in seen.items():
        would = tuple(id_ for id_ in tests if all(id_ in met for met in some))
        if would and values not in plain.states:
            plain.unreached[values] = would
