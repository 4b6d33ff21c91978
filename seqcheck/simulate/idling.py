"""Tells for how many ticks nothing happens but that timers count and plant clocks run, so that a long wait need not be long.

After a tick that changed nothing to be seen the next is like it, as long as no timer is about to run out and no clock has come
to its end: what acts sees only that of them. A machine in which a sensor, anything that acts by itself, or
a requirement that is followed reads a timer's ET is never idle.
"""

from collections.abc import Iterable, Iterator

from seqcheck.check.machine import Machine, Timer
from seqcheck.check.typed import Expression, Operation, ReadTimer
from seqcheck.simulate.situation import Situation, Snapshot, longest_count
from seqcheck.simulate.timers import TimerState


def is_ever_idle(machine: Machine, followed: Iterable[Expression] = ()) -> bool:
    """Tell whether nothing that acts by itself, no sensor, and nothing of what is *followed* reads a timer's ET."""
    return not any(map(reads_elapsed, (*_what_acts(machine), *followed)))


def _what_acts(machine: Machine) -> Iterator[Expression]:
    yield from (sensor.expression for sensor in machine.sensors)
    yield from (timer.input.expression for timer in machine.timers)
    yield from (rule.when.expression for rule in machine.plant)
    yield from (trip.when.expression for trip in machine.trips)
    for effects in [*(trip.effects for trip in machine.trips), *(rule.effects for rule in machine.plant)]:
        yield from (effect.value for effect in effects)


def reads_elapsed(expression: Expression) -> bool:
    """Tell whether an expression reads some timer's ET; what a sensor reads is not looked into."""
    if isinstance(expression, Operation):
        return any(map(reads_elapsed, expression.operands))
    return isinstance(expression, ReadTimer) and expression.elapsed


def idle_ticks(machine: Machine, situation: Situation, before: Snapshot) -> int:
    """Return for how many more ticks only those timers and clocks move that a tick from *before* has moved."""
    after = situation.snapshot()
    left = [
        _last_count(timer) - new.elapsed
        for timer, old, new in zip(machine.timers, before.timers, after.timers, strict=True)
        if old != new
    ]
    clocks = zip(situation.clocked_rules, before.clocks, after.clocks, strict=True)
    left += [longest_count(rule) - new for rule, old, new in clocks if old != new]
    return max(0, min(left, default=0))


def _last_count(timer: Timer) -> int:
    """Return the last ET at which a timer that counts has not run out."""
    return timer.pt_ticks - 1


def idle_away(machine: Machine, situation: Situation, before: Snapshot, ticks: int) -> None:
    """Move all that a tick from *before* has moved on by so many more ticks."""
    after = situation.snapshot()
    for timer, old, new in zip(machine.timers, before.timers, after.timers, strict=True):
        if old != new:
            situation.set_timer(timer.name, TimerState(elapsed=new.elapsed + ticks, running=new.running))
    for rule, was, now in zip(situation.clocked_rules, before.clocks, after.clocks, strict=True):
        if was != now:
            situation.set_clock(rule.name, now + ticks)
