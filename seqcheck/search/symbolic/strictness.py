"""Finds the situations in which a command is refused although accepting it could not lead to a hazard, whatever follows.

A situation is what the controller sees: panel, sensors, outputs, memory, timers. Accepting a command in one means accepting it
in every state that looks the same, those that become reachable by it too: the machine that does so must meet no hazard that it
does not meet now, all else being as it is. With everything seen, and every command free to be held back later, a state is
harmless if people, plant and time alone do not lead from there to a hazard. Least restrictive control: Ramadge and Wonham, SIAM
Journal on Control and Optimization 25(1), 1987; with less than everything seen: Lin and Wonham, Information Sciences 44, 1988.
"""

from collections.abc import Iterator, Sequence

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.model.model import Hazard, Model
from seqcheck.model.run import StepKind
from seqcheck.search.engine import NO_EXTRAS, Limits, Observer, Trace
from seqcheck.search.limits import Allowance
from seqcheck.search.symbolic.budget import Budget
from seqcheck.search.symbolic.diagrams import Node
from seqcheck.search.symbolic.moves import Move
from seqcheck.search.symbolic.runs import Aim
from seqcheck.search.symbolic.situations import Situations, gated, mirrored
from seqcheck.search.symbolic.symbolic import Search

MOST_TRIED = 400
"""Situations of one command that are worth looking at one by one."""


class Refusals(Struct, frozen=True, kw_only=True):
    """Where one command is refused.

    *accepted* situations are those in which it is accepted, *situations* those in which it is refused. Accepting it in
    *harmless* of these could not lead to a hazard, *open* ones were not decided; *unmoved* of the harmless ones would change
    nothing. Those with *_states* are the same with everything seen. *example*: a shortest way to a harmless situation, one that
    accepting it would change if there is any.
    """

    step: int
    accepted: int
    situations: int
    harmless: int
    open: int
    unmoved: int
    accepted_states: int
    states: int
    harmless_states: int
    unmoved_states: int
    example: Trace | None


def refusals(model: Model, limits: Limits, observer: Observer) -> Iterator[Refusals]:
    """Yield where each command is refused. Raises `Unfit`, `Halt` and `OutOfNodes`."""
    with Allowance(limits) as allowance:
        yield from Strictness(model, Budget(allowance, limits, observer)).refusals()


