"""Follows a machine that is left to itself: plant rules and time only. What looks alike and goes on alike is one situation.

States with the same history of what is shown are taken together, so that every order drawn is one that happens; then
situations that show the same and have the same future are made one (Moore's partition of a deterministic machine).
"""

from collections.abc import Iterator
from typing import TypeAlias

from msgspec import Struct, field

from seqcheck.analyse.automatic.records import Happening, Situation, Values
from seqcheck.analyse.procedures.moving import FAILED, NOT_YET, Moves
from seqcheck.model import semantics
from seqcheck.model.model import State

MOST_STATES = 5_000
"""States of one sequence that are looked at."""

MOST_SITUATIONS = 400
"""Situations of one sequence before alike ones are made one."""

Key: TypeAlias = frozenset[int]
Label: TypeAlias = tuple[int | None, tuple[str, ...], Values]


class Event(Struct):
    """One way in which a group of states goes on: when, and the states after it."""

    earliest: int
    latest: int | None
    states: set[int]


class Group(Struct, kw_only=True):
    """States that cannot be told apart by what was shown so far, and how they go on."""

    values: Values
    events: dict[Label, Event] = field(default_factory=dict)
    rests: bool = False
    fails: bool = False
    cut: bool = False


class Acting:
    """Tells which reactions change something while a step, or a tick, settles."""

    def __init__(self, moves: Moves) -> None:
        self._moves = moves
        clocks = {clock.variable for clock in moves.model.clocks}
        self._read = [place for place in range(len(moves.model.variables)) if place not in clocks]
        self._known: dict[tuple[int | None, Values], tuple[str, ...]] = {}

    def names(self, state: int, step: int | None) -> tuple[str, ...]:
        """Return the reactions of a possible step, or tick (None). Plant clocks have no say: no reaction reads them."""
        before = self._moves.states[state]
        key = step, tuple(before[place] for place in self._read)
        if key not in self._known:
            self._known[key] = self._watched(before, step)
        return self._known[key]

    def _watched(self, before: State, step: int | None) -> tuple[str, ...]:
        names: list[str] = []

        def watch(reactions: list[str], _values: State) -> None:
            names.extend(name for name in reactions if name not in names)

        model = self._moves.model
        if step is None:
            semantics.tick(model, before, watch)
        else:
            semantics.take(model, model.steps[step], before, watch)
        return tuple(names)


class Alone:
    """Follows one model. *shown* are the variables whose change makes another situation.

    Not *told*: reactions are left out, which is faster.
    """

    def __init__(self, moves: Moves, shown: tuple[int, ...], acting: Acting, *, told: bool = True) -> None:
        self._moves = moves
        self._shown = shown
        self._acting = acting
        self._told = told

    def values(self, state: int) -> Values:
        """Return what a state shows."""
        whole = self._moves.states[state]
        return tuple(whole[place] for place in self._shown)

    def follow(self, state: int) -> tuple[Situation, ...]:
        """Return the situations from a settled state on, the first one first."""
        first = frozenset((state,))
        groups: dict[Key, Group] = {}
        pending = [first]
        left = MOST_STATES
        while pending:
            key = pending.pop(0)
            if key in groups:
                continue
            group = groups[key] = Group(values=self.values(min(key)))
            if len(groups) > MOST_SITUATIONS or left <= 0:
                group.cut = True
                continue
            left -= self._look(key, group, left)
            pending += [frozenset(event.states) for event in group.events.values()]
        return merged(groups, first)

    # --- one group ---
    def _look(self, key: Key, group: Group, most: int) -> int:
        """Note how a group goes on; return how many states were looked at."""
        earliest, edges = self._within(key, most)
        if len(earliest) > most:
            group.cut = True
            return len(earliest)
        latest = _latest(key, edges)
        for state in earliest:
            self._note(group, state, earliest[state], latest[state])
            if not group.rests:
                stuck = not edges[state] and not any(after >= 0 for _, after in self._moves.plant(state))
                blocked = stuck and self._moves.tick(state) == NOT_YET
                group.rests = blocked or (latest[state] is None and _may_stay(state, edges, latest))
        return len(earliest)

    def _within(self, key: Key, most: int) -> tuple[dict[int, int], dict[int, list[tuple[int, int]]]]:
        """Return the states before anything else is shown, with their earliest tick, and what leads from one to another."""
        earliest = dict.fromkeys(sorted(key), 0)
        edges: dict[int, list[tuple[int, int]]] = {}
        layer = list(earliest)
        ticks = 0
        while layer and len(earliest) <= most:
            later: list[int] = []
            for state in layer:
                edges[state] = list(self._hidden(state))
                for after, cost in edges[state]:
                    if after not in earliest:
                        earliest[after] = ticks + cost
                        (later if cost else layer).append(after)
            layer, ticks = later, ticks + 1
        return earliest, edges

    def _hidden(self, state: int) -> Iterator[tuple[int, int]]:
        """Yield the states after what happens and shows nothing, and the ticks that it takes."""
        here = self.values(state)
        for _, after in self._moves.plant(state):
            if after >= 0 and self.values(after) == here:
                yield after, 0
        after = self._moves.tick(state)
        if after >= 0 and self.values(after) == here:
            yield after, 1

    def _note(self, group: Group, state: int, earliest: int, latest: int | None) -> None:
        """Note what happens in a state and is shown."""
        for step, after in self._moves.plant(state):
            self._add(group, state, (step, after), (earliest, latest))
        after = self._moves.tick(state)
        if after != NOT_YET:
            self._add(group, state, (None, after), (earliest + 1, None if latest is None else latest + 1))

    def _add(self, group: Group, state: int, move: tuple[int | None, int], when: tuple[int, int | None]) -> None:
        step, after = move
        if after == FAILED:
            group.fails = True
            return
        values = self.values(after)
        if values == group.values:
            return
        label = step, self._acting.names(state, step) if self._told else (), values
        known = group.events.setdefault(label, Event(when[0], when[1], set()))
        known.states.add(after)
        known.earliest = min(known.earliest, when[0])
        known.latest = later_of(known.latest, when[1])


