"""Brings a situation to rest after a step, and lets one tick pass. It decides nothing about who may act."""

from collections.abc import Collection
from typing import Final

from msgspec import Struct, field

from seqcheck.check.machine import Machine, PlantRule, Timer, TimerKind
from seqcheck.model.run import Endless
from seqcheck.simulate import timers
from seqcheck.simulate.errors import StepFailsError
from seqcheck.simulate.situation import Situation, Snapshot, longest_count

MOST_ROUNDS: Final = 10_000
"""After so many rounds without rest, settling counts as never ending."""


class _Rounds(Struct):
    """The rounds so far: the state after each, and which rules and timers changed something in it."""

    number_of: dict[Snapshot, int]
    changed: list[set[int]] = field(default_factory=list)
    acted: dict[str, None] = field(default_factory=dict)


def settle(machine: Machine, situation: Situation, *, counting: Collection[str] = ()) -> tuple[str, ...]:
    """Bring the situation to rest; return the trips and at-once rules that changed something, by first acting.

    The timers named in *counting* count one tick when they are first brought up to date.
    Raise `StepFailsError` if it never comes to rest, leaves a range or has no value somewhere.
    """
    before = situation.snapshot()
    rounds = _Rounds(number_of={} if counting else {before: 0})
    while len(rounds.changed) < MOST_ROUNDS:
        _play_round(machine, situation, rounds, counting)
        after = situation.snapshot()
        if after == before and not counting:
            _reset_clocks(situation)
            return tuple(rounds.acted)
        if after in rounds.number_of:
            raise StepFailsError(_endless(machine, rounds, since=rounds.number_of[after]))
        rounds.number_of[after] = len(rounds.changed)
        before = after
        counting = ()
    raise StepFailsError(_endless(machine, rounds, since=0))


def _play_round(machine: Machine, situation: Situation, rounds: _Rounds, counting: Collection[str]) -> None:
    """Timers, then trips, then at-once rules; each is numbered in the order in which endless settling names them.

    What trips and timers ask is worked out without power too, and then comes to nothing.
    """
    changed: set[int] = set()
    for timer_number, timer in enumerate(machine.timers, start=len(machine.trips) + len(machine.plant)):
        if _bring_up_to_date(situation, timer, counts=timer.name in counting):
            changed.add(timer_number)
    for number, trip in enumerate(machine.trips):
        acts = situation.holds(trip.when, trip.name) and not situation.power_lost
        if acts and situation.apply(trip.effects, trip.name):
            changed.add(number)
            rounds.acted.setdefault(trip.name)
    for number, rule in enumerate(machine.plant, start=len(machine.trips)):
        acts = rule.interval.at_once and situation.holds(rule.when, rule.name)
        if acts and situation.apply(rule.effects, rule.name):
            changed.add(number)
            rounds.acted.setdefault(rule.name)
    rounds.changed.append(changed)


def _bring_up_to_date(situation: Situation, timer: Timer, *, counts: bool) -> bool:
    """Let a timer see its input, and a tick if it *counts* one; return whether that changed it."""
    old = situation.timer_state(timer.name)
    signal = situation.holds(timer.input, timer.name) and not situation.power_lost
    new = timers.brought_up_to_date(timer, timers.one_tick_on(timer, old) if counts else old, signal=signal)
    situation.set_timer(timer.name, new)
    return new != old


def _reset_clocks(situation: Situation) -> None:
    for rule in situation.clocked_rules:
        if not situation.holds(rule.when, rule.name):
            situation.set_clock(rule.name, 0)


def _endless(machine: Machine, rounds: _Rounds, *, since: int) -> Endless:
    names = [trip.name for trip in machine.trips]
    names += [rule.name for rule in machine.plant]
    names += [timer.name for timer in machine.timers]
    return Endless(names=tuple(names[number] for number in sorted(set().union(*rounds.changed[since:]))))


def what_must_happen_first(situation: Situation) -> tuple[PlantRule, ...]:
    """Return the plant rules that have reached their latest time, so that no time can pass."""
    return tuple(
        rule
        for rule in situation.clocked_rules
        if rule.interval.latest is not None
        and situation.clock(rule.name) >= rule.interval.latest
        and situation.holds(rule.when, rule.name)
    )


def let_a_tick_pass(machine: Machine, situation: Situation) -> tuple[str, ...]:
    """Advance plant clocks by one and return the timers that count, all as the settled state before it says.

    It does not settle: the timers count the tick when they are next brought up to date.
    """
    counting = []
    for timer in machine.timers:
        asked = timer.kind is not TimerKind.TP and situation.holds(timer.input, timer.name)
        signal = asked and not situation.power_lost
        if timers.counts(timer, situation.timer_state(timer.name), signal=signal):
            counting.append(timer.name)
    running = [rule for rule in situation.clocked_rules if situation.holds(rule.when, rule.name)]
    for rule in running:
        situation.set_clock(rule.name, min(situation.clock(rule.name) + 1, longest_count(rule)))
    return tuple(counting)
