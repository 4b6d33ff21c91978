"""Tells for how many ticks nothing happens but that timers count and plant clocks run.

A tick on which nothing else changed is followed by others like it: what settles a state reads of a timer only whether it has
run out, and of a plant clock nothing. So it goes on until a timer is about to run out or a clock has come to its end. That does
not hold where anything that acts while settling reads how far a timer is (its ET); there the answer is always 0.
"""

from collections.abc import Iterator

from seqcheck.model.expression import Apply, Expression, Sense
from seqcheck.model.model import Model, State, Timer, TimerKind, VariableKind

TIME = (VariableKind.TIMER, VariableKind.CLOCK)


def settling_reads(model: Model) -> Iterator[Expression]:
    """Yield all that is evaluated while a state settles or time passes."""
    yield from (timer.input.test for timer in model.timers)
    yield from (clock.when for clock in model.clocks)
    for reaction in model.reactions:
        yield reaction.when.test
        yield from (value for assign in reaction.program for value in assign.values)
    for observer in model.observers:
        yield from (value for assign in observer.program for value in assign.values)


def reads_beside(model: Model, expression: Expression, timer: Timer) -> bool:
    """Tell whether an expression reads a timer's variable otherwise than as its Q."""
    if expression == timer.q:
        return False
    match expression:
        case Apply(operands=operands):
            return any(reads_beside(model, operand, timer) for operand in operands)
        case Sense(sensor=number):
            return reads_beside(model, model.sensors[number].value, timer)
        case _:
            return getattr(expression, "variable", None) == timer.variable


def elapsed_matters(model: Model) -> bool:
    """Tell whether a sensor, or anything that acts while settling, reads how far a timer is."""
    read = [*settling_reads(model), *model.sensor_values]
    return any(reads_beside(model, test, timer) for test in read for timer in model.timers)


def idle_ticks(model: Model, before: State, after: State) -> int:
    """Return for how many more ticks nothing but what that tick did happens after a tick led from one state to another.

    0 if it changed more than timers and clocks, or moved one of them otherwise than by one. In *model* no ET must matter.
    """
    moved = [place for place, (one, other) in enumerate(zip(before, after, strict=True)) if one != other]
    if not moved or any(model.variables[p].kind not in TIME or after[p] != before[p] + 1 for p in moved):
        return 0
    left = [last_before_end(timer) - after[timer.variable] for timer in model.timers if timer.variable in moved]
    left += [clock.most - after[clock.variable] for clock in model.clocks if clock.variable in moved]
    return max(0, min(left))


def last_before_end(timer: Timer) -> int:
    """Return the last value of a timer that counts before its Q changes."""
    return timer.pt if timer.kind is TimerKind.TP else timer.pt - 1
