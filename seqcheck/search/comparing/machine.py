"""One of two machines in a common space of decision diagrams: its search, and its moves as functions over situations."""

from collections.abc import Iterator, Mapping, Sequence

from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.search.comparing.pair import Coded, Pair, Side
from seqcheck.search.symbolic.answering import Answering, Parts
from seqcheck.search.symbolic.budget import Budget
from seqcheck.search.symbolic.diagrams import Node, Space
from seqcheck.search.symbolic.moves import Move, Moves
from seqcheck.search.symbolic.ordering import grouped
from seqcheck.search.symbolic.reaching import Reached, Reaching
from seqcheck.search.symbolic.runs import Runs
from seqcheck.search.symbolic.timing import Clockwork
from seqcheck.search.symbolic.valuing import Facts
from seqcheck.search.symbolic.waiting import Waiting


class Machine:
    """One machine of a pair. Making it works out its moves; `search` finds its states."""

    def __init__(self, pair: Pair, side: Side, space: Space, budget: Budget) -> None:
        self.side = side
        self.space = space
        self.model: Model = pair.model(side)
        self._coded = pair.coded
        facts = Facts(self.model)
        moves = Moves(space, facts)
        moves.settling.care = moves.at_rest()
        self.steps: list[Move] = []
        for number in range(len(self.model.steps)):
            self.steps.append(moves.step(number))
            budget.check(Reached(states=space.false))
        self.tick = moves.tick()
        moves.settling.care = space.true
        start = moves.start()
        waiting = Waiting(space, self.model, moves, self.tick)
        groups = grouped(facts, [space.owners(bit for bit, _ in move.becoming) for move in self.steps])
        self.reaching = Reaching(space, self.steps, waiting, start.image(start.possible), budget.check, groups)
        self._parts = Parts(
            model=self.model,
            space=space,
            facts=facts,
            moves=moves,
            steps=self.steps,
            every=[*self.steps, *([self.tick] if self.tick is not None else [])],
            start=start,
            reaching=self.reaching,
        )
        self.runs = Runs(space, self.steps, waiting, self.reaching, start, Clockwork(facts, moves))
        self._codes_cube = self._cube([coded.place for coded in pair.coded])
        apart = [*pair.old_only, *pair.new_only, *(place for coded in pair.coded for place in (coded.old, coded.new))]
        self._apart_cube = self._cube(apart)
        self._is_plain = not pair.coded and not pair.old_only and not pair.new_only
        self.states = space.false
        self.known = space.false
        self.situations = space.false

    @staticmethod
    def _own(coded: Coded, side: Side) -> int:
        return coded.old if side is Side.OLD else coded.new

    def search(self) -> None:
        """Find all reachable states. Raises `Halt`."""
        self.settle_for(self.reaching.all())

    def settle_for(self, states: Node) -> None:
        """Go on with some states as those of this machine."""
        self.states = states
        self.known = self._with_codes(states)
        self.situations = self.forgotten(self.known)

    def starts(self) -> Node:
        """Return the situations in which the machine can start."""
        return self.forgotten(self._with_codes(self.reaching.starts))

    def _with_codes(self, states: Node) -> Node:
        """Return states with the codes of what they keep in their own way.

        The other machine's variables stay as they are at the start: moves say nothing of states in which they are otherwise.
        """
        found = states if self._is_plain else states.exists(self._codes_cube)
        for coded in self._coded:
            for bit, function in self.code_bits(coded, {}):
                found &= self.space.literal(bit).equiv(function)
        return found

    def _cube(self, variables: Sequence[int]) -> Node:
        return self.space.cube(bit for variable in variables for bit in self.space.now[variable])

    def forgotten(self, states: Node) -> Node:
        """Return states without what either machine has for itself."""
        return states if self._is_plain else states.exists(self._apart_cube)

    def lifted(self, known: Node) -> Node:
        """Return the states of this machine that are among some given with their codes."""
        return known & self.states if self._is_plain else known.exists(self._codes_cube) & self.states

    def code_bits(self, coded: Coded, becoming: Mapping[int, Node]) -> Iterator[tuple[int, Node]]:
        """Yield the bits of a code as functions of the state, or of what it becomes."""
        own = self._own(coded, self.side)
        codes = coded.old_codes if self.side is Side.OLD else coded.new_codes
        bits = [becoming.get(bit, self.space.literal(bit)) for bit in self.space.now[own]]
        values = [
            self.space.all(one if raw >> place & 1 else ~one for place, one in enumerate(bits)) for raw in range(len(codes))
        ]
        for place, bit in enumerate(self.space.now[coded.place]):
            yield bit, self.space.any(value for value, code in zip(values, codes, strict=True) if code >> place & 1)

    def move(self, number: int | None, *, waits: bool) -> Move | None:
        """Return the move of a step or of waiting; None if the machine has none."""
        return self.tick if waits else None if number is None else self.steps[number]

    def becoming(self, move: Move | None, shared: frozenset[int]) -> dict[int, Node]:
        """Return what the bits of a situation become; those that are not named stay."""
        if move is None:
            return {}
        written = dict(move.becoming)
        found = {bit: function for bit, function in written.items() if self.space.order[bit // 2][0] in shared}
        for coded in self._coded:
            if any(bit in written for bit in self.space.now[self._own(coded, self.side)]):
                found |= dict(self.code_bits(coded, written))
        return found

    def accepted(self, number: int | None) -> Node:
        """Return the states in which all permissives of a command hold."""
        if number is None:
            return self.space.false
        return self.space.all(self.truth(guard.test) for guard in self.model.steps[number].guards)

    def truth(self, test: Expression) -> Node:
        """Return the states in which a condition has a value and is true."""
        return self._parts.moves.truth(test)

    def failing(self, move: Move | None) -> Node:
        """Return the states in which a step fails."""
        return self.space.false if move is None else self.space.any(states for _, states in move.failing)

    def answering(self) -> Answering:
        """Return who answers for the reachable states."""
        return Answering(self._parts, self.states, self.runs)
