"""Lists what every verdict rests on: the general assumptions, and the strict time bounds of the model at hand."""

from collections.abc import Iterator

from seqcheck.model.expression import Apply, Expression, Load, Op, negation, walk
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
    for timer in model.timers:
        for place, expression in _places(model):
            for bound in _bounds(timer, expression):
                yield f"strict time bound: “{bound}” in {place}; verify again at a finer tick to check it"
    for reaction in model.reactions:
        for timer in model.timers:
            if any(_reads(part, timer) for part in walk(reaction.when.test)):
                yield (
                    f"strict time bound: “{reaction.name}” acts the moment {timer.name} elapses; "
                    "verify again at a finer tick to check it"
                )


def _places(model: Model) -> Iterator[tuple[str, Expression]]:
    for step in model.steps:
        for guard in step.guards:
            yield f"“{step.name}”", guard.test
    for reaction in model.reactions:
        yield f"“{reaction.name}”", reaction.when.test
    for timer in model.timers:
        yield f"the input of {timer.name}", timer.input.test
    for sensor in model.sensors:
        yield f"the sensor {sensor.name}", sensor.value
    for p in model.properties:
        yield p.id, condition_of(p.rule).test


def _bounds(timer: Timer, expression: Expression) -> Iterator[str]:
    """Yield the parts of an expression that are true only while *timer* has not elapsed."""
    for part in walk(expression):
        if part == timer.q and timer.kind is not TimerKind.TON:
            yield f"{timer.name}.Q"
        elif isinstance(part, Apply) and timer.kind is TimerKind.TON and part == negation(timer.q):
            yield f"NOT {timer.name}.Q"
        elif isinstance(part, Apply) and part.op in ORDERED and part != timer.q and timer.et in part.operands:
            yield f"{timer.name}.ET {part.op.value} …"


def _reads(part: Expression, timer: Timer) -> bool:
    return isinstance(part, Load) and part.variable == timer.variable
