"""Simple conditions, of which a condition that is short to read may be made: what the controller sees, and what it does not."""

from collections.abc import Iterator, Sequence
from functools import cached_property

from seqcheck.model.expression import Apply, Const, Expression, Load, Op, Sense, negation
from seqcheck.model.model import Model, VariableKind
from seqcheck.search.symbolic.diagrams import Node
from seqcheck.search.symbolic.symbolic import Search
from seqcheck.search.symbolic.telling import Literal

MOST_COUNTED = 64
"""Values of a number that are worth being compared with one by one."""

TRUTH = (False, True)
SET_BY_CONTROLLER = (VariableKind.OUTPUT, VariableKind.MEMORY, VariableKind.PANEL)


class Literals:
    """Simple conditions on one model, which has a mirror for each sensor. Those on what is seen are sets of situations."""

    def __init__(self, model: Model, search: Search, mirrors: Sequence[int]) -> None:
        self._model = model
        self._space = search.parts.space
        self._truth = search.parts.moves.truth
        self._mirrors = mirrors

    @cached_property
    def simple(self) -> list[Literal]:
        """What is seen without counting: sensors, timers that have run out, outputs, memory, panel."""
        return [*self._sensed(), *self._timed(), *self._stated(*SET_BY_CONTROLLER)]

    @cached_property
    def counting(self) -> list[Literal]:
        """Numbers that are seen, compared with each of their values."""
        return [*self._sensed_numbers(), *self._numbers(*SET_BY_CONTROLLER), *self._elapsed()]

    @cached_property
    def in_states(self) -> list[Literal]:
        """What is seen, as sets of states."""
        return [Literal(test=one.test, states=self._truth(one.test)) for one in (*self.simple, *self.counting)]

    @cached_property
    def hidden(self) -> list[Literal]:
        """What the controller does not see but through sensors."""
        return [*self._stated(VariableKind.PART), *self._numbers(VariableKind.PART)]

    def _sensed(self) -> Iterator[Literal]:
        for number, sensor in enumerate(self._model.sensors):
            mirror = self._mirrors[number]
            if sensor.labels == TRUTH:
                yield Literal(test=Sense(number), states=self._space.has(mirror, 1))
                yield Literal(test=negation(Sense(number)), states=self._space.has(mirror, 0))
            else:
                for raw in range(len(sensor.labels)):
                    yield Literal(test=Apply(Op.EQUAL, (Sense(number), Const(raw))), states=self._space.has(mirror, raw))

    def _timed(self) -> Iterator[Literal]:
        for timer in self._model.timers:
            done = self._truth(timer.q)
            yield Literal(test=timer.q, states=done)
            yield Literal(test=negation(timer.q), states=~done)

    def _stated(self, *kinds: VariableKind) -> Iterator[Literal]:
        """Yield for each state of the variables of some kinds that it is had, and that it is not."""
        for number, v in self._variables(*kinds):
            tests: list[Expression] = []
            if v == TRUTH:
                tests = [Load(number), negation(Load(number))]
            else:
                tests += (Apply(Op.EQUAL, (Load(number), Const(raw))) for raw in range(len(v)))
                tests += (Apply(Op.UNEQUAL, (Load(number), Const(raw))) for raw in range(len(v)) if len(v) > 2)
            yield from (Literal(test=test, states=self._truth(test)) for test in tests)

    def _variables(self, *kinds: VariableKind) -> Iterator[tuple[int, tuple[object, ...]]]:
        for kind in kinds:
            yield from ((n, v.labels) for n, v in enumerate(self._model.variables) if v.kind is kind)

    def _numbers(self, *kinds: VariableKind) -> Iterator[Literal]:
        for number, labels in self._variables(*kinds):
            v = self._model.variables[number]
            if not labels:
                for test in compared(Load(number), v.lowest, v.highest):
                    yield Literal(test=test, states=self._truth(test))

    def _elapsed(self) -> Iterator[Literal]:
        for timer in self._model.timers:
            for test in compared(timer.et, 0, timer.pt):
                yield Literal(test=test, states=self._truth(test))

    def _sensed_numbers(self) -> Iterator[Literal]:
        for number, sensor in enumerate(self._model.sensors):
            if not sensor.labels:
                for test in compared(Sense(number), sensor.lowest, sensor.highest):
                    yield Literal(test=test, states=self._mirrored(number, test))

    def _mirrored(self, number: int, test: Apply) -> Node:
        """Return the situations in which a comparison of a sensor's number holds."""
        return self._truth(Apply(test.op, (Load(self._mirrors[number]), test.operands[1])))


def compared(number: Expression, lowest: int, highest: int) -> Iterator[Apply]:
    """Yield a number's comparisons with its values: at least, at most; none for a wide range."""
    if highest - lowest <= MOST_COUNTED:
        for raw in range(lowest + 1, highest + 1):
            yield Apply(Op.AT_LEAST, (number, Const(raw)))
            yield Apply(Op.AT_MOST, (number, Const(raw - 1)))
