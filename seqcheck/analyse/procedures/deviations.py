"""Lists the deviations from a procedure: at each step what is done otherwise, from which situations, by which cells.

Of a procedure with n steps, k of them commands, and e steps that are done right after a wait, on a machine with c commands,
these are n left out, n repeated, n - 1 swapped, e early, n * c - k others instead, and n stopped where the file marks an
emergency stop. Each gives two rows: whoever is refused goes on regardless, or stops there.
"""

from collections.abc import Iterator

from msgspec import Struct

from seqcheck.analyse.procedures.records import Deviation
from seqcheck.analyse.procedures.script import Kind
from seqcheck.analyse.procedures.situations import SHIFT, STATE, Situations
from seqcheck.analyse.procedures.written import Written
from seqcheck.model.model import Act, Model, Procedure, ProcedureStep, Until, Wait
from seqcheck.model.run import StepKind


class Deviating(Struct, frozen=True, kw_only=True):
    """A deviation with where it begins: *entries* are the situations as written, *cell* the first that is otherwise.

    Where *cell* leads to *target* the procedure goes on as written with the step *on*.
    """

    place: int
    deviation: Deviation
    other: int | None
    regardless: bool
    entries: tuple[int, ...]
    cell: int
    target: int
    on: int

    @property
    def roots(self) -> tuple[int, ...]:
        """The situations in which the deviation has begun, one for each entry."""
        return tuple(self.cell << SHIFT | entry & STATE for entry in self.entries)


def waits(step: ProcedureStep) -> bool:
    """Tell whether a step only lets time pass."""
    return isinstance(step, Wait | Until)


def commands(model: Model) -> list[int]:
    """Return the steps that are commands."""
    return [number for number, step in enumerate(model.steps) if step.kind is StepKind.COMMAND]


def early_places(procedure: Procedure) -> list[int]:
    """Return the steps that are done right after a wait."""
    steps = procedure.steps
    return [place for place in range(1, len(steps)) if waits(steps[place - 1]) and not waits(steps[place])]


def row_count(model: Model, procedure: Procedure) -> int:
    """Return how many rows a procedure has: two for each deviation."""
    n, c = len(procedure.steps), len(commands(model))
    k = sum(isinstance(step, Act) and model.steps[step.step].kind is StepKind.COMMAND for step in procedure.steps)
    stopped = n if model.emergency_stop is not None else 0
    return 2 * (n + n + (n - 1) + len(early_places(procedure)) + (n * c - k) + stopped)


class Deviations:
    """The deviations from one procedure, of one sort: after a refusal somebody goes on regardless, or stops there."""

    def __init__(self, situations: Situations, written: Written, *, regardless: bool) -> None:
        self._situations = situations
        self._script = situations.script
        self._written = written
        self._number = written.procedure
        self._procedure = situations.model.procedures[written.procedure]
        self._regardless = regardless
        line = self._script.line(self._number, regardless=regardless)
        self._cells = (*line.first, line.end)

    def all(self) -> Iterator[Deviating]:
        """Yield the deviations, step by step."""
        early = early_places(self._procedure)
        stop = self._stop()
        for place in range(len(self._procedure.steps)):
            yield self._left_out(place)
            yield self._parts(place, Deviation.REPEATED, (place, place), place + 1)
            if place + 1 < len(self._procedure.steps):
                yield self._parts(place, Deviation.SWAPPED, (place + 1, place), place + 2)
            if place in early:
                yield self._parts(place, Deviation.EARLY, (place,), place + 1)
            yield from self._instead(place)
            if stop is not None:
                yield self._deviating(place, Deviation.STOPPED, stop, 0)

    def _deviating(self, place: int, deviation: Deviation, cell: int, on: int, other: int | None = None) -> Deviating:
        return Deviating(
            place=place,
            deviation=deviation,
            other=other,
            regardless=self._regardless,
            entries=self._entries(place, deviation),
            cell=cell,
            target=self._cells[on],
            on=on,
        )

    def _left_out(self, place: int) -> Deviating:
        return self._deviating(place, Deviation.LEFT_OUT, self._cells[place + 1], place + 1)

    def _parts(self, place: int, deviation: Deviation, done: tuple[int, ...], on: int) -> Deviating:
        cell = self._cells[on]
        for each in reversed(done):
            cell = self._script.part(self._number, each, cell, regardless=self._regardless)
        return self._deviating(place, deviation, cell, on)

    def _instead(self, place: int) -> Iterator[Deviating]:
        step = self._procedure.steps[place]
        own = step.step if isinstance(step, Act) else None
        base = self._script.base(self._number, place, regardless=self._regardless)
        for other in commands(self._situations.model):
            if other != own:
                cell = self._script.act(base, other, self._cells[place + 1])
                yield self._deviating(place, Deviation.INSTEAD, cell, place + 1, other)

    def _stop(self) -> int | None:
        """Return the cells in which the emergency stop is pressed, any time passes, and it is released."""
        stop = self._situations.model.emergency_stop
        if stop is None:
            return None
        base = self._script.base(self._number, 0, regardless=self._regardless)
        released = self._script.put(base, stop.release, self._cells[0])
        return self._script.put(base, stop.press, self._script.loose(base, released))

    # --- where it begins ---
    def _entries(self, place: int, deviation: Deviation) -> tuple[int, ...]:
        arrivals = [s for s in self._written.arrivals.get(self._written.line.first[place], []) if s in self._written.reached]
        if deviation is Deviation.EARLY:
            first = place
            while first and waits(self._procedure.steps[first - 1]):
                first -= 1
            return tuple(s for each in range(first, place) for s in self._waiting(each))
        if deviation is Deviation.STOPPED:
            return tuple(dict.fromkeys((*arrivals, *self._waiting(place))))
        return tuple(arrivals)

    def _waiting(self, place: int) -> list[int]:
        """Return the situations as written in which a wait is not over, cheapest first; none for another step."""
        if not waits(self._procedure.steps[place]):
            return []
        found = []
        for number, situations in self._written.by_cell.items():
            cell = self._script.cells[number]
            if (cell.procedure, cell.place) == (self._number, place) and cell.kind in {Kind.LET, Kind.UNTIL}:
                found += [s for s in situations if not self._is_over(number, s)]
        return sorted(found, key=self._written.reached.__getitem__)

    def _is_over(self, number: int, situation: int) -> bool:
        end = self._script.cells[number].end
        return end is not None and self._situations.moves.truth(end, situation & STATE) == 1
