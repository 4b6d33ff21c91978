"""Answers what needs the whole graph: what can be reached from every state.

Where there is memory the transitions are listed by their ends. Else none is stored: states that lead to a goal are marked in
maps beside the tables, and those not marked are expanded again, round after round, until no more are marked. In round *n*
just the states *n* transitions from the goal are marked.
"""

from collections.abc import Callable, Iterator

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from seqcheck.model.expression import Expression
from seqcheck.model.model import Model, Reachable, Recoverable
from seqcheck.model.run import StepKind
from seqcheck.search.engine import Trace
from seqcheck.search.packed import frame as f
from seqcheck.search.packed.backwards import LOST, Backwards, fits
from seqcheck.search.packed.layout import Packed
from seqcheck.search.packed.program import goal_finder
from seqcheck.search.packed.searching import OWNER_SHIFT, Search
from seqcheck.search.packed.tracing import Tracer
from seqcheck.search.packed.visitor import Visitor


class Judged(Struct, frozen=True, kw_only=True):
    """A shortest violation of each `recoverable`, and under faults of each `reachable`.

    *ranks* maps each `recoverable` that holds to the number of transitions to its goal of each state of each owner.
    """

    found: dict[int, Trace] = field(default_factory=dict)
    ranks: dict[int, list[NDArray[np.int32]]] = field(default_factory=dict)


class Stopped(Exception):  # noqa: N818 - it is no error of the program
    """A limit was reached."""


