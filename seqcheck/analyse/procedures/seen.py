"""Tells what is seen after each step of the written procedures: those of its effects that then hold, whatever the timing."""

from collections.abc import Iterator, Mapping
from operator import itemgetter
from typing import assert_never

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.procedures.situations import STATE, Situations
from seqcheck.analyse.procedures.study import MOST
from seqcheck.analyse.procedures.written import Following, Written
from seqcheck.model.expression import Const, Expression
from seqcheck.model.model import Act, Model, ProcedureStep, SetPanel, Until, Wait
from seqcheck.search.engine import Limits, Observer, Progress, Stop
from seqcheck.search.limits import Allowance


class Seen(Struct, frozen=True, kw_only=True):
    """What is seen in one procedure: for each step, variables that it writes with the value that they then always have.

    *works*: as `verify` says it; None while a limit kept it open.
    """

    effects: tuple[tuple[tuple[int, int], ...], ...]
    works: bool | None


def seen_in_procedures(model: Model, limits: Limits, observer: Observer) -> tuple[Seen, ...]:
    """Follow every procedure as written. The model must be without faults. What a limit kept open shows no effects."""
    if not model.procedures:
        return ()
    allowance = Allowance(limits if limits.states is not None else replace(limits, states=MOST))

    def exceeded(count: int) -> Stop | None:
        observer(Progress(states=count, transitions=0, layer=0, waiting=0))
        return allowance.exceeded(count)

    with allowance:
        situations = Situations(model)
        following = Following(situations, exceeded)
        return tuple(_seen(situations, following.follow(number)) for number in range(len(model.procedures)))


def _seen(situations: Situations, written: Written) -> Seen:
    steps = situations.model.procedures[written.procedure].steps
    turns = (*written.line.first[1:], written.line.end)
    effects = [
        tuple(_agreed(situations, dict(_written_by(situations.model, step)), written.arrivals.get(cell, [])))
        for step, cell in zip(steps, turns, strict=True)
    ]
    works = None if written.stopped is not None else written.works
    return Seen(effects=tuple(effects) if works is not None else ((),) * len(steps), works=works)


def _written_by(model: Model, step: ProcedureStep) -> Iterator[tuple[int, Expression]]:
    """Yield the variables that a step of a procedure writes, and what it writes; of several the last counts."""
    match step:
        case Act(step=number):
            numbers: tuple[int, ...] = (number,)
        case SetPanel(steps=numbers):
            pass
        case Wait() | Until():
            numbers = ()
        case _:
            assert_never(step)
    for number in numbers:
        for assign in model.steps[number].program:
            yield from zip(assign.targets, assign.values, strict=True)


def _agreed(situations: Situations, effects: Mapping[int, Expression], arrivals: list[int]) -> Iterator[tuple[int, int]]:
    """Yield those variables that have one value in all situations in which the next step's turn comes: that written."""
    states = [situations.moves.states[situation & STATE] for situation in arrivals]
    for place, written in sorted(effects.items(), key=itemgetter(0)):
        values = {state[place] for state in states}
        if len(values) == 1 and not (isinstance(written, Const) and written.value not in values):
            yield place, values.pop()
