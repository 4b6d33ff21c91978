"""A second comparison of two machines, state by state through their plain definition. Shares no code with the first.

It is written from the documented meaning: a situation is a set of named values, several states can be one, and what is possible
in some, all or none of the states of a situation is compared. Names must be equal in both machines.
"""

from collections import defaultdict
from collections.abc import Hashable, Iterator
from dataclasses import dataclass, field
from typing import TypeAlias, TypeVar

from seqcheck.model import model as m
from seqcheck.model import semantics
from seqcheck.model.expression import Expression
from seqcheck.model.run import StepKind

Situation: TypeAlias = frozenset[tuple[str, Hashable]]
Name: TypeAlias = tuple[str, str, Hashable]
"""Kind, name, and what a panel item is set to."""
WAIT: Name = ("wait", "", None)
FAILS: Situation = frozenset({("fails", True)})


@dataclass(slots=True)
class Side:
    """All that one machine does, by situations."""

    states: dict[Situation, set[m.State]] = field(default_factory=lambda: defaultdict(set))
    starts: set[Situation] = field(default_factory=set)
    accepted: dict[str, set[m.State]] = field(default_factory=lambda: defaultdict(set))
    moves: dict[tuple[Name, Situation, Situation], set[m.State]] = field(default_factory=lambda: defaultdict(set))


def values(model: m.Model, other: m.Model) -> Iterator[tuple[int, str, m.Timer | m.Clock | None, m.Timer | m.Clock | None]]:
    """Yield the variables that can be compared with one of the other machine: place, name, timer or clock of each."""
    kinds = {v.name.lower(): v for v in other.variables}
    for place, v in enumerate(model.variables):
        twin = kinds.get(v.name.lower())
        if twin is None or ((v.kind in TIME or twin.kind in TIME) and v.kind is not twin.kind):
            continue
        if v.kind is m.VariableKind.TIMER:
            one, two = timer(model, v.name), timer(other, twin.name)
            if one.kind is two.kind:
                yield place, v.name.lower(), one, two
        elif v.kind is m.VariableKind.CLOCK:
            yield place, v.name, clock(model, v.name), clock(other, twin.name)
        elif sort(v) == sort(twin):
            yield place, v.name.lower(), None, None


TIME = {m.VariableKind.TIMER, m.VariableKind.CLOCK}


def sort(v: m.Variable) -> str:
    """Return what sort of values a variable has."""
    return "number" if not v.labels else "truth" if v.labels[0] is False else "states"


def timer(model: m.Model, name: str) -> m.Timer:
    """Return a timer."""
    return next(t for t in model.timers if t.name == name)


def clock(model: m.Model, name: str) -> m.Clock:
    """Return the clock kept in a variable."""
    return next(c for c in model.clocks if model.variables[c.variable].name == name)


def said(model: m.Model, place: int, raw: int, mine: m.Timer | m.Clock | None, theirs: m.Timer | m.Clock | None) -> Hashable:
    """Return a value as it is compared."""
    v = model.variables[place]
    if isinstance(mine, m.Timer):
        over = mine.pt + 1 if mine.kind is m.TimerKind.TP else mine.pt
        return "run out" if raw == over else raw
    if isinstance(mine, m.Clock) and isinstance(theirs, m.Clock):
        if mine.latest is None and theirs.latest is None and raw == mine.most:
            return "long enough"
        return raw
    return str(v.labels[raw]).lower() if v.labels else raw


def observed(model: m.Model, other: m.Model, most: int) -> Side | None:
    """Visit every state of a machine; None if there are more than *most*."""
    told = list(values(model, other))
    side = Side()

    def situation(state: m.State) -> Situation:
        return frozenset((name, said(model, place, state[place], one, two)) for place, name, one, two in told)

    pending = list(starts(model))
    side.starts.update(map(situation, pending))
    seen: set[m.State] = set()
    while pending:
        state = pending.pop()
        if state in seen:
            continue
        seen.add(state)
        if len(seen) > most:
            return None
        here = situation(state)
        side.states[here].add(state)
        for step in model.steps:
            if step.kind is StepKind.COMMAND and all(true(model, g.test, state) for g in step.guards):
                side.accepted[step.name].add(state)
        for number, after in semantics.steps(model, state):
            name = WAIT if number is None else named(model.steps[number])
            if isinstance(after, tuple):
                pending.append(after)
                if situation(after) != here:
                    side.moves[name, here, situation(after)].add(state)
            else:
                side.moves[name, here, FAILS].add(state)
    return side


def starts(model: m.Model) -> Iterator[m.State]:
    """Yield the settled starts."""
    for raw in semantics.raw_starts(model):
        try:
            yield semantics.settle(model, raw)
        except semantics.Failed:
            continue


def named(step: m.Step) -> Name:
    """Return what a step is told by."""
    return (step.kind.value, step.name, step.to)


def true(model: m.Model, test: Expression, state: m.State) -> bool:
    """Tell whether a condition has a value and is true."""
    try:
        return bool(semantics.evaluate(model, test, state))
    except semantics.Impossible:
        return False


@dataclass(slots=True, kw_only=True)
class Expected:
    """What a comparison must find: counts. Steps and commands that do not differ are left out."""

    gone: int
    come: int
    starts_gone: int
    starts_come: int
    common: int
    accepted: dict[str, int]
    refused: dict[str, int]
    moves_gone: dict[Name, int]
    moves_come: dict[Name, int]
    unclear: bool


def level(among: set[m.State], states: set[m.State]) -> int:
    """Return 0 for none of some states, 2 for all of them, 1 for some."""
    met = len(among & states)
    return 0 if not met else 2 if met == len(states) else 1


def compared(old: m.Model, new: m.Model, most: int = 3000) -> Expected | None:
    """Compare two machines; None if one has too many states."""
    first, second = observed(old, new, most), observed(new, old, most)
    if first is None or second is None:
        return None
    common = set(first.states) & set(second.states)
    found = Expected(
        gone=len(set(first.states) - common),
        come=len(set(second.states) - common),
        starts_gone=len(first.starts - second.starts),
        starts_come=len(second.starts - first.starts),
        common=len(common),
        accepted=defaultdict(int),
        refused=defaultdict(int),
        moves_gone=defaultdict(int),
        moves_come=defaultdict(int),
        unclear=False,
    )
    told_apart: set[tuple[str, Situation]] = set()
    commands = {s.name for model in (old, new) for s in model.steps if s.kind is StepKind.COMMAND}
    for name in commands:
        for here in common:
            before, now = level(first.accepted[name], first.states[here]), level(second.accepted[name], second.states[here])
            found.accepted[name] += now > before
            found.refused[name] += now < before
            found.unclear |= before == now == 1
            if before != now:
                told_apart.add((name, here))
    for move in {*first.moves, *second.moves}:
        by, here, _ = move
        if here not in common or (by[0] == "command" and (by[1], here) in told_apart):
            continue
        before = level(first.moves.get(move, set()), first.states[here])
        now = level(second.moves.get(move, set()), second.states[here])
        found.moves_gone[by] += now < before
        found.moves_come[by] += now > before
        found.unclear |= before == now == 1
    found.accepted, found.refused = without_zeros(found.accepted), without_zeros(found.refused)
    found.moves_gone, found.moves_come = without_zeros(found.moves_gone), without_zeros(found.moves_come)
    return found


T = TypeVar("T")


def without_zeros(counts: dict[T, int]) -> dict[T, int]:
    """Return the counts that are not 0."""
    return {name: count for name, count in counts.items() if count}
