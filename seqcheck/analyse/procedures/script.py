"""What somebody does who follows a procedure, or deviates from it, as cells: each says what is done there and where it goes on.

A cell and a state of the machine together are a situation (`situations.py`). Whatever the cell, the plant may move at any
moment. Cells are numbered; they lead on to other cells or, where time passes, stay as long as they last.
"""

from enum import Enum
from typing import assert_never

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.model.expression import Expression
from seqcheck.model.model import Act, Model, ProcedureStep, SetPanel, Until, Wait

NOWHERE = -1
"""No cell, no procedure, no step."""


class Kind(Enum):
    """What is done in a cell."""

    DO = "a step is given at this moment"
    SET = "a panel item is set at this moment, if it is not there already"
    LET = "so many ticks pass"
    UNTIL = "time passes until a condition holds"
    LOOSE = "any time passes"
    END = "the procedure is at its end"
    ALONE = "the machine is left to itself"


class Cell(Struct, frozen=True, kw_only=True):
    """One thing that is done. *place* is the step of the procedure that it stands for, from 0.

    *regardless*: after a refusal it goes on to *then*,
    else nothing more is done.
    """

    kind: Kind
    procedure: int
    place: int
    then: int = NOWHERE
    step: int = 0
    ticks: int = 0
    end: Expression | None = None
    regardless: bool = False


class Line(Struct, frozen=True, kw_only=True):
    """A procedure as written: the first cell of each of its steps, and that of its end."""

    first: tuple[int, ...]
    end: int


class Script:
    """The cells of all procedures of one model, as they are asked for."""

    def __init__(self, model: Model) -> None:
        self._model = model
        self.cells: list[Cell] = []
        self._lines: dict[tuple[int, bool], Line] = {}
        self._shorter: dict[tuple[int, int], int] = {}
        self._whole: dict[int, int] = {}
        self.alone = self._add(Cell(kind=Kind.ALONE, procedure=NOWHERE, place=NOWHERE))

    def _add(self, cell: Cell) -> int:
        self.cells.append(cell)
        return len(self.cells) - 1

    def line(self, procedure: int, *, regardless: bool) -> Line:
        """Return the cells of a procedure as written."""
        key = procedure, regardless
        if key not in self._lines:
            steps = self._model.procedures[procedure].steps
            then = end = self._add(Cell(kind=Kind.END, procedure=procedure, place=len(steps), regardless=regardless))
            first: list[int] = []
            for place in reversed(range(len(steps))):
                then = self.part(procedure, place, then, regardless=regardless)
                first.append(then)
            self._lines[key] = Line(first=tuple(reversed(first)), end=end)
        return self._lines[key]

    def base(self, procedure: int, place: int, *, regardless: bool) -> Cell:
        """Return what the cells of a step have in common."""
        return Cell(kind=Kind.END, procedure=procedure, place=place, regardless=regardless)

    def part(self, procedure: int, place: int, then: int, *, regardless: bool) -> int:
        """Add the cells of one step, which lead to *then*; return the first."""
        base = self.base(procedure, place, regardless=regardless)
        return self._step(self._model.procedures[procedure].steps[place], base, then)

    def _step(self, step: ProcedureStep, base: Cell, then: int) -> int:
        match step:
            case Act(step=number):
                return self.act(base, number, then)
            case SetPanel(steps=numbers):
                for number in reversed(numbers):
                    then = self.put(base, number, then)
                return then
            case Wait(ticks=ticks):
                return self._add(replace(base, kind=Kind.LET, then=then, ticks=ticks))
            case Until(end=guard):
                return self._add(replace(base, kind=Kind.UNTIL, then=then, end=guard.test))
            case _:
                assert_never(step)

    def act(self, base: Cell, step: int, then: int) -> int:
        """Add a cell, otherwise like *base*, that gives a step."""
        return self._add(replace(base, kind=Kind.DO, then=then, step=step))

    def put(self, base: Cell, step: int, then: int) -> int:
        """Add a cell, otherwise like *base*, that sets a panel item."""
        return self._add(replace(base, kind=Kind.SET, then=then, step=step))

    def loose(self, base: Cell, then: int) -> int:
        """Add a cell, otherwise like *base*, that lets any time pass."""
        return self._add(replace(base, kind=Kind.LOOSE, then=then))

    def shorter(self, number: int, ticks: int) -> int:
        """Return where a wait goes on of which *ticks* are left."""
        cell = self.cells[number]
        if ticks == 0:
            return cell.then
        first = self._whole.get(number, number)
        if (first, ticks) not in self._shorter:
            rest = self._add(replace(cell, ticks=ticks))
            self._shorter[first, ticks] = rest
            self._whole[rest] = first
        return self._shorter[first, ticks]
