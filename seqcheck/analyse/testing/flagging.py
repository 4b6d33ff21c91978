"""Searches a large machine for trips that no situation foretells: each gets a flag that stays up once it changed something.

A flag that never goes up settles that nothing of the kind can be seen. One that does gives a run that may show it.
"""

from collections.abc import Sequence
from itertools import pairwise

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.procedures.moving import Moves
from seqcheck.analyse.testing.goals import TRIP
from seqcheck.analyse.testing.records import Item
from seqcheck.analyse.testing.trails import Trail, moves_along, moves_from, with_move
from seqcheck.model.expression import Apply, Const, Expression, Load, Op, conjunction
from seqcheck.model.model import (
    Assign,
    Guard,
    Model,
    Observer,
    Property,
    Reachable,
    Reaction,
    Variable,
    VariableKind,
)
from seqcheck.search.engine import Engine, Limits, Trace
from seqcheck.search.engine import Observer as Told

MOST_FLAGS = 6
"""Each flag may double the states."""


class Flagged(Struct, frozen=True, kw_only=True):
    """Trails in which a flag goes up, and the items whose flag never does."""

    trails: tuple[Trail, ...]
    never: frozenset[Item]


def flagged(model: Model, moves: Moves, missing: Sequence[Item], engine: Engine, asked: tuple[Limits, Told]) -> Flagged:
    """Search for what trips write that is still missing."""
    wanted = [item for item in missing if item.sort == TRIP][:MOST_FLAGS]
    if not wanted:
        return Flagged(trails=(), never=frozenset())
    got = engine.explore(with_flags(model, wanted), (), *asked)
    traces = [got.found[number] for number in range(len(wanted)) if number in got.found]
    unseen = [item for number, item in enumerate(wanted) if number not in got.found]
    trails = tuple(trail for trace in traces for trail in _trails(moves, trace, len(model.variables)))
    return Flagged(trails=trails, never=frozenset(unseen if got.stopped is None else ()))


class Flag(Struct, frozen=True, kw_only=True):
    """A flag: its variable *up*, and the variable *before* that holds what the item's variable was in the last settled state.

    *none* is the value of *before* as long as there was no settled state.
    """

    item: Item
    up: int
    before: int
    none: int


def with_flags(model: Model, wanted: Sequence[Item]) -> Model:
    """Return the model with a flag for each item, and the question whether it can go up."""
    first = len(model.variables)
    flags = [
        Flag(item=item, up=first + 2 * n, before=first + 2 * n + 1, none=model.variables[item.place].lowest - 1)
        for n, item in enumerate(wanted)
    ]
    added = (variable for flag in flags for variable in _variables(model, flag))
    reactions = (
        _raising(one, [flag for flag in flags if flag.item.number == number]) for number, one in enumerate(model.reactions)
    )
    targets, values = tuple(flag.before for flag in flags), tuple(Load(flag.item.place) for flag in flags)
    noting = Observer(rule="what was before", program=(Assign(targets=targets, values=values, bounded=True),))
    return replace(
        model,
        variables=(*model.variables, *added),
        reactions=tuple(reactions),
        observers=(*model.observers, noting),
        properties=tuple(_question(flag) for flag in flags),
        procedures=(),
    )


def _variables(model: Model, flag: Flag) -> tuple[Variable, Variable]:
    of = model.variables[flag.item.place]
    kind = VariableKind.OBSERVER
    up = Variable(name=f"flag {flag.up}", kind=kind, lowest=0, highest=1, labels=(), starts=(0,), line=1)
    none = (flag.none,)
    before = Variable(name=f"before {flag.up}", kind=kind, lowest=flag.none, highest=of.highest, labels=(), starts=none, line=1)
    return up, before


def _question(flag: Flag) -> Property:
    goal = Guard(name="", test=Apply(Op.EQUAL, (Load(flag.up), Const(1))), text="")
    return Property(id=str(flag.up), text="", rule=Reachable(goal=goal), risk="", source="", line=1)


def _raising(reaction: Reaction, flags: Sequence[Flag]) -> Reaction:
    """Return a trip that raises flags where it writes another value than was there in the last settled state."""
    return replace(reaction, program=tuple(_noting(assign, flags) for assign in reaction.program))


def _noting(assign: Assign, flags: Sequence[Flag]) -> Assign:
    writes = dict(zip(assign.targets, assign.values, strict=True))
    raised = [(flag, writes[flag.item.place]) for flag in flags if flag.item.place in writes]
    values = (
        Apply(Op.MAX, (Load(flag.up), conjunction(_differs(flag, Const(flag.none)), _differs(flag, value))))
        for flag, value in raised
    )
    return replace(assign, targets=(*assign.targets, *(flag.up for flag, _ in raised)), values=(*assign.values, *values))


def _differs(flag: Flag, value: Expression) -> Expression:
    return Apply(Op.UNEQUAL, (Load(flag.before), value))


def _trails(moves: Moves, trace: Trace, size: int) -> list[Trail]:
    """Return a trail without the flags, once for each move that may be its last."""
    states = tuple(moves.number(state[:size]) for state in trace.states)
    kept = states[:1] + tuple(two for one, two in pairwise(states) if one != two)
    if len(kept) < 2:
        return []
    before = Trail(raw_start=trace.raw_start[:size], states=kept[:-1], moves=moves_along(moves, kept[:-1]))
    return [with_move(before, move, after) for move, after in moves_from(moves, kept[-2]) if after == kept[-1]]
