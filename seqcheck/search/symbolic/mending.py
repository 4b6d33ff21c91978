"""Finds what a command would have to ask for in addition, for a hazard never to be: as much as possible stays admitted.

What is admitted is a set of situations, told apart by what the controller sees. It is the greatest in this sense: admitting the
command in one more of the situations that can then come would let the hazard come. Situations that cannot come stay refused.
"""

from collections.abc import Callable, Iterator, Sequence
from typing import TypeAlias

from msgspec import Struct

from seqcheck.model.expression import Apply, Const, Expression, Load, Op, Sense, negation, walk
from seqcheck.model.model import Hazard, Model, Reachable, VariableKind
from seqcheck.model.run import StepKind
from seqcheck.search.engine import NO_EXTRAS, Limits, Observer
from seqcheck.search.limits import Allowance
from seqcheck.search.symbolic.budget import Budget
from seqcheck.search.symbolic.diagrams import Node
from seqcheck.search.symbolic.moves import Move
from seqcheck.search.symbolic.reaching import Reaching
from seqcheck.search.symbolic.situations import Situations, gated, mirrored
from seqcheck.search.symbolic.symbolic import Search
from seqcheck.search.symbolic.telling import Literal, telling

Halves: TypeAlias = Callable[[Node], tuple[Node, Node]]


class Mend(Struct, frozen=True, kw_only=True):
    """An additional permissive: what it asks, and in how many situations the command is then admitted and refused."""

    condition: Expression
    admitted: int
    refused: int


class Mending(Struct, frozen=True, kw_only=True):
    """How one command could mend one hazard.

    *mends* are alternatives, the first admitting most. Where there is none: *needs* are the variables that the controller would
    have to see besides, and *without* tells that the hazard comes even if the command is never accepted.
    """

    step: int
    mends: tuple[Mend, ...]
    needs: tuple[int, ...]
    without: bool


def mendings(model: Model, hazard: int, limits: Limits, observer: Observer) -> tuple[Mending, ...]:
    """Return for each command how it could mend a hazard, given as the number of a property.

    Raises `Unfit`, `Halt` and `OutOfNodes`.
    """
    with Allowance(limits) as allowance:
        menders = Menders(model, hazard, Budget(allowance, limits, observer))
        return tuple(menders.mending(n) for n, step in enumerate(model.steps) if step.kind is StepKind.COMMAND)


