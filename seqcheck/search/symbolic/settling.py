"""Settles all states at once: a step's effects and all that follows, as functions of the state before the step.

Only what may have to do with a change is looked at: in a settled state everything else is at rest.
"""

from collections.abc import Iterable, Mapping
from typing import TypeAlias

from msgspec import Struct, field

from seqcheck.model.expression import Expression
from seqcheck.model.model import Clock, Hazard, Model, Program, Reaction, Timer, TimerKind
from seqcheck.search.engine import Unfit
from seqcheck.search.failing import Cause
from seqcheck.search.symbolic.diagrams import Node, Space
from seqcheck.search.symbolic.digits import increased, unequal
from seqcheck.search.symbolic.valuing import Cases, Facts, Valuation
from seqcheck.search.symbolic.wiring import Pending, Wiring

MOST_ROUNDS = 1_000
"""Rounds of settling that are worth following for all states at once."""


Who: TypeAlias = tuple[str, str]
"""`reaction` or `timer`, and its name."""


class Course(Struct):
    """What comes of a step, as functions of the state before it.

    *here* are the states in which the step is possible and has not failed. *failing* are the others by what fails; *acted*
    are the states in which a reaction's condition holds at its turn, *passing* those in which a hazard holds on the way.
    """

    here: Node
    values: Valuation
    failing: list[tuple[Cause, Node]] = field(default_factory=list)
    acted: dict[int, Node] = field(default_factory=dict)
    passing: dict[int, Node] = field(default_factory=dict)

    def fail(self, cause: Cause, states: Node) -> None:
        """Leave out states in which the step fails."""
        failed = self.here & states
        if failed.satisfiable():
            self.failing.append((cause, failed))
            self.here &= ~failed


class Round(Struct):
    """What a round of settling has done: who changed something, with the states in which that was so."""

    changed: dict[Who, Node] = field(default_factory=dict)

    def note(self, who: Who, states: Node) -> None:
        """Note that something changed."""
        self.changed[who] = self.changed[who] | states if who in self.changed else states