class Strictness:
    """One such search: a model in which every command can be accepted freely too, and its sensors have mirrors."""

    def __init__(self, model: Model, budget: Budget) -> None:
        self._model = freed(model)
        self._count = len(model.steps)
        self._free = {number: self._count + place for place, number in enumerate(_commands(model))}
        self._search = Search(self._model, budget, NO_EXTRAS)
        self._parts = self._search.parts
        self._space = self._parts.space
        mirrors = range(len(model.variables), len(self._model.variables))
        self._situations = Situations(self._model, self._search, mirrors)
        self._moves = self._parts.steps[: self._count]
        self._reached = self._from(self._parts.reaching.starts, self._moves)
        every = [*self._moves, *(move for move in self._parts.every if move.number is None)]
        self._unpreventable = [move for move in every if not self._is_command(move)]
        hazards = self._space.any(self._new_hazards())
        self._bad = hazards | self._failing_anew(every)
        self._beyond_help = hazards | self._failing_anew(self._unpreventable)

    def refusals(self) -> Iterator[Refusals]:
        """Yield where each command is refused."""
        whole = self._from(self._reached, self._parts.steps)
        steps = [move for move in self._unpreventable if move.number is not None]
        harmful = self._parts.reaching.leading(self._bad & whole, whole, self._moves)
        beyond_help = self._parts.reaching.leading(self._beyond_help & whole, whole, steps)
        for number in self._free:
            yield self._refused(number, whole, harmful, beyond_help)

    def _is_command(self, move: Move) -> bool:
        return move.number is not None and self._model.steps[move.number].kind is StepKind.COMMAND

    def _from(self, states: Node, moves: Sequence[Move]) -> Node:
        return self._parts.reaching.from_(states, moves).all()

    def _new_hazards(self) -> Iterator[Node]:
        """Yield the hazards that the machine as it is does not come to."""
        for p in self._model.properties:
            if isinstance(p.rule, Hazard):
                states = self._parts.moves.truth(p.rule.must_not_be.test)
                if not (states & self._reached).satisfiable():
                    yield states

    def _failing_anew(self, moves: Sequence[Move]) -> Node:
        """Return the states that the machine as it is does not come to and in which something fails."""
        return self._space.any(states for move in moves for _, states in move.failing) & ~self._reached

    def _refused(self, number: int, whole: Node, harmful: Node, beyond_help: Node) -> Refusals:
        guards = [guard.test for guard in self._model.steps[number].guards]
        accepted = self._space.all(self._parts.moves.truth(test) for test in guards)
        refused = self._reached & ~accepted
        free = self._parts.steps[self._free[number]]
        fails = self._space.any(states for _, states in free.failing)
        seen = self._situations.of(refused)
        hurts = (free.preimage(harmful) | fails) & ~accepted
        sure = seen & ~self._situations.of(whole & hurts)
        likely = seen & ~self._situations.of(refused & hurts) & ~sure
        found, left = self._one_by_one(free, accepted, sure, likely)
        unmoved = found & ~self._situations.of(refused & free.changing)
        helpless = (free.preimage(beyond_help) | fails) & ~accepted
        return Refusals(
            step=number,
            accepted=self._situations.count(self._situations.of(self._reached & accepted)),
            situations=self._situations.count(seen),
            harmless=self._situations.count(found),
            open=self._situations.count(left),
            unmoved=self._situations.count(unmoved),
            accepted_states=self._space.count(self._reached & accepted),
            states=self._space.count(refused),
            harmless_states=self._space.count(refused & ~helpless),
            unmoved_states=self._space.count(refused & ~helpless & ~free.changing),
            example=self._example(refused, found & ~unmoved, found),
        )

    def _one_by_one(self, free: Move, accepted: Node, sure: Node, likely: Node) -> tuple[Node, Node]:
        """Return the situations that are harmless, and those not decided.

        First those that are *likely* are tried together, then each by itself.
        """
        if likely.satisfiable() and self._is_harmless(free, accepted, likely):
            return sure | likely, self._space.false
        tried = 0
        while likely.satisfiable() and tried < MOST_TRIED:
            one = self._situations.one(likely)
            if self._is_harmless(free, accepted, one):
                sure |= one
            likely &= ~one
            tried += 1
        return sure, likely

    def _is_harmless(self, free: Move, accepted: Node, situations: Node) -> bool:
        gate = self._situations.states(situations) & ~accepted
        fails = self._space.any(states for _, states in free.failing)
        states = self._from(self._reached, [*self._moves, gated(free, gate)])
        return not (states & (self._bad | (fails & gate))).satisfiable()

    def _example(self, refused: Node, *wanted: Node) -> Trace | None:
        for situations in wanted:
            aim = refused & self._situations.states(situations)
            if aim.satisfiable():
                runs = self._search.runs.among(
                    self._moves, self._parts.reaching.from_(self._parts.reaching.starts, self._moves)
                )
                shown = runs.shortest([Aim(states=aim, plain=False)])
                return None if shown is None else shown.trace
        return None


def _commands(model: Model) -> list[int]:
    return [number for number, step in enumerate(model.steps) if step.kind is StepKind.COMMAND]


def freed(model: Model) -> Model:
    """Return a model with a mirror for each sensor, and after its steps each command once more, without permissives."""
    free = tuple(replace(model.steps[number], guards=()) for number in _commands(model))
    return replace(mirrored(model), steps=(*model.steps, *free))
