"""Tells what can be shown in a state: which permissive refuses alone, what a trip does, what would be seen."""

from collections.abc import Iterator

from msgspec.structs import replace

from seqcheck.analyse.procedures.moving import FAILED, NOT_YET, Moves
from seqcheck.analyse.record import SHOWN
from seqcheck.analyse.testing.goals import PERMISSIVE, TRIP, targets
from seqcheck.analyse.testing.records import Item
from seqcheck.analyse.testing.trails import TICK
from seqcheck.model import semantics
from seqcheck.model.model import Model, Reaction, State
from seqcheck.model.run import StepKind


class Showing:
    """Looks at the states of one machine, each once."""

    def __init__(self, model: Model, moves: Moves) -> None:
        self.model = model
        self.moves = moves
        self.commands = tuple(n for n, step in enumerate(model.steps) if step.kind is StepKind.COMMAND)
        self.visible = tuple(n for n, variable in enumerate(model.variables) if variable.kind in SHOWN)
        self._forced = Moves(replace(model, steps=tuple(replace(s, guards=()) for s in model.steps), properties=()))
        self._refusals: dict[int, tuple[Item, ...]] = {}
        self._trips: dict[tuple[int, int], tuple[tuple[Item, bool], ...]] = {}
        self._without: dict[int, Model] = {}

    # --- refusals ---
    def refusals(self, state: int) -> tuple[Item, ...]:
        """Return the permissives that alone refuse their command in a state."""
        known = self._refusals.get(state)
        if known is None:
            tried = ((number, self.moves.step(number, state)) for number in self.commands)
            known = self._refusals[state] = tuple(
                Item(PERMISSIVE, number, (-came).bit_length() - 1) for number, came in tried if is_one_bit(came)
            )
        return known

    def forced(self, number: int, state: int) -> State | None:
        """Return what a command would come to if it were accepted nevertheless; None if it cannot be completed."""
        before = self._forced.number(self.moves.states[state])
        after = self._forced.step(number, before)
        return None if after < 0 else self._forced.states[after]

    def would_be_seen(self, number: int, state: int) -> bool:
        """Tell whether something would be seen if a command were accepted in a state that refuses it."""
        after, before = self.forced(number, state), self.moves.states[state]
        return after is None or any(after[place] != before[place] for place in self.visible)

    # --- trips ---
    def trips(self, state: int, move: int) -> tuple[tuple[Item, bool], ...]:
        """Return what trips are seen to write when a step or a tick is taken, and whether it takes the trip for that."""
        known = self._trips.get((state, move))
        if known is None:
            known = self._trips[state, move] = tuple(self._trips_shown(self.moves.states[state], move))
        return known

    def _trips_shown(self, before: State, move: int) -> Iterator[tuple[Item, bool]]:
        acted: list[str] = []
        after = take(self.model, before, move, acted)
        if after is None:
            return
        for number, reaction in enumerate(self.model.reactions):
            if not reaction.is_trip or reaction.name not in acted:
                continue
            shown = [x for x in targets(reaction) if before[x] != after[x] and self._writes(reaction, x, after)]
            without = take(self.model_without(number), before, move, []) if shown else None
            for place in shown:
                yield Item(TRIP, number, place), without is None or without[place] != after[place]

    def _writes(self, reaction: Reaction, place: int, after: State) -> bool:
        """Tell whether a variable has the value that a trip writes."""
        values = list(after)
        try:
            semantics.apply(self.model, reaction.name, reaction.program, values)
        except semantics.Failed:
            return False
        return values[place] == after[place]

    def model_without(self, number: int) -> Model:
        """Return the model without one reaction."""
        if number not in self._without:
            kept = tuple(reaction for n, reaction in enumerate(self.model.reactions) if n != number)
            self._without[number] = replace(self.model, reactions=kept)
        return self._without[number]


def take(model: Model, before: State, move: int, acted: list[str]) -> State | None:
    """Take a step or a tick by the plain definition; None if it is not possible or cannot be completed."""

    def watch(reactions: list[str], _values: State) -> None:
        acted.extend(reactions)

    try:
        if move == TICK:
            return semantics.tick(model, before, watch)
        step = model.steps[move]
        return semantics.take(model, step, before, watch) if semantics.possible(model, step, before) else None
    except semantics.Failed:
        return None


def is_one_bit(came: int) -> bool:
    """Tell whether a step was refused by one guard alone, as `Moves.step` says it."""
    return came < 0 and came not in {FAILED, NOT_YET} and (-came) & (-came - 1) == 0
