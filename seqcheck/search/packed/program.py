"""Puts together all that the compiled functions need to know of one model."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.model.run import StepKind
from seqcheck.search.engine import Unfit
from seqcheck.search.packed.assembly import assemble
from seqcheck.search.packed.bounds import FARTHEST
from seqcheck.search.packed.expanding import Expanding, Purpose
from seqcheck.search.packed.frame import ASKED, IS_PLANT, LANES
from seqcheck.search.packed.layout import Layout
from seqcheck.search.packed.settling import Settled, Settling, Sites, Slots, concern_of, slots_of

SHORT = (1 << 15) - 1
"""The farthest value that fits a register of 16 bits."""


class Program(Struct, frozen=True, kw_only=True):
    """One model made ready for one purpose. *registers* holds the constants; each thread takes a copy."""

    layout: Layout
    slots: Slots
    sites: int
    code: NDArray[np.int64]
    registers: NDArray[np.int16] | NDArray[np.int64]
    steps: NDArray[np.uint64]
    kinds: NDArray[np.uint8]
    flag_words: int
    settles: bool
    timed: bool
    pre: int
    round: int
    post: int
    first_counting: int
    counting: int

    @property
    def group(self) -> str:
        """Which compiled functions it is for."""
        return "short" if self.registers.dtype == np.int16 else "long"

    @property
    def tick(self) -> int:
        """The number that stands for a tick."""
        return len(self.kinds) - 2


def explorer(model: Model, layout: Layout, watches: Sequence[Expression]) -> Program:
    """Return the program of the search. Raises `Unfit`."""
    return _program(model, layout, watches, Purpose.EXPLORE)


def mover(model: Model, layout: Layout, watches: Sequence[Expression]) -> Program:
    """Return a program that only gives out where steps lead."""
    return _program(model, layout, watches, Purpose.MOVES)


def goal_finder(model: Model, layout: Layout, test: Expression) -> Program:
    """Return a program that marks the states that have a condition."""
    slots, sites = slots_of(model, 0), Sites()
    expanding = Expanding(model, layout, slots, sites, concern_of(model), Purpose.MOVES)
    expanding.write_goal(test)
    return _joined(model, expanding, None)


def _program(model: Model, layout: Layout, watches: Sequence[Expression], purpose: Purpose) -> Program:
    slots, sites, concern = slots_of(model, len(watches)), Sites(), concern_of(model)
    expanding = Expanding(model, layout, slots, sites, concern, purpose)
    expanding.write(watches)
    settled = Settling(model, layout, slots, sites).write() if concern.needed else None
    return _joined(model, expanding, settled)


def _joined(model: Model, expanding: Expanding, settled: Settled | None) -> Program:
    """Join the programs that expand and that settle; registers of the latter come first."""
    after = len(expanding.listing.rows)
    settling = assemble(settled.listing, settled.pinned, after, 0) if settled is not None else None
    visiting = assemble(expanding.listing, (), 0, settling.registers if settling else 3)
    parts = [visiting] if settling is None else [visiting, settling]
    listings = [expanding.listing] if settled is None else [expanding.listing, settled.listing]
    farthest = max(len(expanding.sites.numbers), *(listing.farthest for listing in listings))
    if farthest > FARTHEST:
        raise Unfit("a value may have more than 62 bits")
    registers = np.zeros((visiting.registers, LANES), np.int16 if farthest <= SHORT else np.int64)
    for register, value in (pair for part in parts for pair in part.constants):
        registers[register] = value
    first, places = after, (settled.pre, settled.round, settled.post) if settled is not None else (0, 0, 0)
    return Program(
        layout=expanding.layout,
        slots=expanding.slots,
        sites=len(expanding.sites.numbers),
        code=np.array([row for part in parts for row in part.rows], np.int64).reshape(-1, 6),
        registers=registers,
        steps=_steps(expanding),
        kinds=_kinds(model),
        flag_words=expanding.flag_words,
        settles=settled is not None,
        timed=bool(model.timers or model.clocks),
        pre=first + places[0],
        round=first + places[1],
        post=first + places[2],
        first_counting=settled.first_counting if settled is not None else 0,
        counting=len(model.timers),
    )


def _steps(expanding: Expanding) -> NDArray[np.uint64]:
    rows = [
        (kept, put, int(more))
        for building in expanding.buildings
        for kept, put, more in zip(building.kept, building.put, building.more, strict=True)
    ]
    return np.array(rows, np.uint64).reshape(-1, 3)


def _kinds(model: Model) -> NDArray[np.uint8]:
    """Return for each step, a tick and a start what sort it is; all are asked for."""
    kinds = [ASKED | (IS_PLANT if step.kind is StepKind.PLANT else 0) for step in model.steps]
    return np.array([*kinds, ASKED, ASKED], np.uint8)
