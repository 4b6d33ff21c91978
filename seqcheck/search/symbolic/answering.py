"""Turns the set of all reachable states, and the moves, into what a search has to answer."""

from collections.abc import Iterable, Iterator, Sequence

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.model.expression import Expression
from seqcheck.model.model import Elsewhere, Forbid, Hazard, Model, Observed, Only, Reachable, Recoverable, condition_of
from seqcheck.model.run import StepKind
from seqcheck.search.engine import Remarkable, Trace
from seqcheck.search.failing import Cause
from seqcheck.search.symbolic.diagrams import Node, Space
from seqcheck.search.symbolic.moves import Move, Moves
from seqcheck.search.symbolic.reaching import Reaching
from seqcheck.search.symbolic.runs import Aim, Runs, Shown
from seqcheck.search.symbolic.settling import Course
from seqcheck.search.symbolic.valuing import Facts


class Parts(Struct, frozen=True, kw_only=True):
    """All that a search of one model is made of. *every* are the steps and the tick, *start* the settling of the starts."""

    model: Model
    space: Space
    facts: Facts
    moves: Moves
    steps: Sequence[Move]
    every: Sequence[Move]
    start: Move
    reaching: Reaching


class Answering:
    """Answers for one search whose reachable states are known."""

    def __init__(self, parts: Parts, states: Node, runs: Runs) -> None:
        self._parts = parts
        self._space = parts.space
        self._model = parts.model
        self._states = states
        self._runs = runs
        self._met: list[Node] = []

    def transitions(self, states: Node) -> int:
        """Return the number of pairs of one of some states and a step, or tick, that leads to another state."""
        return sum(self._space.count(states & move.changing) for move in self._parts.every)

    def never(self, watches: Iterable[Expression]) -> frozenset[int]:
        """Return the numbers of the conditions that no reachable state has."""
        truth = self._parts.moves.truth
        return frozenset(n for n, test in enumerate(watches) if not (self._states & truth(test)).satisfiable())

    def entered(self, states: Node) -> tuple[frozenset[int], ...]:
        """Return for each variable the values that it has in some of the states."""
        return tuple(frozenset(self._space.values(states, v)) for v in range(len(self._model.variables)))

    def acted(self, states: Node, starts: Node | None = None) -> frozenset[int]:
        """Return the reactions whose condition holds in some of the states or at their turn while one settles.

        *starts*: only they are looked at as they settle, not all of them.
        """
        truth = self._parts.moves.truth
        within = self._parts.moves.settling.within_rounds
        rest = [(n, r.when.test) for n, r in enumerate(self._model.reactions) if n not in within]
        awake = {number for number, test in rest if (states & truth(test)).satisfiable()}
        noted = ((number, acting) for move in self._parts.every for number, acting in move.acted.items())
        awake |= {number for number, acting in noted if (acting & states).satisfiable()}
        begun = self._parts.start.acted.items()
        return frozenset(awake.union(n for n, acting in begun if starts is None or (acting & starts).satisfiable()))

    def passing(self, states: Node) -> frozenset[int]:
        """Return the hazards that hold while settling."""
        noted = ((number, holding) for move in self._parts.every for number, holding in move.passing.items())
        found = {number for number, holding in noted if (holding & states).satisfiable()}
        return frozenset(found | self._parts.start.passing.keys())

    def found(self, *, complete: bool) -> Iterator[tuple[int, Sequence[Aim]]]:
        """Yield the properties with what settles them: violations, or for `Reachable` without faults a witness.

        What needs to know all reachable states is left out of a search that is not *complete*.
        """
        for number, p in enumerate(self._model.properties):
            if not complete and self._needs_all(p.rule):
                continue
            aims = [aim if complete else replace(aim, reads=None) for aim in self.aims(p.rule)]
            aims = [aim for aim in aims if aim.states.satisfiable()]
            if aims:
                yield number, aims

    def violates(self) -> bool:
        """Tell whether a hazard, a requirement on steps or a built-in check is violated in some of the states."""
        failing = (states & self._states for move in self._parts.every for _, states in move.failing)
        rules = (self._model.properties[number].rule for number, _ in self.found(complete=False))
        return (
            any(isinstance(rule, Hazard | Observed | Forbid | Only) for rule in rules)
            or any(True for _ in self.unjudged())
            or any(states.satisfiable() for states in failing)
            or bool(self._parts.start.failing)
        )

    def _needs_all(self, rule: object) -> bool:
        return isinstance(rule, Recoverable) or (isinstance(rule, Reachable) and bool(self._model.faults))

    def ranked(self, goal: Expression) -> list[Node] | None:
        """Return the reachable states by their number of transitions to a goal; None if some never come to it."""
        ranks = self._parts.reaching.ranked(self._parts.moves.truth(goal), self._states, self.faultless())
        return ranks if self._space.any(ranks) == self._states else None

    def aims(self, rule: object) -> Iterator[Aim]:
        """Yield what settles a rule."""
        match rule:
            case Hazard(must_not_be=guard):
                yield self._told_by(guard.test)
            case Observed(violated=guard):
                yield replace(self._told_by(guard.test), plain=False)
            case Reachable(goal=guard) if not self._model.faults:
                yield self._told_by(guard.test)
            case Reachable(goal=guard):
                yield from self._cut_off(guard.test)
            case Recoverable(goal=guard):
                yield Aim(states=self._states & ~self.leading(guard.test))
            case Forbid(step=step, during=guard):
                told = self._told_by(*(g.test for g in self._model.steps[step].guards), guard.test)
                yield replace(told, attempts=True, last=step)
            case Only(steps=allowed, makes=guard):
                yield from self._made(allowed, guard.test)

    def _told_by(self, *tests: Expression) -> Aim:
        """Return the states in which some conditions of the file all hold."""
        truth, reads = self._parts.moves.truth, self._parts.facts.reads
        states = self._states & self._space.all(truth(test) for test in tests)
        return Aim(states=states, plain=True, reads=frozenset[int]().union(*(reads(test) for test in tests)))

    def _made(self, allowed: frozenset[int], test: Expression) -> Iterator[Aim]:
        """Yield the states in which a step that is not allowed makes a condition true."""
        moves = self._parts.moves
        truth, reads = moves.truth(test), self._parts.facts.reads(test)
        false = self._states & ~truth & ~moves.origin.lacking(test)
        own = {bit for variable in reads for bit in self._space.now[variable]}
        for move in self._parts.every:
            if move.number not in allowed and not own.isdisjoint(bit for bit, _ in move.becoming):
                yield Aim(states=false & move.preimage(truth), attempts=True, last=move.number)

    def leading(self, goal: Expression) -> Node:
        """Return the reachable states from which some way without new faults leads to a goal."""
        states = self._states & self._parts.moves.truth(goal)
        found = self._parts.reaching.leading(states, self._states, self.faultless(), self._met)
        if found == self._states:
            self._met.append(states)
        return found

    def faultless(self) -> list[Move]:
        """Return the moves of the steps that are no fault."""
        kinds = [step.kind for step in self._model.steps]
        return [move for move in self._parts.steps if move.number is None or kinds[move.number] is not StepKind.FAULT]

    def _cut_off(self, goal: Expression) -> Iterator[Aim]:
        """Yield the states in which the last fault of all occurs and leads to where a goal is out of reach."""
        leads = self.leading(goal)
        flags = self._model.fault_variables
        for number, step in enumerate(self._model.steps):
            if step.kind is StepKind.FAULT:
                move = self._parts.steps[number]
                after = self._space.all(self._space.has(flag, 1) for flag in flags)
                yield Aim(states=self._states & move.preimage(after & ~leads), attempts=True, last=number)

    def cut_off_after_faults(self, goal: Expression) -> Iterator[Aim]:
        """Yield the states in which a fault occurs and leads to where a goal is out of reach, whichever faults there were."""
        faults = [number for number, step in enumerate(self._model.steps) if step.kind is StepKind.FAULT]
        if faults:
            leads = self.leading(goal)
            for number in faults:
                yield Aim(states=self._states & self._parts.steps[number].preimage(~leads), attempts=True, last=number)

    def unjudged(self) -> Iterator[tuple[int, Aim]]:
        """Yield the properties whose condition has no value somewhere."""
        for number, p in enumerate(self._model.properties):
            if not isinstance(p.rule, Elsewhere):
                states = self._states & self._parts.moves.origin.lacking(condition_of(p.rule).test)
                if states.satisfiable():
                    yield number, Aim(states=states)

    def failures(self) -> tuple[Trace, ...]:
        """Return a shortest trace for each failure, starts first, then by cost."""
        starts = {cause: Trace(raw_start=self._space.pick(raw), states=()) for cause, raw in self._parts.start.failing}
        aims: dict[Cause, list[Aim]] = {}
        for move in self._parts.every:
            for cause, states in move.failing:
                if cause not in starts:
                    aims.setdefault(cause, []).append(Aim(states=states & self._states, attempts=True, last=move.number))
        shown: list[Shown] = [way for listed in aims.values() if (way := self._runs.shortest(listed)) is not None]
        return (*starts.values(), *(way.trace for way in sorted(shown, key=lambda way: way.cost)))

    def dead_ends(self) -> Remarkable | None:
        """Return the states that nobody and nothing leaves, and in which nothing fails."""
        leaving = [move.changing for move in self._parts.every]
        failing = [states for move in self._parts.every for _, states in move.failing]
        return self._remarkable(self._states & ~self._space.any([*leaving, *failing]))

    def time_stuck(self) -> Remarkable | None:
        """Return the states in which time must wait for the plant and the plant does nothing."""
        if not self._model.clocks:
            return None
        blocked = self._parts.moves.blocked(Course(here=self._space.true, values=self._parts.moves.origin.fresh()))
        kinds = [step.kind for step in self._model.steps]
        moved = [m.changing for m in self._parts.steps if m.number is not None and kinds[m.number] is StepKind.PLANT]
        return self._remarkable(self._states & blocked & ~self._space.any(moved))

    def _remarkable(self, states: Node) -> Remarkable | None:
        shown = self._runs.shortest([Aim(states=states)])
        return None if shown is None else Remarkable(count=self._space.count(states), trace=shown.trace)