class Settling:
    """Settles the courses of one model. *care*: all states outside it may be neglected."""

    def __init__(self, space: Space, facts: Facts) -> None:
        self._space = space
        self._facts = facts
        self._model: Model = facts.model
        self.care = space.true
        self._wiring = Wiring(facts)
        self.within_rounds = self._wiring.within_rounds
        written = {t for r in self._model.reactions for a in r.program for t in a.targets}
        written |= {timer.variable for timer in self._model.timers}
        self._hazards = [
            (number, p.rule.must_not_be.test)
            for number, p in enumerate(self._model.properties)
            if isinstance(p.rule, Hazard) and facts.reads(p.rule.must_not_be.test) & written
        ]

    def settle(
        self, course: Course, *, counted: Mapping[str, Node] | None = None, touched: Iterable[int] | None = None
    ) -> None:
        """Let a course settle. *counted* are the timers that count a tick, *touched* what is out of date (default: all)."""
        pending = Pending(self._wiring)
        pending.touch(range(len(self._model.variables)) if touched is None else touched)
        self._moment(course, begins=touched is None)
        rounds = Rounds(self._space)
        while True:
            before, done = dict(course.values.written), Round()
            self._timers(course, counted or {}, pending, done)
            self._moment(course)
            self._reactions(course, pending, done)
            moved = self._moved(course, before)
            if not moved.satisfiable() and not counted:
                break
            counted = None
            chasing = rounds.repeating(course, moved, done)
            if chasing is not None:
                self._never_rests(course, moved, chasing)
                break
            if rounds.count > MOST_ROUNDS:
                raise Unfit(f"settling takes more than {MOST_ROUNDS:,} rounds")
        self._clocks(course, pending)
        self._observe(course, pending)

    def at_rest(self, course: Course) -> Node:
        """Return the states of a fresh course in which settling changes nothing: no round, no observer, no clock."""
        pending, done = Pending(self._wiring), Round()
        pending.touch(range(len(self._model.variables)))
        self._timers(course, {}, pending, done)
        self._reactions(course, pending, done)
        self._observe(course, pending)
        moved = self._moved(course, {})
        origin = course.values.fresh()
        for clock in self._model.clocks:
            idle = ~origin.truth(clock.when)
            moved |= idle & ~origin.variable(clock.variable)[0]
        return course.here & ~moved

    def _moment(self, course: Course, *, begins: bool = False) -> None:
        """Note the hazards that hold at a moment before the rest is reached; *begins*: the state before was not settled."""
        for number, test in self._hazards:
            if begins or not course.values.written.keys().isdisjoint(self._facts.reads(test)):
                found = course.here & course.values.truth(test) & ~course.values.lacking(test)
                if found.satisfiable():
                    course.passing[number] = course.passing.get(number, self._space.false) | found

    def judged(self, course: Course, rule: str, test: Expression) -> Node:
        """Evaluate a condition on behalf of a rule, which fails where it has no value."""
        course.fail(("range", rule, None), course.values.lacking(test))
        return course.values.truth(test)

    def _timers(self, course: Course, counted: Mapping[str, Node], pending: Pending, done: Round) -> None:
        for place, timer in enumerate(self._model.timers):
            if timer.name in counted or pending.timer(place):
                in_ = self.judged(course, timer.name, timer.input.test)
                now = course.values.variable(timer.variable)
                if timer.name not in counted and not self._concerns(course, timer, now, in_):
                    continue
                if timer.name in counted:
                    now = course.values.chosen(counted[timer.name], increased(now), now)
                self._change(
                    course, ("timer", timer.name), timer.variable, self._updated(course, timer, now, in_), pending, done
                )

    def _concerns(self, course: Course, timer: Timer, now: Cases, in_: Node) -> bool:
        """Tell whether a timer's input may change it where it does not count."""
        idle = now.get(0, self._space.false)
        match timer.kind:
            case TimerKind.TON:
                concerned = ~in_ & ~idle
            case TimerKind.TOF:
                concerned = in_ & ~idle
            case TimerKind.TP:
                concerned = (in_ & idle) | (~in_ & now.get(timer.pt + 1, self._space.false))
        return (course.here & concerned & self.care).satisfiable()

    def _updated(self, course: Course, timer: Timer, now: Cases, in_: Node) -> Cases:
        zero, none = {0: self._space.true}, self._space.false
        match timer.kind:
            case TimerKind.TON:
                return course.values.chosen(in_, now, zero)
            case TimerKind.TOF:
                return course.values.chosen(in_, zero, now)
            case TimerKind.TP:
                begun = course.values.chosen(now.get(0, none) & in_, {1: self._space.true}, now)
                return course.values.chosen(now.get(timer.pt + 1, none) & ~in_, zero, begun)

    def _change(self, course: Course, who: Who, variable: int, cases: Cases, pending: Pending, done: Round) -> Node:
        """Give a variable new values; return the states in which they differ."""
        differs = course.here & unequal(self._space, course.values.variable(variable), cases)
        if (differs & self.care).satisfiable():
            course.values.write(variable, cases)
            pending.touch((variable,))
            done.note(who, differs)
            return differs
        return self._space.false

    def _reactions(self, course: Course, pending: Pending, done: Round) -> None:
        for number, reaction in enumerate(self._model.reactions):
            if pending.reaction(number):
                self._react(course, number, reaction, pending, done)

    def _react(self, course: Course, number: int, reaction: Reaction, pending: Pending, done: Round) -> None:
        when = self.judged(course, reaction.name, reaction.when.test)
        acting = course.here & when
        if not (acting & self.care).satisfiable():
            return
        course.acted[number] = course.acted.get(number, self._space.false) | acting
        changed = self._space.false
        for assign in reaction.program:
            values = self.assigned(course, reaction.name, (assign,), when)
            for target, cases in values.items():
                chosen = course.values.chosen(when, cases, course.values.variable(target))
                changed |= self._change(course, ("reaction", reaction.name), target, chosen, pending, done)
        if changed.satisfiable():
            self._moment(course)

    def assigned(self, course: Course, rule: str, program: Program, when: Node) -> dict[int, Cases]:
        """Evaluate assignments made at once where *when* holds; a value outside its range fails."""
        found: dict[int, Cases] = {}
        for assign in program:
            for value in assign.values:
                course.fail(("range", rule, None), course.values.lacking(value) & when)
            for target, value in zip(assign.targets, assign.values, strict=True):
                found[target] = course.values.number(value)
            for target in assign.targets if not assign.bounded else ():
                found[target] = self._within(course, rule, target, found[target], when)
        return found

    def _within(self, course: Course, rule: str, target: int, cases: Cases, when: Node) -> Cases:
        variable = self._model.variables[target]
        fits = range(variable.lowest, variable.highest + 1)
        beyond = self._space.any(node for raw, node in cases.items() if raw not in fits)
        course.fail(("range", rule, variable.name), beyond & when)
        return {raw: node for raw, node in cases.items() if raw in fits}

    def _moved(self, course: Course, before: Mapping[int, Cases]) -> Node:
        """Return the states in which a round as a whole has changed something."""
        origin = course.values.fresh()
        differing = (
            unequal(self._space, before.get(variable) or origin.variable(variable), cases)
            for variable, cases in course.values.written.items()
            if before.get(variable) is not cases
        )
        return course.here & self._space.any(differing) & self.care

    def _never_rests(self, course: Course, moved: Node, chasing: Mapping[Who, Node]) -> None:
        """Leave out the states that never come to rest, by who chases whom there."""
        order = [*(("reaction", r.name) for r in self._model.reactions), *(("timer", t.name) for t in self._model.timers)]
        groups: list[tuple[Cause, Node]] = [(("settling",), moved)]
        for who in order:
            if who in chasing:
                split = [((*cause, who[1]), states & chasing[who]) for cause, states in groups]
                split += [(cause, states & ~chasing[who]) for cause, states in groups]
                groups = [(cause, states) for cause, states in split if states.satisfiable()]
        for cause, states in groups:
            course.fail(cause, states)

    def _observe(self, course: Course, pending: Pending) -> None:
        """Let the observers that have to do with a change note it."""
        for place, observer in enumerate(self._model.observers):
            for assign in observer.program if pending.observer(place) else ():
                for target, cases in self.assigned(course, observer.rule, (assign,), self._space.true).items():
                    if (course.here & unequal(self._space, course.values.variable(target), cases) & self.care).satisfiable():
                        course.values.write(target, cases)
                        pending.touch((target,))

    def _clocks(self, course: Course, pending: Pending) -> None:
        for place, clock in enumerate(self._model.clocks):
            if pending.clock(place):
                self._reset(course, clock)

    def _reset(self, course: Course, clock: Clock) -> None:
        when = self.judged(course, clock.rule, clock.when)
        now = course.values.variable(clock.variable)
        if (course.here & ~when & ~now.get(0, self._space.false) & self.care).satisfiable():
            course.values.write(clock.variable, course.values.chosen(when, now, {0: self._space.true}))


class Rounds:
    """Notices that rounds of settling repeat: what they have come to is compared with what an earlier one had."""

    def __init__(self, space: Space) -> None:
        self._space = space
        self.count = 0
        self._kept: dict[int, Cases] = {}
        self._kept_at = 0
        self._since: list[Round] = []

    def repeating(self, course: Course, moved: Node, done: Round) -> dict[Who, Node] | None:
        """Return what changes something again and again if all that still moves is where it was before, else None."""
        self.count += 1
        self._since.append(done)
        written = course.values.written
        if self._kept and not (moved & self._differ(written, course)).satisfiable():
            together = Round()
            for earlier in self._since:
                for who, states in earlier.changed.items():
                    together.note(who, states)
            return together.changed
        if self.count >= 2 * self._kept_at:
            self._kept, self._kept_at, self._since = dict(written), self.count, []
        return None

    def _differ(self, written: Mapping[int, Cases], course: Course) -> Node:
        origin = course.values.fresh()
        return self._space.any(
            unequal(self._space, self._kept.get(variable) or origin.variable(variable), cases)
            for variable, cases in written.items()
            if self._kept.get(variable) is not cases
        )