class Menders:
    """One such search."""

    def __init__(self, model: Model, hazard: int, budget: Budget) -> None:
        self._model = mirrored(model)
        self._search = Search(self._model, budget, NO_EXTRAS)
        self._parts = self._search.parts
        self._space = self._parts.space
        self._mirrors = range(len(model.variables), len(self._model.variables))
        self._situations = Situations(self._model, self._search, self._mirrors)
        truth = self._parts.moves.truth
        rule = model.properties[hazard].rule
        if not isinstance(rule, Hazard):
            raise TypeError(rule)
        self._hazard = truth(rule.must_not_be.test)
        self._whole = self._from(self._starts, self._parts.steps)
        goals = [truth(p.rule.goal.test) for p in model.properties if isinstance(p.rule, Reachable)]
        self._goals = [goal for goal in goals if (goal & self._whole).satisfiable()]

    @property
    def _starts(self) -> Node:
        return self._parts.reaching.starts

    def _from(self, states: Node, moves: Sequence[Move]) -> Node:
        return self._reaching.from_(states, moves).all()

    @property
    def _reaching(self) -> Reaching:
        return self._parts.reaching

    def mending(self, number: int) -> Mending:
        """Return how one command could mend the hazard."""
        others = [move for move in self._parts.steps if move.number != number]
        never = self._from(self._starts, others)
        if (never & self._hazard).satisfiable():
            return Mending(step=number, mends=(), needs=(), without=True)
        harmful = self._reaching.leading(self._hazard, self._whole, others)
        command = self._parts.steps[number]
        found: dict[Expression, Mend] = {}
        for halves in (self._halves, lambda situations: self._halves(situations)[::-1]):
            mend = self._mend(command, others, never, harmful, halves)
            if mend is not None:
                found.setdefault(mend.condition, mend)
        mends = sorted(found.values(), key=lambda mend: -mend.admitted)
        needs = () if mends else tuple(self._needs(command, others, harmful))
        return Mending(step=number, mends=tuple(mends), needs=needs, without=False)

    def _mend(self, command: Move, others: Sequence[Move], never: Node, harmful: Node, halves: Halves) -> Mend | None:
        """Admit the command in one situation after the other, as long as the hazard stays away."""
        admitted, refused, states = self._space.false, self._space.false, never
        while True:
            here = states & command.possible
            new = self._situations.of(here) & ~admitted & ~refused
            if not new.satisfiable():
                break
            bad = self._situations.of(here & command.preimage(harmful)) & new
            refused |= bad
            pending = [new & ~bad]
            while pending:
                tried = pending.pop()
                if not tried.satisfiable():
                    continue
                more = self._admitting(command, others, states, admitted | tried)
                if not (more & self._hazard).satisfiable():
                    admitted, states = admitted | tried, more
                elif self._situations.count(tried) == 1:
                    refused |= tried
                else:
                    pending += halves(tried)
        if not all((states & goal).satisfiable() for goal in self._goals):
            return None
        condition = telling(self._space, admitted, refused, list(self._visible()))
        if condition is None:
            return None
        return Mend(condition=condition, admitted=self._situations.count(admitted), refused=self._situations.count(refused))

    def _admitting(self, command: Move, others: Sequence[Move], states: Node, situations: Node) -> Node:
        return self._from(states, [*others, gated(command, self._situations.states(situations))])

    def _halves(self, situations: Node) -> tuple[Node, Node]:
        """Split situations, of which there are several, in two."""
        one = self._situations.one(situations)
        for bits in self._space.now:
            for bit in bits:
                literal = self._space.literal(bit)
                if (situations & literal).satisfiable() and (situations & ~literal).satisfiable():
                    return situations & literal, situations & ~literal
        return one, situations & ~one

    def _needs(self, command: Move, others: Sequence[Move], harmful: Node) -> Iterator[int]:
        """Yield the parts that would tell what must be refused from what may be admitted."""
        gate = ~command.preimage(harmful)
        states = self._from(self._starts, [*others, gated(command, gate)])
        if not all((states & goal).satisfiable() for goal in self._goals):
            return
        here = states & command.possible
        hidden = [Literal(test=t, states=self._parts.moves.truth(t)) for t in self._values_of(VariableKind.PART)]
        seen = [Literal(test=one.test, states=self._parts.moves.truth(one.test)) for one in self._visible()]
        condition = telling(self._space, here & gate, here & ~gate, [*seen, *hidden])
        if condition is not None:
            direct = {part.variable for part in walk(condition) if isinstance(part, Load)}
            yield from sorted(n for n in direct if self._model.variables[n].kind is VariableKind.PART)

    def _visible(self) -> Iterator[Literal]:
        """Yield simple conditions on what the controller sees, as sets of situations."""
        for number, sensor in enumerate(self._model.sensors):
            mirror = self._mirrors[number]
            if sensor.lowest == 0 and sensor.highest == 1:
                yield Literal(test=Sense(number), states=self._space.has(mirror, 1))
                yield Literal(test=negation(Sense(number)), states=self._space.has(mirror, 0))
            elif sensor.labels:
                for raw in range(sensor.lowest, sensor.highest + 1):
                    yield Literal(test=Apply(Op.EQUAL, (Sense(number), Const(raw))), states=self._space.has(mirror, raw))
        for timer in self._model.timers:
            done = self._parts.moves.truth(timer.q)
            yield Literal(test=timer.q, states=done)
            yield Literal(test=negation(timer.q), states=~done)
        for kind in (VariableKind.OUTPUT, VariableKind.MEMORY, VariableKind.PANEL):
            for test in self._values_of(kind):
                yield Literal(test=test, states=self._parts.moves.truth(test))

    def _values_of(self, kind: VariableKind) -> Iterator[Expression]:
        """Yield for each value of the variables of a kind that it is had, and that it is not."""
        for number, v in enumerate(self._model.variables):
            if v.kind is kind and v.labels:
                for raw in range(len(v.labels)):
                    yield Apply(Op.EQUAL, (Load(number), Const(raw)))
                for raw in range(len(v.labels)) if len(v.labels) > 2 else ():
                    yield Apply(Op.UNEQUAL, (Load(number), Const(raw)))
