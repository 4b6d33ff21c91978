"""The timers of IEC 61131-3, one at a time, as plain data: how each starts, is brought up to date, advances, and reads.

ET counts ticks up to `pt`. A TOF starts timed out. A TP that is not running is idle (ET 0) or finished (ET = pt).
"""

from typing import assert_never

from msgspec import Struct

from seqcheck.check.machine import Timer, TimerKind


class TimerState(Struct, frozen=True, kw_only=True):
    """What a timer remembers. *running* is for a TP only: its pulse lasts."""

    elapsed: int
    running: bool = False


def initial(timer: Timer) -> TimerState:
    """Return how a timer is before anything has happened."""
    return TimerState(elapsed=timer.pt_ticks if timer.kind is TimerKind.TOF else 0)


def brought_up_to_date(timer: Timer, state: TimerState, *, signal: bool) -> TimerState:
    """Return the timer as it is once it has seen its input; no time passes."""
    match timer.kind:
        case TimerKind.TON:
            return state if signal else TimerState(elapsed=0)
        case TimerKind.TOF:
            return TimerState(elapsed=0) if signal else state
        case TimerKind.TP:
            return _pulse_up_to_date(timer, state, signal=signal)
        case _:
            assert_never(timer.kind)


def _pulse_up_to_date(timer: Timer, state: TimerState, *, signal: bool) -> TimerState:
    if state.running:
        return state
    if state.elapsed == timer.pt_ticks:
        return state if signal else TimerState(elapsed=0)
    return TimerState(elapsed=0, running=True) if signal else state


def one_tick_on(timer: Timer, state: TimerState) -> TimerState:
    """Return a timer that counts one tick later; it is not yet brought up to date."""
    elapsed = state.elapsed + 1
    return TimerState(elapsed=elapsed, running=state.running and elapsed < timer.pt_ticks)


def counts(timer: Timer, state: TimerState, *, signal: bool) -> bool:
    """Return whether a timer counts the tick that comes, its input being *signal*."""
    match timer.kind:
        case TimerKind.TON:
            return signal and state.elapsed < timer.pt_ticks
        case TimerKind.TOF:
            return not signal and state.elapsed < timer.pt_ticks
        case TimerKind.TP:
            return state.running
        case _:
            assert_never(timer.kind)


def output(timer: Timer, state: TimerState) -> bool:
    """Return Q."""
    match timer.kind:
        case TimerKind.TON:
            return state.elapsed == timer.pt_ticks
        case TimerKind.TOF:
            return state.elapsed < timer.pt_ticks
        case TimerKind.TP:
            return state.running
        case _:
            assert_never(timer.kind)
