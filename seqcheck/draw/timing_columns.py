"""How wide each entry of a run is drawn, and where the picture breaks into bands.

A column stands before each entry and shows the values that held until then; one more shows those at the end. Steps take no
time and get a small fixed width, more only where a value's text needs it. Waits are to scale; the scale is the one at which
most of them are neither too narrow to be read nor too wide. The others are cut short or stretched, and marked as broken.
"""

import itertools
from collections.abc import Iterator, Sequence
from functools import lru_cache

from msgspec import Struct

from seqcheck.draw.timing_lanes import Entry, Lane, Lanes
from seqcheck.draw.timing_page import SIZE
from seqcheck.draw.timing_text import fitted, width_of
from seqcheck.model.run import StepKind

STEP, AFTER_WAIT, END, TAIL = 30.0, 14.0, 48.0, 16.0
WAIT_LEAST = 48.0
WAIT_MOST = (80.0, 110.0, 160.0, 260.0)
"""The width of the widest wait: the one of these with which there are fewest bands, and then fewest waits not to scale."""

SHRINK = 24.0
VALUE_LEAST, VALUE_MOST, VALUE_PAD = 40.0, 100.0, 16.0


class Column(Struct, frozen=True, kw_only=True):
    """What stands before entry *place* (after the last one where there is no such entry). *broken*: not to scale."""

    place: int
    width: float
    waits: bool
    broken: bool = False


class Band(Struct, frozen=True, kw_only=True):
    """Columns side by side. *last*: the run ends here; else a tail shows what comes after the last column's entry."""

    columns: tuple[Column, ...]
    last: bool

    @property
    def width(self) -> float:
        """The width of all columns and the tail."""
        return sum(column.width for column in self.columns) + (0.0 if self.last else TAIL)


def bands_of(lanes: Lanes, room: float) -> tuple[Band, ...]:
    """Return the bands of a run, none wider than *room*, as few as can be and of like width."""
    tried = [(_bands(lanes, most, room), most) for most in WAIT_MOST]
    bands, most = min(tried, key=lambda one: (len(one[0]), _broken(one[0])))
    while len(bands) > 1 and len(narrower := _bands(lanes, most, room := room - SHRINK)) == len(bands):
        bands = narrower
    return bands


def _broken(bands: Sequence[Band]) -> int:
    return sum(1 for band in bands for column in band.columns if column.broken)


def _bands(lanes: Lanes, most: float, room: float) -> tuple[Band, ...]:
    """Fill one band after the other; *most* is the width of the widest wait."""
    plain = (*_columns(lanes.entries, most), Column(place=len(lanes.entries), width=END, waits=False))
    bands: list[Band] = []
    first = 0
    while first < len(plain):
        chosen, until = _band(lanes, plain, first, first + 1), first + 1
        while until < len(plain) and (longer := _band(lanes, plain, first, until + 1)).width <= room:
            chosen, until = longer, until + 1
        bands.append(chosen)
        first = until
    return tuple(bands)


def _columns(entries: Sequence[Entry], most: float) -> Iterator[Column]:
    scale = _scale([entry for entry in entries if entry.kind is StepKind.WAIT], most)
    quiet = False
    for place, entry in enumerate(entries):
        if entry.kind is not StepKind.WAIT:
            yield Column(place=place, width=AFTER_WAIT if quiet else STEP, waits=False)
        else:
            least, true = _least(entry), scale * entry.ticks
            broken = not least <= true <= max(least, most)
            yield Column(place=place, width=max(least, min(true, most)), waits=True, broken=broken)
        quiet = entry.quiet


def _least(wait: Entry) -> float:
    return max(WAIT_LEAST, width_of(wait.wait, SIZE) + 8)


def _scale(waits: Sequence[Entry], most: float) -> float:
    """Return the width of a tick at which most waits are to scale; the widest such, so that it is long waits that are cut."""
    scales = sorted({_least(wait) / wait.ticks for wait in waits}, reverse=True)
    return max(scales, key=lambda scale: _to_scale(waits, scale, most), default=0.0)


def _to_scale(waits: Sequence[Entry], scale: float, most: float) -> int:
    return sum(1 for wait in waits if _least(wait) <= scale * wait.ticks <= max(_least(wait), most))


def _band(lanes: Lanes, plain: Sequence[Column], first: int, until: int) -> Band:
    """Return columns *first* up to *until* as a band, widened so that each value that begins in it can be read."""
    columns = list(plain[first:until])
    spans = [
        (end - start, start, end, room_for(lane.values[first + start]) - _in_tail(lane, first + end, until))
        for lane in lanes.lanes
        if lane.levels is None
        for start, end in spans_of(lane, first, until)
    ]
    for _, start, end, needed in sorted(spans):
        missing = needed - sum(column.width for column in columns[start:end])
        if missing > 0:
            _widen(columns, start, end, missing)
    return Band(columns=tuple(columns), last=until == len(plain))


def _in_tail(lane: Lane, end: int, until: int) -> float:
    """Return the room that a value has in the tail, if it goes on there."""
    return TAIL if end == until and lane.values[until - 1 : until + 1].count(lane.values[until - 1]) == 2 else 0.0


def _widen(columns: list[Column], start: int, end: int, missing: float) -> None:
    """Widen the steps among some columns; where there is none, the last wait, which is then not to scale."""
    steps = [number for number in range(start, end) if not columns[number].waits] or [end - 1]
    for number in steps:
        one = columns[number]
        columns[number] = Column(
            place=one.place, width=one.width + missing / len(steps), waits=one.waits, broken=one.broken or one.waits
        )


def spans_of(lane: Lane, first: int, until: int) -> Iterator[tuple[int, int]]:
    """Yield from and up to which column, counted from *first*, a lane keeps its value."""
    places = range(until - first)
    for _, same in itertools.groupby(places, key=lambda place: lane.values[first + place]):
        held = list(same)
        yield held[0], held[-1] + 1


def room_for(value: str) -> float:
    """Return the width that a value's text needs in a lane."""
    lines, _ = value_lines(value)
    return max(width_of(line, SIZE) for line in lines) + VALUE_PAD


@lru_cache(maxsize=1024)
def value_lines(value: str) -> tuple[tuple[str, ...], bool]:
    """Return a value on one line or two, as narrow as goes without cutting a word, and whether it had to be shortened."""
    width = VALUE_LEAST
    while width < VALUE_MOST:
        lines, cut = fitted(value, width, SIZE, 2)
        if not cut and " ".join(lines) == " ".join(value.split()):
            return lines, False
        width += 6
    return fitted(value, VALUE_MOST, SIZE, 2)