class Grapher:
    """Judges the graph that a search has found."""

    def __init__(self, model: Model, search: Search, tracer: Tracer, go_on: Callable[[], bool]) -> None:
        self._model, self._search, self._tracer, self._go_on = model, search, tracer, go_on
        self._visitor = tracer.visitor
        kinds = [step.kind for step in model.steps]
        self._free = [n for n, kind in enumerate(kinds) if kind is not StepKind.FAULT] + [len(kinds)]
        self._faults = [n for n, kind in enumerate(kinds) if kind is StepKind.FAULT]
        self._backwards: Backwards | None = None

    def judge(self) -> Judged | None:
        """Judge all that needs the graph; None if told not to go on. Memory: a word a slot and 4 bytes a state."""
        judged = Judged()
        try:
            for number, p in enumerate(self._model.properties):
                if isinstance(p.rule, Recoverable):
                    self._recoverable(number, p.rule, judged)
                elif isinstance(p.rule, Reachable) and self._model.faults:
                    self._reachable(number, p.rule, judged)
        except Stopped:
            return None
        return judged

    def _recoverable(self, number: int, rule: Recoverable, judged: Judged) -> None:
        ranks = self._ranks(rule.goal.test)
        lost = [(owner << OWNER_SHIFT) + int(np.argmax(r == LOST)) for owner, r in enumerate(ranks) if (r == LOST).any()]
        if lost:
            judged.found[number] = self._tracer.trace(min(lost, key=self._search.cost_of))
        else:
            judged.ranks[number] = ranks

    def _reachable(self, number: int, rule: Reachable, judged: Judged) -> None:
        goals = self._goals()
        ranks = self._ranks(rule.goal.test, goals)
        for owner, of_owner in enumerate(ranks):
            self._put(owner, np.flatnonzero(of_owner != LOST), goals)
        for position, step in self._entries(goals):
            judged.found[number] = self._tracer.attempt(position, step)
            return

    def _ranks(self, test: Expression, goals: list[Packed] | None = None) -> list[NDArray[np.int32]]:
        """Return for each owner each state's number of transitions to the nearest state with a condition, or LOST."""
        ranks = [np.full(roll.length, LOST, np.int32) for roll in self._search.orders]
        self._mark_condition(test, ranks)
        self._tracer.ask_for(self._free)
        if self._backwards is None and fits(self._search):
            self._backwards = Backwards(self._search, self._tracer, self._look)
        if self._backwards is not None:
            self._backwards.spread(ranks)
        else:
            self._expand_again(ranks, self._goals() if goals is None else goals)
        return ranks

    def _expand_again(self, ranks: list[NDArray[np.int32]], goals: list[Packed]) -> None:
        """Mark the states that lead to one marked, round after round, until no more are."""
        for owner, of_owner in enumerate(ranks):
            self._put(owner, np.flatnonzero(of_owner == 0), goals)
        rank, fresh = 0, True
        while fresh:
            rank += 1
            leading = [(owner, self._leading(owner, of_owner, goals)) for owner, of_owner in enumerate(ranks)]
            fresh = any(len(places) for _, places in leading)
            for owner, places in leading:
                ranks[owner][places] = rank
                self._put(owner, places, goals)

    def _goals(self) -> list[Packed]:
        for table in self._search.tables:
            self._search.lookout.reserve(8 * table.slots)
        return [np.zeros(table.slots, np.uint64) for table in self._search.tables]

    def _mark_condition(self, test: Expression, ranks: list[NDArray[np.int32]]) -> None:
        finder = Visitor(goal_finder(self._model, self._search.program.layout, test), 0, 0)
        for owner, roll in enumerate(self._search.orders):
            for at, states in roll.pieces(0, roll.length, finder.most):
                finder.visit(states, 0)
                ranks[owner][at : at + len(states)][finder.marks[: len(states)] & f.LEADS != 0] = 0
                self._look()

    def _put(self, owner: int, places: NDArray[np.int64], goals: list[Packed]) -> None:
        """Put states into the map of goals."""
        if len(places):
            self._search.tables[owner].put(self._gathered(owner, places), goals[owner])

    def _gathered(self, owner: int, places: NDArray[np.int64]) -> Packed:
        """Return the states at some places, in ascending order, of an owner's list."""
        roll = self._search.orders[owner]
        ends = [*roll.begins[1:], roll.length]
        cuts = np.searchsorted(places, ends)
        parts, first = [], 0
        for begin, segment, cut in zip(roll.begins, roll.segments, cuts, strict=True):
            parts.append(segment[places[first:cut] - begin])
            first = cut
        return np.concatenate(parts)

    def _leading(self, owner: int, ranks: NDArray[np.int32], goals: list[Packed]) -> NDArray[np.int64]:
        """Return the places of an owner's states without a rank that lead to a goal by one transition."""
        visitor, places = self._visitor, np.flatnonzero(ranks == LOST)
        visitor.point_at_goals(self._search.tables, goals)
        block = np.zeros((visitor.most + f.LANES, self._search.program.layout.words), np.uint64)
        found = []
        for first in range(0, len(places), visitor.most):
            some = places[first : first + visitor.most]
            block[: len(some)] = self._gathered(owner, some)
            self._tracer.expand(block[: len(some)])
            visitor.lead()
            found.append(some[visitor.marks[: len(some)] & f.LEADS != 0])
            self._look()
        return np.concatenate(found) if found else places

    def _entries(self, goals: list[Packed]) -> Iterator[tuple[int, int]]:
        """Yield where the last fault leads to a state that is no goal, cheapest first."""
        flags = self._model.fault_variables
        self._tracer.ask_for(self._faults)
        visitor = self._visitor
        for bucket in self._search.buckets:
            for owner, roll in enumerate(self._search.orders):
                for at, states in roll.pieces(bucket.begins[owner], bucket.ends[owner], visitor.most):
                    occurred = np.sum([self._search.program.layout.column(states, flag) for flag in flags], axis=0)
                    self._tracer.expand(states)
                    visitor.point_at_goals(self._search.tables, goals)
                    visitor.keep_lost()
                    led = visitor.by_step
                    for index in np.flatnonzero((occurred == len(flags) - 1)[led.places]):
                        yield (owner << OWNER_SHIFT) + at + int(led.places[index]), int(led.steps[index])
                    self._look()

    def _look(self) -> None:
        if not self._go_on():
            raise Stopped
