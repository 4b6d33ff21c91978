"""Finds what a command would have to ask for in addition, for a hazard never to be: as much as possible stays admitted.

What is admitted is a set of situations, told apart by what the controller sees. It is the greatest in this sense: admitting the
command in one more of the situations that can then come would let the hazard come. Situations that cannot come stay refused,
as far as it matters: whatever a condition says of them changes nothing.
"""

from collections.abc import Callable, Iterator, Sequence
from typing import TypeAlias

from msgspec import Struct

from seqcheck.model.expression import FALSE, Expression, Load, walk
from seqcheck.model.model import Hazard, Model, Reachable, VariableKind
from seqcheck.model.run import StepKind
from seqcheck.search.engine import NO_EXTRAS
from seqcheck.search.symbolic.budget import Budget
from seqcheck.search.symbolic.diagrams import Node
from seqcheck.search.symbolic.literals import Literals
from seqcheck.search.symbolic.moves import Move
from seqcheck.search.symbolic.reaching import Reaching
from seqcheck.search.symbolic.situations import Situations, gated, mirrored
from seqcheck.search.symbolic.symbolic import Search
from seqcheck.search.symbolic.telling import telling

Halves: TypeAlias = Callable[[Node], tuple[Node, Node]]


class Mend(Struct, frozen=True, kw_only=True):
    """An additional permissive: what it asks, and in how many situations the command is then admitted and refused."""

    condition: Expression
    admitted: int
    refused: int


class Mending(Struct, frozen=True, kw_only=True):
    """How one command could mend one hazard.

    *mends* are alternatives, the first admitting most. Where there is none: *without* tells that the hazard comes even if the
    command is never accepted. *lost* are the properties that could not be reached any more even if everything were seen and the
    command held back no more than needed. *needs* are the variables that the controller would have to see besides. *never*:
    with what it sees it must never accept the command. If there is none of all these, no condition was found that is short
    enough to be read, or keeps all reachable that must be.
    """

    step: int
    mends: tuple[Mend, ...] = ()
    without: bool = False
    lost: tuple[int, ...] = ()
    needs: tuple[int, ...] = ()
    never: bool = False


class Mendings(Struct, frozen=True, kw_only=True):
    """How commands could mend one hazard.

    *helpless*: it comes even if no command is ever accepted. *lost* are the properties that could not be reached any more even
    if everything were seen and all commands held back, but no more than needed. Where either is so, no permissive will do.
    """

    mendings: tuple[Mending, ...]
    helpless: bool
    lost: tuple[int, ...]


