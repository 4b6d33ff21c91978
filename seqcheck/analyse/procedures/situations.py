"""Tells what can come of a situation: a cell of somebody's script together with a state of the machine.

A situation is one number, the cell's in the high bits, the state's in the low ones. What happens there is noted as bits; which
bit stands for what is kept in `noted`.
"""

from collections.abc import Iterator
from typing import NamedTuple, TypeAlias

from msgspec import Struct

from seqcheck.analyse.procedures.moving import FAILED, NOT_YET, Moves
from seqcheck.analyse.procedures.script import Cell, Kind, Script
from seqcheck.model.model import Model, Until, condition_of
from seqcheck.search.failing import cause, failure_of

SHIFT = 40
STATE = (1 << SHIFT) - 1

NOTHING = 1 << 50
"""A move on which nothing happens: somebody goes on to the next cell. A negative move is so many ticks, another one a step."""

WELL, NO_EFFECT, LOST, WAY_OUT, MAYBE_LOST, OPEN = 1, 2, 4, 8, 16, 32
"""It ends well; the deviation had no effect; it is stuck: no way out, one, or not known; not looked at."""

FIRST_NOTED = 6


class Refused(Struct, frozen=True):
    """A step of the model was refused at a place of a procedure: by the guards of which *missing* has the bit."""

    place: int
    step: int
    missing: int


class Broken(Struct, frozen=True):
    """Something could not be completed: the *failure* that it is counted under, and its *sort* (settling or range)."""

    cause: tuple[str | None, ...]


class NoValue(Struct, frozen=True):
    """A condition has no value: of the hazard or procedure named."""

    of: str
    text: str


Noted: TypeAlias = Refused | Broken | NoValue
Move: TypeAlias = tuple[int, int]
"""What happens, and the situation after it."""


class Visit(NamedTuple):
    """What can come of a situation: moves, hazards that hold (as bits), what is noted (as bits), and whether it is an end.

    *stuck*: the procedure is through and does not end as it should. *stops*: nothing more is done after a refusal.
    """

    moves: tuple[Move, ...]
    hazards: int
    noted: int
    stuck: bool = False
    stops: bool = False


