"""Turns each step, the tick and the settling of starts into a move between sets of states.

A move touches as few bits as it can: those that get the same value whatever the state are set, and only the others are
related to the bits before the step. Nothing else of the state takes part.
"""

from collections.abc import Container, Iterable, Mapping, Sequence

from msgspec import Struct, field
from msgspec.structs import replace

from seqcheck.model.expression import Expression
from seqcheck.model.model import Model, Step, Timer, TimerKind
from seqcheck.search.failing import Cause
from seqcheck.search.symbolic.diagrams import AND, Node, Renaming, Space
from seqcheck.search.symbolic.digits import Digits, increased, within
from seqcheck.search.symbolic.settling import Course, Settling
from seqcheck.search.symbolic.valuing import Cases, Facts, Valuation


class Move(Struct, frozen=True, kw_only=True):
    """A step (*number*; None: a tick) for all states at once.

    *possible* are the states in which it can be taken and does not fail, *changing* those of them that it changes.
    *failing* are states in which it fails, by cause; *acted* those in which a reaction's condition holds at its turn,
    *passing* those in which a hazard holds on the way.
    """

    number: int | None
    possible: Node
    changing: Node
    relation: Node
    touched: Node
    constants: Node
    renaming: Renaming | None
    fixed: Node | None
    primed: Node | None
    priming: Renaming | None
    becoming: tuple[tuple[int, Node], ...]
    failing: tuple[tuple[Cause, Node], ...] = ()
    acted: Mapping[int, Node] = field(default_factory=dict)
    passing: Mapping[int, Node] = field(default_factory=dict)

    def image(self, states: Node) -> Node:
        """Return the states that the move leads to from some of *states*."""
        found = states.apply_exists(AND, self.relation, self.touched)
        if self.renaming is not None:
            found = found.substitute(self.renaming)
        return found if self.fixed is None else found & self.constants

    def preimage(self, states: Node) -> Node:
        """Return the states from which the move leads into *states*."""
        if self.fixed is not None:
            states = states.apply_exists(AND, self.constants, self.fixed)
        if self.priming is None or self.primed is None:
            return states & self.possible
        return states.substitute(self.priming).apply_exists(AND, self.relation, self.primed)


class Flow(Struct, frozen=True, kw_only=True):
    """A number to which time adds where it *runs* and the sum *fits*: its bits, the lowest first, and what they become."""

    runs: Node
    fits: Node
    sums: Sequence[tuple[int, Node]]


