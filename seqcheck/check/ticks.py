"""Turns durations into whole numbers of ticks, or says which durations near by would fit."""

from fractions import Fraction

from seqcheck.check.machine import Interval
from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.diagnostics.span import Span
from seqcheck.syntax.document import Document, Period
from seqcheck.syntax.durations import spell

MOST_TICKS = 1_000_000_000
_DEFAULT_TICK = Fraction(1)


class Ticks:
    """The tick of one file. While it could not be read, nothing is said about durations."""

    def __init__(self, document: Document, sink: Sink) -> None:
        self._sink = sink
        self._tick: Fraction | None = _DEFAULT_TICK
        if document.tick is not None:
            self._tick = document.tick.seconds
            if self._tick == 0:
                sink.report(Code.ZERO_TIME, document.tick.span, "the tick is no time at all", "write it like `tick: 500 ms`")
                self._tick = None
        elif document.tick_given:
            self._tick = None

    @property
    def tick_s(self) -> Fraction:
        """Seconds of one tick; one second if it could not be read."""
        return self._tick or _DEFAULT_TICK

    def count(self, seconds: Fraction, span: Span) -> int | None:
        """Return how many ticks *seconds* are, or report that they are no whole number of them."""
        if self._tick is None:
            return None
        ticks = seconds / self._tick
        if ticks.denominator != 1:
            below = int(ticks) * self._tick
            choices = [spell(fitting) for fitting in (below, below + self._tick) if fitting > 0]
            message = f"{spell(seconds)} is not a whole number of ticks of {spell(self._tick)}"
            self._sink.report(
                Code.NOT_WHOLE_TICKS, span, message, f"write {' or '.join(choices)}, or choose a tick that divides it"
            )
            return None
        if ticks > MOST_TICKS:
            message = f"{spell(seconds)} is {int(ticks):,} ticks; the most is {MOST_TICKS:,}"
            self._sink.report(Code.TOO_LONG, span, message, "shorten it, or choose a longer tick")
            return None
        return int(ticks)

    def at_least_one(self, period: Period, what: str) -> int | None:
        """Return the ticks of a duration that must be longer than nothing."""
        if period.seconds == 0:
            self._sink.report(Code.ZERO_TIME, period.span, f"{what} is no time at all", "give it at least one tick")
            return None
        return self.count(period.seconds, period.span)

    def interval(self, period: Period | None) -> Interval | None:
        """Return the bounds of a plant rule in ticks; without a period: at any time, or never."""
        if period is None:
            return Interval(earliest=0, latest=None, at_once=False, source="")
        if period.latest is not None and period.latest < period.seconds:
            message = f"the interval ends at {spell(period.latest)}, before it begins at {spell(period.seconds)}"
            self._sink.report(
                Code.BACKWARDS, period.span, message, f"did you mean {spell(period.latest)}..{spell(period.seconds)}?"
            )
            return None
        earliest = self.count(period.seconds, period.span)
        latest = None if period.latest is None else self.count(period.latest, period.span)
        if earliest is None or (period.latest is not None and latest is None):
            return None
        return Interval(earliest=earliest, latest=latest, at_once=latest == 0, source=period.source)
