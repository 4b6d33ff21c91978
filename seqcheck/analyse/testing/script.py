"""Turns a trail into what a tester does: steps, and waits until something is seen; nobody chooses the plant's timing."""

from collections.abc import Iterator, Sequence
from enum import Enum

from msgspec import Struct

from seqcheck.analyse.procedures.moving import Moves
from seqcheck.analyse.record import SHOWN
from seqcheck.analyse.testing.foreseeing import BY_PEOPLE
from seqcheck.analyse.testing.trails import TICK, Trail
from seqcheck.model import semantics
from seqcheck.model.expression import TRUE, Apply, Const, Expression, Load, Op, conjunction, negation
from seqcheck.model.model import Model, State


class Doing(Enum):
    """What a tester does."""

    ACT = "give a step"
    UNTIL = "wait until something is seen"
    LET = "let so much time pass"


class Entry(Struct, frozen=True, kw_only=True):
    """One thing that a tester does: from one state of the trail to another, by their places.

    *changed* are the variables that are seen to change, *timers* the numbers of timers that switch; *end* is when a wait
    is over.
    """

    doing: Doing
    first: int
    last: int
    step: int = TICK
    ticks: int = 0
    changed: tuple[int, ...] = ()
    timers: tuple[int, ...] = ()
    end: Expression = TRUE


def script(model: Model, moves: Moves, trail: Trail) -> tuple[Entry, ...]:
    """Return what a tester does to follow a trail."""
    return tuple(_entries(model, [moves.states[number] for number in trail.states], trail.moves))


def _entries(model: Model, states: Sequence[State], moves: Sequence[int]) -> Iterator[Entry]:
    begun, ticks = 0, 0
    for place, move in enumerate(moves):
        acts = move != TICK and model.steps[move].kind in BY_PEOPLE
        if acts and ticks:
            yield Entry(doing=Doing.LET, first=begun, last=place, ticks=ticks)
        if acts:
            yield Entry(doing=Doing.ACT, first=place, last=place + 1, step=move)
            begun, ticks = place + 1, 0
            continue
        ticks += move == TICK
        seen = seen_change(model, states[place], states[place + 1])
        if any(seen):
            end = conjunction(*_ends(model, states[place + 1], *seen))
            yield Entry(doing=Doing.UNTIL, first=begun, last=place + 1, ticks=ticks, changed=seen[0], timers=seen[1], end=end)
            begun, ticks = place + 1, 0
    if ticks:
        yield Entry(doing=Doing.LET, first=begun, last=len(moves), ticks=ticks)


def seen_change(model: Model, before: State, after: State) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Return the variables, and the timers, that are seen to change."""
    pairs = enumerate(zip(before, after, strict=True))
    changed = tuple(n for n, (one, two) in pairs if one != two and model.variables[n].kind in SHOWN)
    timers = tuple(n for n, timer in enumerate(model.timers) if runs(model, n, before) != runs(model, n, after))
    return changed, timers


def runs(model: Model, number: int, state: State) -> bool:
    """Tell whether a timer's Q is true."""
    return bool(semantics.evaluate(model, model.timers[number].q, state))


def _ends(model: Model, state: State, changed: Sequence[int], timers: Sequence[int]) -> Iterator[Expression]:
    for place in changed:
        yield Apply(Op.EQUAL, (Load(place), Const(state[place])))
    for number in timers:
        q = model.timers[number].q
        yield q if runs(model, number, state) else negation(q)