class Moves:
    """Makes the moves of a model. What is outside *care* is neglected."""

    def __init__(self, space: Space, facts: Facts) -> None:
        self._space = space
        self._model: Model = facts.model
        self._valid = space.valid()
        self.settling = Settling(space, facts)
        self.origin = Valuation(space, facts)

    def start(self) -> Move:
        """Return the move from the starts as the file has them to the settled ones."""
        variables = enumerate(self._model.variables)
        raw = self._space.all(self._space.any(self._space.has(n, start) for start in v.starts) for n, v in variables)
        course = Course(here=raw, values=self.origin.fresh())
        self.settling.settle(course)
        return self._move(None, course)

    def at_rest(self) -> Node:
        """Return the valid states in which settling has nothing to do and no clock runs whose rule does not wait."""
        return self.settling.at_rest(Course(here=self._valid, values=self.origin.fresh()))

    def step(self, number: int) -> Move:
        """Return the move of one step."""
        step = self._model.steps[number]
        course = Course(here=self._possible(step), values=self.origin.fresh())
        self._guards(course, step)
        for assign in step.program:
            values = self.settling.assigned(course, step.name, (assign,), self._space.true)
            for target, cases in values.items():
                course.values.write(target, cases)
        self.settling.settle(course, touched=tuple(course.values.written))
        return self._move(number, course)

    def _possible(self, step: Step) -> Node:
        return self.origin.truth(step.ready)

    def _guards(self, course: Course, step: Step) -> None:
        truths = [self.settling.judged(course, step.name, guard.test) for guard in step.guards]
        course.here &= self._space.all(truths)

    def tick(self) -> Move | None:
        """Return the move of one tick; None for a machine without timers and clocks."""
        if not (self._model.timers or self._model.clocks):
            return None
        course = Course(here=self._space.true, values=self.origin.fresh())
        course.here &= ~self.blocked(course)
        counted = {timer.name: self._counts(course, timer) for timer in self._model.timers}
        for clock in self._model.clocks:
            when = self.settling.judged(course, clock.rule, clock.when)
            now = self.origin.variable(clock.variable)
            course.values.write(clock.variable, course.values.chosen(when & ~now[clock.most], increased(now), now))
        self.settling.settle(course, counted=counted, touched=tuple(course.values.written))
        timed = {timer.variable for timer in self._model.timers} | {clock.variable for clock in self._model.clocks}
        return self._move(None, course, timed)

    def blocked(self, course: Course) -> Node:
        """Return the states in which a plant rule must happen before time can pass; note where that cannot be told."""
        found = []
        for clock in self._model.clocks:
            if clock.latest is not None:
                late = self.origin.variable(clock.variable)[clock.latest]
                course.fail(("range", clock.rule, None), self.origin.lacking(clock.when) & late)
                found.append(late & self.origin.truth(clock.when))
        return self._space.any(found)

    def _counts(self, course: Course, timer: Timer) -> Node:
        now = self.origin.variable(timer.variable)
        if timer.kind is TimerKind.TP:
            return within(self._space, now, 1, timer.pt)
        in_ = self.settling.judged(course, timer.name, timer.input.test)
        running = in_ if timer.kind is TimerKind.TON else ~in_
        return running & within(self._space, now, 0, timer.pt - 1)

    def truth(self, test: Expression) -> Node:
        """Return the states in which a condition has a value and is true."""
        return self.origin.truth(test) & ~self.origin.lacking(test)

    def _move(self, number: int | None, course: Course, moving: Container[int] = ()) -> Move:
        """Return the move that a course comes to. Bits of wide variables that are *moving* are not looked at for staying."""
        fixed: list[tuple[int, bool]] = []
        related: list[tuple[int, Node]] = []
        for variable, cases in course.values.written.items():
            for bit, function in self._bits(variable, cases):
                if variable in moving and isinstance(cases, Digits):
                    related.append((bit, function))
                else:
                    self._sort(bit, function, course.here, fixed, related)
        joined = self._joined(number, course.here, fixed, related)
        return replace(joined, failing=tuple(course.failing), acted=course.acted, passing=course.passing)

    def flowing(self, possible: Node, flows: Iterable["Flow"]) -> Move:
        """Return the move of some time, which adds to what runs and leaves all else; what bits become is not told of it.

        The conditions on which a number runs are joined to its bits once, not bit by bit.
        """
        space = self._space
        flowing = sorted((flow for flow in flows if flow.sums), key=lambda flow: -flow.sums[0][0])
        relation = space.true
        for flow in flowing:
            same = [(bit, space.literal(bit)) for bit, _ in flow.sums]
            relation &= flow.runs.ite(self._relation(flow.fits, flow.sums), self._relation(space.true, same))
        bits = [bit for flow in flowing for bit, _ in flow.sums]
        return Move(
            number=None,
            possible=possible,
            changing=possible & space.any(flow.runs for flow in flowing),
            relation=relation & possible,
            touched=space.cube(bits),
            constants=space.true,
            renaming=space.renaming(bits) if bits else None,
            fixed=None,
            primed=space.cube(bit + 1 for bit in bits) if bits else None,
            priming=space.priming(bits) if bits else None,
            becoming=(),
        )

    def _joined(
        self, number: int | None, possible: Node, fixed: list[tuple[int, bool]], related: list[tuple[int, Node]]
    ) -> Move:
        bits = [bit for bit, _ in fixed] + [bit for bit, _ in related]
        true, false = self._space.true, self._space.false
        changed = [~self._space.literal(bit) if value else self._space.literal(bit) for bit, value in fixed]
        changed += [self._space.literal(bit) ^ function for bit, function in related]
        becoming = [*related, *((bit, true if value else false) for bit, value in fixed)]
        return Move(
            number=number,
            possible=possible,
            changing=possible & self._space.any(changed),
            relation=self._relation(possible, related),
            touched=self._space.cube(bits),
            constants=self._space.all(self._space.literal(bit) if value else ~self._space.literal(bit) for bit, value in fixed),
            renaming=self._space.renaming(bit for bit, _ in related) if related else None,
            fixed=self._space.cube(bit for bit, _ in fixed) if fixed else None,
            primed=self._space.cube(bit + 1 for bit, _ in related) if related else None,
            priming=self._space.priming(bit for bit, _ in related) if related else None,
            becoming=tuple(becoming),
        )

    def _bits(self, variable: int, cases: Cases) -> Iterable[tuple[int, Node]]:
        lowest = self._model.variables[variable].lowest
        if isinstance(cases, Digits) and cases.lowest == lowest and len(cases.bits) == len(self._space.now[variable]):
            yield from zip(self._space.now[variable], cases.bits, strict=True)
            return
        for place, bit in enumerate(self._space.now[variable]):
            yield bit, self._space.any(node for raw, node in cases.items() if raw - lowest >> place & 1)

    def _sort(
        self, bit: int, function: Node, possible: Node, fixed: list[tuple[int, bool]], related: list[tuple[int, Node]]
    ) -> None:
        """Put a bit among those that are set, or those that depend on the state, or neither if it stays."""
        cared = possible & self.settling.care
        if not (cared & (function ^ self._space.literal(bit))).satisfiable():
            return
        if not (cared & function).satisfiable():
            fixed.append((bit, False))
        elif not (cared & ~function).satisfiable():
            fixed.append((bit, True))
        else:
            related.append((bit, function))

    def _relation(self, possible: Node, related: Iterable[tuple[int, Node]]) -> Node:
        ordered = sorted(related, key=lambda pair: -pair[0])
        pairs = [self._space.literal(bit + 1).equiv(function) for bit, function in ordered]
        relation = self._space.true
        for pair in pairs:
            relation &= pair
        return relation & possible
