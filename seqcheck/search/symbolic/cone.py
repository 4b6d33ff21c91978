"""Finds out which steps can matter to a condition (its cone of influence): a shortest way to it needs no others.

A step matters if it may change a variable that matters, itself or through what acts while settling. A variable matters if the
condition reads it, or a step or reaction that may change another that matters, or what drives a timer or clock that matters.
Where time matters, so does every plant rule that must happen before time can pass. Where anything can fail, all matters:
whether a step can be taken may then depend on everything.
"""

from collections.abc import Sequence

from seqcheck.model.model import Model
from seqcheck.search.symbolic.diagrams import Space
from seqcheck.search.symbolic.moves import Move
from seqcheck.search.symbolic.valuing import Facts


class Cones:
    """The cones of one model's conditions."""

    def __init__(self, facts: Facts, space: Space, every: Sequence[Move]) -> None:
        self._facts = facts
        self._model: Model = facts.model
        self._fails = any(move.failing for move in every)
        self._changed = {m.number: space.owners(bit for bit, _ in m.becoming) for m in every if m.number is not None}

    def steps(self, reads: frozenset[int]) -> frozenset[int]:
        """Return the numbers of the steps that can matter to a condition that reads some variables."""
        if self._fails:
            return frozenset(self._changed)
        matters: frozenset[int] = frozenset()
        found = reads
        while found != matters:
            matters = found
            found = matters | self._behind(matters)
        return frozenset(number for number, changed in self._changed.items() if not changed.isdisjoint(matters))

    def _behind(self, matters: frozenset[int]) -> frozenset[int]:
        """Return the variables that can matter to some variables at once."""
        reads, model = self._facts.reads, self._model
        found: set[int] = set()
        for number, step in enumerate(model.steps):
            if not self._changed[number].isdisjoint(matters):
                found |= reads(step.ready).union(*(reads(guard.test) for guard in step.guards))
                found.update(*(reads(value) for assign in step.program for value in assign.values))
                found.update(*(assign.targets for assign in step.program))
        for reaction in model.reactions:
            if any(target in matters for assign in reaction.program for target in assign.targets):
                found |= reads(reaction.when.test)
                found.update(*(reads(value) for assign in reaction.program for value in assign.values))
        for observer in model.observers:
            for assign in observer.program:
                if not matters.isdisjoint(assign.targets):
                    found |= frozenset().union(*(reads(value) for value in assign.values))
        for timer in model.timers:
            if timer.variable in matters:
                found |= reads(timer.input.test)
        return frozenset(found) | self._behind_time(matters)

    def _behind_time(self, matters: frozenset[int]) -> frozenset[int]:
        """Return what can matter where it matters how time passes."""
        timed = {timer.variable for timer in self._model.timers} | {clock.variable for clock in self._model.clocks}
        found: set[int] = set()
        for clock in self._model.clocks:
            if clock.variable in matters or (clock.latest is not None and not timed.isdisjoint(matters)):
                found |= {clock.variable} | self._facts.reads(clock.when)
        return frozenset(found)
