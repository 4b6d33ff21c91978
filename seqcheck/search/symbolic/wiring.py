"""Knows what has to do with what while a state settles, so that only what a change concerns is looked at again."""

from collections.abc import Iterable, Iterator, Sequence

from seqcheck.model.expression import Expression
from seqcheck.model.model import Observer, Reaction
from seqcheck.search.symbolic.valuing import Facts


class Wiring:
    """Knows which timers, units of reactions and clocks have to do with each variable.

    *within_rounds* are the reactions that may see, at their turn in a round, what comes back before the round is over.
    """

    def __init__(self, facts: Facts) -> None:
        model = facts.model
        self.units = units(facts)
        self.unit_of = {number: place for place, unit in enumerate(self.units) for number in unit}
        self.targets = [
            frozenset(t for n in unit for a in model.reactions[n].program for t in a.targets) for unit in self.units
        ]
        self.timers = inverted([facts.reads(t.input.test) | {t.variable} for t in model.timers])
        self.clocks = inverted([facts.reads(c.when) | {c.variable} for c in model.clocks])
        self.observers = inverted([noted(facts, observer) for observer in model.observers])
        shared = {t for unit, targets in zip(self.units, self.targets, strict=True) if len(unit) > 1 for t in targets}
        self.within_rounds = frozenset(
            number for number, reaction in enumerate(model.reactions) if not concerns(facts, reaction).isdisjoint(shared)
        )
        self.of_units = inverted(
            [frozenset[int]().union(*(concerns(facts, model.reactions[n]) for n in unit)) for unit in self.units]
        )


def inverted(concerned: Sequence[frozenset[int]]) -> dict[int, set[int]]:
    """Turn a list of sets of variables into: for each variable, the places of the sets that have it."""
    found: dict[int, set[int]] = {}
    for place, variables in enumerate(concerned):
        for variable in variables:
            found.setdefault(variable, set()).add(place)
    return found


class Pending:
    """Which timers, reactions and clocks have to be looked at again because something that they have to do with changed."""

    def __init__(self, wiring: Wiring) -> None:
        self._wiring = wiring
        self._timers: set[int] = set()
        self._units: set[int] = set()
        self._clocks: set[int] = set()
        self._observers: set[int] = set()

    def touch(self, variables: Iterable[int]) -> None:
        """Note that variables have changed."""
        for variable in variables:
            self._timers |= self._wiring.timers.get(variable, NOBODY)
            self._units |= self._wiring.of_units.get(variable, NOBODY)
            self._clocks |= self._wiring.clocks.get(variable, NOBODY)
            self._observers |= self._wiring.observers.get(variable, NOBODY)

    def timer(self, place: int) -> bool:
        """Tell whether a timer is to be brought up to date; it counts as done."""
        due = place in self._timers
        self._timers.discard(place)
        return due

    def clock(self, place: int) -> bool:
        """Tell whether a clock is to be looked at."""
        return place in self._clocks

    def observer(self, place: int) -> bool:
        """Tell whether an observer is to be looked at."""
        return place in self._observers

    def reaction(self, number: int) -> bool:
        """Tell whether a reaction is to be looked at; it counts as done.

        What several reactions write may change within a round and come back, even where everything is at rest: these are
        always looked at, and so is whoever reads what they write.
        """
        place = self._wiring.unit_of[number]
        unit = self._wiring.units[place]
        if len(unit) > 1:
            if number == min(unit):
                self.touch(self._wiring.targets[place])
            return True
        due = place in self._units
        self._units.discard(place)
        return due


NOBODY: frozenset[int] = frozenset()


def concerns(facts: Facts, reaction: Reaction) -> frozenset[int]:
    """Return all that a reaction reads or writes."""
    read: Iterator[Expression] = (value for assign in reaction.program for value in assign.values)
    found = facts.reads(reaction.when.test).union(*(facts.reads(value) for value in read))
    return found.union(*(assign.targets for assign in reaction.program))


def noted(facts: Facts, observer: Observer) -> frozenset[int]:
    """Return all that an observer reads or writes."""
    found = frozenset(target for assign in observer.program for target in assign.targets)
    return found.union(*(facts.reads(value) for assign in observer.program for value in assign.values))


def units(facts: Facts) -> tuple[frozenset[int], ...]:
    """Group the reactions that write the same variables: one may undo what another did, so they are at rest together only."""
    groups: list[tuple[set[int], set[int]]] = []
    for number, reaction in enumerate(facts.model.reactions):
        targets = {target for assign in reaction.program for target in assign.targets}
        numbers = {number}
        for other in [group for group in groups if not group[1].isdisjoint(targets)]:
            groups.remove(other)
            numbers |= other[0]
            targets |= other[1]
        groups.append((numbers, targets))
    return tuple(frozenset(numbers) for numbers, _ in groups)