def _latest(key: Key, edges: dict[int, list[tuple[int, int]]]) -> dict[int, int | None]:
    """Return the latest tick at which each state can be come to; None where ticks can go round before it."""
    order = _order(key, edges)
    place = {state: number for number, state in enumerate(order)}
    latest: dict[int, int | None] = {state: 0 if state in key else -1 for state in order}
    for state in order:
        for after, _ in edges[state]:
            if place[after] <= place[state]:
                latest[after] = None
    for state in order:
        now = latest[state]
        for after, cost in edges[state]:
            if now is None:
                latest[after] = None
            elif (known := latest[after]) is not None:
                latest[after] = max(known, now + cost)
    return latest


def _order(key: Key, edges: dict[int, list[tuple[int, int]]]) -> list[int]:
    """Return the states so that each comes before those that it leads to, but where they go round."""
    finished: list[int] = []
    met: set[int] = set()
    for root in sorted(key):
        if root in met:
            continue
        met.add(root)
        stack = [(root, iter(edges[root]))]
        while stack:
            state, following = stack[-1]
            after = next((after for after, _ in following if after not in met), None)
            if after is None:
                finished.append(state)
                stack.pop()
            else:
                met.add(after)
                stack.append((after, iter(edges[after])))
    return finished[::-1]


def _may_stay(state: int, edges: dict[int, list[tuple[int, int]]], latest: dict[int, int | None]) -> bool:
    """Tell whether time can go round at a state without anything being shown."""
    reached, pending = set(), [(after, cost > 0) for after, cost in edges[state] if latest[after] is None or after == state]
    while pending:
        here, ticked = pending.pop()
        if here == state and ticked:
            return True
        if (here, ticked) not in reached:
            reached.add((here, ticked))
            pending += [(after, ticked or cost > 0) for after, cost in edges[here]]
    return False


def later_of(one: int | None, other: int | None) -> int | None:
    """Return the later of two ticks; None is the latest."""
    return None if one is None or other is None else max(one, other)


# --- what is alike ---
def merged(groups: dict[Key, Group], first: Key) -> tuple[Situation, ...]:
    """Make groups that show the same and go on alike one situation; number them as they are come to."""
    classes = _classes(groups)
    numbers: dict[int, int] = {classes[first]: 0}
    members: dict[int, list[Key]] = {}
    for key, found in classes.items():
        members.setdefault(found, []).append(key)
    pending = [classes[first]]
    situations: list[Situation] = []
    while pending:
        keys = members[pending.pop(0)]
        happenings: dict[tuple[Label, int], tuple[int, int | None]] = {}
        for key in keys:
            for label, event in groups[key].events.items():
                to = classes[frozenset(event.states)]
                earliest, latest = happenings.get((label, to), (event.earliest, event.latest))
                happenings[label, to] = min(earliest, event.earliest), later_of(latest, event.latest)
        for _, to in happenings:
            if to not in numbers:
                numbers[to] = len(numbers)
                pending.append(to)
        situations.append(_situation(groups[keys[0]], happenings, numbers))
    return tuple(situations)


def _situation(group: Group, happenings: dict[tuple[Label, int], tuple[int, int | None]], numbers: dict[int, int]) -> Situation:
    found = [
        Happening(step=step, acted=names, earliest=earliest, latest=latest, to=numbers[to])
        for ((step, names, _), to), (earliest, latest) in happenings.items()
    ]
    return Situation(values=group.values, happenings=tuple(found), rests=group.rests, fails=group.fails, cut=group.cut)


def _classes(groups: dict[Key, Group]) -> dict[Key, int]:
    """Return the class of each group: groups of one class show the same and have the same future."""
    looks = {key: (group.values, group.rests, group.fails, group.cut) for key, group in groups.items()}
    known: dict[object, int] = {}
    classes = {key: known.setdefault(look, len(known)) for key, look in looks.items()}
    while True:
        known = {}
        finer = {}
        for key, group in groups.items():
            goes_on = frozenset((label, classes[frozenset(event.states)]) for label, event in group.events.items())
            finer[key] = known.setdefault((classes[key], goes_on), len(known))
        if len(known) == len(set(classes.values())):
            return finer
        classes = finer