class Situations:
    """Visits situations, each once. *ends* are the states in which procedures may end as written; None while that is open."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.moves = Moves(model)
        self.script = Script(model)
        self.visits: dict[int, Visit] = {}
        self.noted: list[Noted] = []
        self.ends: dict[int, set[int]] = {}
        self._bits: dict[Noted, int] = {}
        self._no_value = 1 << len(self.moves.hazards)
        self.hazard_bits = self._no_value - 1

    def visit(self, situation: int) -> Visit:
        """Return what can come of a situation."""
        known = self.visits.get(situation)
        if known is None:
            known = self.visits[situation] = self._visited(situation)
        return known

    def bit(self, noted: Noted) -> int:
        """Return the bit that stands for something noted."""
        found = self._bits.get(noted)
        if found is None:
            found = self._bits[noted] = 1 << (FIRST_NOTED + len(self.noted))
            self.noted.append(noted)
        return found

    def named(self, bits: int) -> Iterator[tuple[int, Noted]]:
        """Yield the bits of what is noted, and what each stands for, in the order in which it was first met."""
        bits >>= FIRST_NOTED
        while bits:
            place = (bits & -bits).bit_length() - 1
            bits ^= 1 << place
            yield 1 << (FIRST_NOTED + place), self.noted[place]

    def _visited(self, situation: int) -> Visit:
        number, state = situation >> SHIFT, situation & STATE
        cell = self.script.cells[number]
        hazards, noted = self.moves.hazard(state), 0
        if hazards & self._no_value:
            hazards ^= self._no_value
            noted |= self._valueless(state)
        if cell.kind is Kind.UNTIL and cell.end is not None:
            ended = self.moves.truth(cell.end, state)
            if ended == FAILED:
                return Visit((), hazards, noted | self.bit(self._no_value_of(cell)))
            if ended:
                return Visit(((NOTHING, cell.then << SHIFT | state),), hazards, noted)
        moves: list[Move] = []
        for step, after in self.moves.plant(state):
            if after == FAILED:
                noted |= self._failing(state, step)
            else:
                moves.append((step, number << SHIFT | after))
        return self._done(cell, number, state, Visit(tuple(moves), hazards, noted))

    def _done(self, cell: Cell, number: int, state: int, so_far: Visit) -> Visit:
        """Add what comes of what somebody does."""
        match cell.kind:
            case Kind.DO | Kind.SET:
                return self._given(cell, state, so_far)
            case Kind.LET | Kind.UNTIL:
                return self._waited(cell, number, state, so_far)
            case Kind.LOOSE:
                moves = (*so_far.moves, (NOTHING, cell.then << SHIFT | state))
                return self._ticked(state, so_far._replace(moves=moves), number)
            case Kind.ALONE:
                return self._ticked(state, so_far, number)
            case Kind.END:
                return self._ended(cell, state, so_far)

    def _given(self, cell: Cell, state: int, so_far: Visit) -> Visit:
        after = self.moves.step(cell.step, state)
        if after >= 0:
            return so_far._replace(moves=(*so_far.moves, (cell.step, cell.then << SHIFT | after)))
        if after == FAILED:
            return so_far._replace(noted=so_far.noted | self._failing(state, cell.step))
        if after == NOT_YET:
            return so_far._replace(moves=(*so_far.moves, (NOTHING, cell.then << SHIFT | state)))
        noted = so_far.noted | self.bit(Refused(cell.place, cell.step, -after))
        then = cell.then if cell.regardless else self.script.alone
        moves = (*so_far.moves, (NOTHING, then << SHIFT | state))
        return so_far._replace(moves=moves, noted=noted, stops=not cell.regardless)

    def _waited(self, cell: Cell, number: int, state: int, so_far: Visit) -> Visit:
        if cell.kind is Kind.UNTIL:
            return self._ticked(state, so_far, number)
        if not so_far.moves and self.moves.tick(state) == state:
            return so_far._replace(moves=((-cell.ticks, cell.then << SHIFT | state),))
        return self._ticked(state, so_far, self.script.shorter(number, cell.ticks - 1))

    def _ticked(self, state: int, so_far: Visit, then: int) -> Visit:
        """Add what comes of a tick, which leads to the cell *then*."""
        after = self.moves.tick(state)
        if after == FAILED:
            return so_far._replace(noted=so_far.noted | self._failing(state, None))
        if after == NOT_YET:
            return so_far
        return so_far._replace(moves=(*so_far.moves, (-1, then << SHIFT | after)))

    def _ended(self, cell: Cell, state: int, so_far: Visit) -> Visit:
        procedure = self.model.procedures[cell.procedure]
        well = 1 if procedure.ends_with is None else self.moves.truth(procedure.ends_with.test, state)
        ends = self.ends.get(cell.procedure)
        if ends is not None and state not in ends:
            so_far = so_far._replace(moves=(*so_far.moves, (NOTHING, self.script.alone << SHIFT | state)))
        if well == FAILED:
            return so_far._replace(noted=so_far.noted | self.bit(self._no_value_of(cell)))
        return so_far._replace(noted=so_far.noted | WELL) if well else so_far._replace(stuck=True)

    # --- what fails ---
    def _failing(self, state: int, step: int | None) -> int:
        failure = failure_of(self.model, self.moves.states[state], step)
        return 0 if failure is None else self.bit(Broken(cause(failure)))

    def _valueless(self, state: int) -> int:
        found = 0
        for number in self.moves.hazards:
            p = self.model.properties[number]
            test = condition_of(p.rule)
            if self.moves.truth(test.test, state) == FAILED:
                found |= self.bit(NoValue(p.id, test.text))
        return found

    def _no_value_of(self, cell: Cell) -> NoValue:
        procedure = self.model.procedures[cell.procedure]
        step = procedure.steps[cell.place] if cell.kind is Kind.UNTIL else None
        guard = step.end if isinstance(step, Until) else procedure.ends_with
        key = "ends with" if step is None else "until"
        return NoValue(f"“{key}” of “{procedure.name}”", "" if guard is None else guard.text)