class Menders:
    """Finds mends of one machine. Raises `Unfit`, `Halt` and `OutOfNodes`, as all its methods do."""

    def __init__(self, model: Model, budget: Budget) -> None:
        self._size = len(model.variables)
        self._model = mirrored(model)
        self._search = Search(self._model, budget, NO_EXTRAS)
        self._parts = self._search.parts
        self._space = self._parts.space
        mirrors = range(self._size, len(self._model.variables))
        self._situations = Situations(self._model, self._search, mirrors)
        self._literals = Literals(self._model, self._search, mirrors)
        self._whole = self._from(self._starts, self._parts.steps)
        goals = {n: self._truth(p.rule.goal.test) for n, p in enumerate(model.properties) if isinstance(p.rule, Reachable)}
        self._goals = {number: goal for number, goal in goals.items() if (goal & self._whole).satisfiable()}

    @property
    def _starts(self) -> Node:
        return self._reaching.starts

    @property
    def _reaching(self) -> Reaching:
        return self._parts.reaching

    def _from(self, states: Node, moves: Sequence[Move]) -> Node:
        return self._reaching.from_(states, moves).all()

    def _truth(self, test: Expression) -> Node:
        return self._parts.moves.truth(test)

    def _lost(self, states: Node) -> tuple[int, ...]:
        """Return what none of some states has, although it must be reachable and was."""
        return tuple(number for number, goal in self._goals.items() if not (states & goal).satisfiable())

    def mendings(self, hazard: int, commands: Sequence[int]) -> Mendings:
        """Return how each of some commands could mend a hazard, given as the number of a property."""
        rule = self._model.properties[hazard].rule
        if not isinstance(rule, Hazard):
            raise TypeError(rule)
        bad = self._truth(rule.must_not_be.test)
        free = [move for move in self._parts.steps if self._kind(move) is not StepKind.COMMAND]
        harmful = self._reaching.leading(bad, self._whole, free)
        helpless = (self._starts & harmful).satisfiable()
        return Mendings(
            mendings=tuple(self._mending(number, bad) for number in commands),
            helpless=helpless,
            lost=() if helpless else self._lost(self._held_back(self._parts.steps, free, harmful)),
        )

    def _kind(self, move: Move) -> StepKind:
        return self._model.steps[move.number or 0].kind

    def _held_back(self, moves: Sequence[Move], free: Sequence[Move], harmful: Node) -> Node:
        """Return what can be reached if moves that are not free never lead into harm."""
        freely = {move.number for move in free}
        return self._from(self._starts, [m if m.number in freely else gated(m, ~m.preimage(harmful)) for m in moves])

    def _mending(self, number: int, bad: Node) -> Mending:
        others = [move for move in self._parts.steps if move.number != number]
        never = self._from(self._starts, others)
        if (never & bad).satisfiable():
            return Mending(step=number, without=True)
        harmful = self._reaching.leading(bad, self._whole, others)
        lost = self._lost(self._held_back(self._parts.steps, others, harmful))
        if lost:
            return Mending(step=number, lost=lost)
        harm = Harm(command=self._parts.steps[number], others=others, never=never, bad=bad, harmful=harmful)
        mends = self._alternatives(harm)
        if FALSE in (mend.condition for mend in mends):
            return Mending(step=number, needs=tuple(self._needs(harm)), never=True)
        return Mending(step=number, mends=mends, needs=() if mends else tuple(self._needs(harm)))

    def _alternatives(self, harm: "Harm") -> tuple[Mend, ...]:
        found: dict[Expression, Mend] = {}
        for halves in (self._halves, lambda situations: self._halves(situations)[::-1]):
            mend = self._mend(harm, halves)
            if mend is not None:
                found.setdefault(mend.condition, mend)
        return tuple(sorted(found.values(), key=lambda mend: -mend.admitted))

    def _mend(self, harm: "Harm", halves: Halves) -> Mend | None:
        """Admit the command in one situation after the other, as long as the hazard stays away."""
        admitted, refused, states = self._space.false, self._space.false, harm.never
        while True:
            here = states & harm.command.possible
            new = self._situations.of(here) & ~admitted & ~refused
            if not new.satisfiable():
                break
            worse = self._situations.of(here & harm.command.preimage(harm.harmful)) & new
            refused |= worse
            pending = [new & ~worse]
            while pending:
                tried = pending.pop()
                if not tried.satisfiable():
                    continue
                more = self._admitting(harm, states, admitted | tried)
                if not (more & harm.bad).satisfiable():
                    admitted, states = admitted | tried, more
                elif self._situations.count(tried) == 1:
                    refused |= tried
                else:
                    pending += halves(tried)
        return None if self._lost(states) else self._told(admitted, refused)

    def _told(self, admitted: Node, refused: Node) -> Mend | None:
        """Return a mend in words, in simple ones if that can be; FALSE if nothing may be admitted."""
        if not admitted.satisfiable():
            return Mend(condition=FALSE, admitted=0, refused=self._situations.count(refused))
        condition = telling(self._space, admitted, refused, self._literals.simple)
        if condition is None:
            condition = telling(self._space, admitted, refused, [*self._literals.simple, *self._literals.counting])
        if condition is None:
            return None
        return Mend(condition=condition, admitted=self._situations.count(admitted), refused=self._situations.count(refused))

    def _admitting(self, harm: "Harm", states: Node, situations: Node) -> Node:
        return self._from(states, [*harm.others, gated(harm.command, self._situations.states(situations))])

    def _halves(self, situations: Node) -> tuple[Node, Node]:
        """Split situations, of which there are several, in two."""
        for bits in self._space.now:
            for bit in bits:
                literal = self._space.literal(bit)
                if (situations & literal).satisfiable() and (situations & ~literal).satisfiable():
                    return situations & literal, situations & ~literal
        raise ValueError(situations)

    def _needs(self, harm: "Harm") -> Iterator[int]:
        """Yield the parts that would tell what must be refused from what may be admitted."""
        gate = ~harm.command.preimage(harm.harmful)
        here = self._from(self._starts, [*harm.others, gated(harm.command, gate)]) & harm.command.possible
        seen = [*self._literals.in_states, *self._literals.hidden]
        condition = telling(self._space, here & gate, here & ~gate, seen)
        if condition is not None:
            direct = {part.variable for part in walk(condition) if isinstance(part, Load)}
            yield from sorted(n for n in direct if self._model.variables[n].kind is VariableKind.PART)


class Harm(Struct, frozen=True, kw_only=True):
    """A command and what it may do: *never* is reached without it, *harmful* states lead to *bad* ones by *others* alone."""

    command: Move
    others: Sequence[Move]
    never: Node
    bad: Node
    harmful: Node
