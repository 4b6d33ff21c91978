"""Tells from a state alone what a trip's condition will be right after a step or a tick, before anything reacts.

A condition is rewritten: what the step writes stands in the place of what it writes to, sensors are written out. A timer stands
as it is brought up to date in the first round after a tick. What at-once rules and earlier trips do in that round is not
foreseen.
"""

from collections.abc import Mapping

from seqcheck.model.expression import TRUE, Apply, Const, Expression, Load, Op, Sense, conjunction, negation, reads
from seqcheck.model.model import Model, Program, Step, Timer, TimerKind
from seqcheck.model.run import StepKind

BY_PEOPLE = (StepKind.PERSON, StepKind.PANEL, StepKind.COMMAND)


def rewritten(model: Model, expression: Expression, written: Mapping[int, Expression]) -> Expression:
    """Return an expression with variables replaced, through sensors too. The model must be without faults."""
    match expression:
        case Load(variable=place):
            return written.get(place, expression)
        case Sense(sensor=number):
            return rewritten(model, model.sensors[number].value, written)
        case Apply(op=op, operands=operands):
            return Apply(op, tuple(rewritten(model, operand, written) for operand in operands))
        case _:
            return expression


def after_program(model: Model, program: Program) -> dict[int, Expression]:
    """Return what each variable that a program writes is after it, as an expression over the state before."""
    written: dict[int, Expression] = {}
    for assign in program:
        fresh = [rewritten(model, value, written) for value in assign.values]
        written |= dict(zip(assign.targets, fresh, strict=True))
    return written


def after_tick(model: Model) -> dict[int, Expression]:
    """Return what each timer is in the first round after a tick."""
    return {timer.variable: _counted(timer) for timer in model.timers}


def _counted(timer: Timer) -> Expression:
    now, pt, in_ = Load(timer.variable), Const(timer.pt), timer.input.test
    later = Apply(Op.MIN, (Apply(Op.PLUS, (now, Const(1))), pt))
    match timer.kind:
        case TimerKind.TON:
            return Apply(Op.SEL, (in_, Const(0), later))
        case TimerKind.TOF:
            return Apply(Op.SEL, (in_, later, Const(0)))
        case TimerKind.TP:
            runs = conjunction(Apply(Op.AT_LEAST, (now, Const(1))), Apply(Op.AT_MOST, (now, pt)))
            counted = Apply(Op.SEL, (runs, now, Apply(Op.PLUS, (now, Const(1)))))
            over = conjunction(Apply(Op.EQUAL, (counted, Const(timer.pt + 1))), negation(in_))
            return Apply(Op.SEL, (over, counted, Const(0)))


def through_sensors(model: Model, expression: Expression) -> frozenset[int]:
    """Return the variables that an expression reads, through sensors too."""
    return reads(expression, model.sensor_values)


def possible(step: Step) -> Expression:
    """Return when a step can be taken."""
    return conjunction(step.ready, *(guard.test for guard in step.guards))


def may_tick(model: Model) -> Expression:
    """Return when time can pass."""
    blocked = [
        negation(conjunction(Apply(Op.EQUAL, (Load(clock.variable), Const(clock.latest))), clock.when))
        for clock in model.clocks
        if clock.latest is not None
    ]
    return conjunction(*blocked) if blocked else TRUE
