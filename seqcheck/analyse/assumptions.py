"""Lists what every verdict rests on: the general assumptions, and the strict time bounds of the model at hand."""

from collections.abc import Iterator
from enum import Enum

from seqcheck.model.expression import Apply, Expression, Op, Sense, reads
from seqcheck.model.model import Model, Timer, TimerKind, condition_of

ORDERED = frozenset({Op.LESS, Op.AT_MOST, Op.GREATER, Op.AT_LEAST, Op.EQUAL, Op.UNEQUAL})

GENERAL = (
    "the controller and everything at once react without delay",
    "one thing happens at a time",
    "no fault occurs but those named with a verdict, each at most once",
    "hazards and requirements are judged in settled states, not while trips and at-once rules are still acting",
)


def assumptions(model: Model) -> tuple[str, ...]:
    """Return the assumptions in words, the general ones first."""
    tick = f"time passes in ticks of {float(model.tick_s):g} s"
    return (*GENERAL, tick, *dict.fromkeys(_strict_bounds(model)))


def _strict_bounds(model: Model) -> Iterator[str]:
    """Yield the conditions under which two actions inside one tick can matter."""
    check = "verify again at a finer tick to check it"
    for timer in model.timers:
        for place, expression in _places(model):
            for bound in _bounds(model, timer, expression, Polarity.AS_IT_IS):
                yield f"strict time bound: “{bound}” in {place}; {check}"
        for place, value in _written(model):
            if timer.variable in reads(value, model.sensor_values):
                yield f"strict time bound: a value of {timer.name} is written by {place}; {check}"
    for reaction in model.reactions:
        read = reads(reaction.when.test, model.sensor_values)
        for timer in model.timers:
            if timer.variable in read:
                yield f"strict time bound: “{reaction.name}” acts the moment {timer.name} elapses; {check}"


def _places(model: Model) -> Iterator[tuple[str, Expression]]:
    for step in model.steps:
        for guard in step.guards:
            yield f"“{step.name}”", guard.test
    for reaction in model.reactions:
        yield f"“{reaction.name}”", reaction.when.test
    for timer in model.timers:
        yield f"the input of {timer.name}", timer.input.test
    for p in model.properties:
        yield p.id, condition_of(p.rule).test


def _written(model: Model) -> Iterator[tuple[str, Expression]]:
    programs = [(step.name, step.program) for step in model.steps]
    programs += [(reaction.name, reaction.program) for reaction in model.reactions]
    for name, program in programs:
        for assign in program:
            yield from ((f"“{name}”", value) for value in assign.values)


class Polarity(Enum):
    """Whether a part of a condition helps it to be true by being true, by being false, or either way."""

    AS_IT_IS = "as it is"
    TURNED = "turned"
    EITHER = "either"


TURNED = {
    Polarity.AS_IT_IS: Polarity.TURNED,
    Polarity.TURNED: Polarity.AS_IT_IS,
    Polarity.EITHER: Polarity.EITHER,
}


def _bounds(model: Model, timer: Timer, expression: Expression, polarity: Polarity) -> Iterator[str]:
    """Yield the parts of a condition that make it true only while *timer* has not elapsed."""
    if expression == timer.q:
        yield from _of_output(timer, polarity)
    elif isinstance(expression, Sense):
        yield from _bounds(model, timer, model.sensors[expression.sensor].value, polarity)
    elif isinstance(expression, Apply) and expression.op in ORDERED and timer.et in expression.operands:
        yield f"{timer.name}.ET {expression.op.value} …"
    elif isinstance(expression, Apply):
        within = Polarity.EITHER
        if expression.op in {Op.AND, Op.OR}:
            within = polarity
        elif expression.op is Op.NOT:
            within = TURNED[polarity]
        for operand in expression.operands:
            yield from _bounds(model, timer, operand, within)


def _of_output(timer: Timer, polarity: Polarity) -> Iterator[str]:
    """Yield a timer's Q if it makes a condition true before the timer has elapsed: a TON's when false, others' when true."""
    if timer.kind is TimerKind.TON and polarity is not Polarity.AS_IT_IS:
        yield f"NOT {timer.name}.Q"
    elif timer.kind is not TimerKind.TON and polarity is not Polarity.TURNED:
        yield f"{timer.name}.Q"
