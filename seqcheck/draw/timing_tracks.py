"""Places the lanes of one band of a timing diagram: high and low for two values, a stretch with its value as text for more."""

import itertools
from collections.abc import Iterator, Sequence

from msgspec import Struct

from seqcheck.draw.timing_columns import value_lines
from seqcheck.draw.timing_lanes import NO_VALUE, Lane
from seqcheck.draw.timing_page import MARGIN, SIZE, Anchor, Sheet, Text
from seqcheck.draw.timing_text import fitted

NAME, LEVEL, GUTTER = 112.0, 60.0, 188.0
"""Left of the gutter's end stand the names, and what high and low mean."""

HEADING, LANE = 16.0, 32.0
HIGH, LOW = 8.0, 25.0
UPPER, UNDER = 3.0, 29.5
ONE_LINE, TWO_LINES = 19.5, 13.5
SLOPE, TEXT_AT = 3.0, 8.0
FAINT, PLAIN = 0.4, 1.2


class Stretch(Struct, frozen=True, kw_only=True):
    """Where a lane keeps a value. *seen*: it is more than the tail of a band, so that its text stands there."""

    left: float
    right: float
    value: str
    seen: bool


def place_lanes(sheet: Sheet, lanes: Sequence[Lane], first: int, edges: tuple[float, ...], tail: float) -> tuple[float, ...]:
    """Place lanes, group by group; return the top of each.

    *edges* are the left edge of each column, from that of entry *first* on, and where the last one ends; a column that begins
    at *tail* is but the tail.
    """
    tops: list[float] = []
    for group, members in itertools.groupby(lanes, key=lambda lane: lane.group):
        sheet.put(Text(x=MARGIN, y=sheet.y + HEADING - 4, words=group.value, size=SIZE, bold=True))
        sheet.y += HEADING
        for lane in members:
            _name(sheet, lane)
            stretches = tuple(_stretches(lane, first, edges, tail))
            if lane.levels is None:
                _with_texts(sheet, stretches)
            else:
                _high_and_low(sheet, stretches, lane.levels)
            tops.append(sheet.y)
            sheet.y += LANE
    return tuple(tops)


def _name(sheet: Sheet, lane: Lane) -> None:
    lines, cut = fitted(lane.name, NAME, SIZE, 2)
    sheet.write_lines(MARGIN, sheet.y + (ONE_LINE if len(lines) == 1 else TWO_LINES), lines, SIZE, lane.name if cut else "")


def _stretches(lane: Lane, first: int, edges: tuple[float, ...], tail: float) -> Iterator[Stretch]:
    columns = range(len(edges) - 1)
    for value, same in itertools.groupby(columns, key=lambda column: lane.values[first + column]):
        held = list(same)
        left = edges[held[0]]
        yield Stretch(left=left, right=edges[held[-1] + 1], value=value, seen=left < tail)


def _high_and_low(sheet: Sheet, stretches: tuple[Stretch, ...], levels: tuple[str, str]) -> None:
    top = sheet.y
    for words, baseline in zip(reversed(levels), (HIGH + 3.5, LOW + 3.5), strict=True):
        (line,), cut = fitted(words, LEVEL, SIZE, 1)
        sheet.put(Text(x=GUTTER - 5, y=top + baseline, words=line, size=SIZE, anchor=Anchor.END, whole=words if cut else ""))
        if cut:
            sheet.cut[words] = None
    points: list[tuple[float, float]] = []
    for one in stretches:
        y = top + (HIGH if one.value == levels[1] else LOW)
        points += [(one.left, y), (one.right, y)]
    sheet.line(*points, weight=PLAIN)
    sheet.line((GUTTER, top + LOW), (stretches[-1].right, top + LOW), weight=FAINT, dash="2 3")


def _with_texts(sheet: Sheet, stretches: tuple[Stretch, ...]) -> None:
    top = sheet.y
    for number, one in enumerate(stretches):
        begins, ends = number > 0, number < len(stretches) - 1
        left, right = one.left + SLOPE * begins, one.right - SLOPE * ends
        dash = "3 3" if one.value == NO_VALUE else ""
        for y in (UPPER, UNDER):
            sheet.line((left, top + y), (right, top + y), weight=PLAIN, dash=dash)
        if begins:
            sheet.line((one.left - SLOPE, top + UPPER), (one.left + SLOPE, top + UNDER), weight=PLAIN)
            sheet.line((one.left - SLOPE, top + UNDER), (one.left + SLOPE, top + UPPER), weight=PLAIN)
        if one.seen:
            lines, cut = value_lines(one.value)
            at = top + (ONE_LINE if len(lines) == 1 else TWO_LINES)
            sheet.write_lines(one.left + TEXT_AT, at, lines, SIZE, one.value if cut else "")
