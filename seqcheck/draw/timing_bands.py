"""Places one band of a timing diagram: what happened on top, the lanes, the time below."""

import itertools
from collections.abc import Iterator, Sequence

from msgspec import Struct

from seqcheck.draw.timing_columns import TAIL, Band
from seqcheck.draw.timing_lanes import Lane, Lanes
from seqcheck.draw.timing_page import MARGIN, PAGE, ROW, SIZE, Anchor, Box, Sheet, Text
from seqcheck.draw.timing_text import fitted, width_of
from seqcheck.draw.timing_tracks import GUTTER, LANE, place_lanes

ROOM = PAGE - MARGIN - GUTTER
MARKS, GAP = 13.0, 10.0
THIN, PLAIN, HEAVY = 0.5, 1.4, 2.6
DOTS, DASHES = "1 3", "7 3"
ARROW, SLANT = 4.0, 3.0


class Placed(Struct, frozen=True, kw_only=True):
    """A band with the left edge of each column, the tail among them, and where the last one ends."""

    band: Band
    entries: range
    edges: tuple[float, ...]

    @staticmethod
    def of(band: Band, entries: int) -> "Placed":
        """Return the places of a band of a run with so many entries."""
        first = band.columns[0].place
        widths = [column.width for column in band.columns] + ([] if band.last else [TAIL])
        edges = tuple(itertools.accumulate(widths, initial=GUTTER))
        return Placed(band=band, entries=range(first, min(first + len(band.columns), entries)), edges=edges)

    @property
    def tail(self) -> float:
        """Where the columns end and the tail begins."""
        return self.edges[len(self.band.columns)]

    def changes(self, lane: Lane) -> bool:
        """Tell whether a lane changes in this band."""
        first = self.band.columns[0].place
        return lane.drawn(first, first + len(self.edges) - 1)

    def at(self, entry: int) -> float:
        """Return where an entry of this band is: at the end of its column."""
        return self.edges[entry - self.entries.start + 1]


def place_band(sheet: Sheet, lanes: Lanes, band: Band, *, whole: bool) -> None:
    """Place a band below what stands on the sheet.

    Unless it is the *whole* run, lanes that keep their value in it are not drawn but listed.
    """
    placed = Placed.of(band, len(lanes.entries))
    decides = placed.at(lanes.deciding) if lanes.deciding in placed.entries else None
    ends = placed.edges[-2] if band.last else None
    sheet.in_way.clear()
    from_decides = _label(sheet, "last command accepted", decides)
    from_ends = _label(sheet, lanes.ending, ends)
    _marks(sheet, lanes, placed)
    chart = sheet.y
    shown = [lane for lane in lanes.lanes if whole or placed.changes(lane)]
    tops = place_lanes(sheet, shown, placed.entries.start, placed.edges, placed.tail)
    bottom = sheet.y + 3
    instants = tuple(_instants(placed))
    sheet.shades += [Box(left, chart, right, bottom) for left, right, _ in instants]
    _time(sheet, lanes, placed, instants)
    for row, entry in itertools.product(tops, placed.entries):
        sheet.upright(placed.at(entry), row, row + LANE, THIN, DOTS)
    if decides is not None and decides != ends:
        sheet.upright(decides, from_decides, bottom, PLAIN, DASHES)
    if ends is not None:
        sheet.upright(ends, from_ends, bottom, HEAVY, "")
    if len(shown) < len(lanes.lanes):
        sheet.paragraph(unchanged("Unchanged here", [lane for lane in lanes.lanes if lane not in shown], placed.entries.start))
    sheet.y += GAP


def unchanged(head: str, lanes: Sequence[Lane], place: int = 0) -> str:
    """Return in words what lanes that are not drawn are, from a place on."""
    return f"{head}: {'; '.join(f'{lane.name} {lane.values[place]}' for lane in lanes)}."


def _label(sheet: Sheet, words: str, at: float | None) -> float:
    """Write what a line that stands out means, on a row of its own, left of the line where there is room; return its top."""
    if at is None:
        return sheet.y
    sheet.y += ROW
    (line,), cut = fitted(words, ROOM, SIZE, 1)
    width = width_of(line, SIZE)
    left = at - width - 5 if at - width - 5 >= MARGIN else min(at + 5, PAGE - MARGIN - width)
    sheet.write_lines(left, sheet.y - 3, (line,), SIZE, words if cut else "")
    return sheet.y - ROW + 3


def _marks(sheet: Sheet, lanes: Lanes, placed: Placed) -> None:
    """Place number and mark of each entry; waiting has a mark only where something follows from it."""
    for place in placed.entries:
        entry, x = lanes.entries[place], placed.at(place)
        if entry.number:
            sheet.write(x, sheet.y + ROW - 3, entry.number, SIZE, Anchor.MIDDLE)
        if not entry.quiet:
            sheet.mark(entry.kind, x, sheet.y + ROW + MARKS / 2 - 1)
    sheet.y += ROW + MARKS


def _instants(placed: Placed) -> Iterator[tuple[float, float, int]]:
    """Yield where no time passes, from and to, and the number of the column before which it begins."""
    columns = placed.band.columns
    for waits, same in itertools.groupby(range(len(columns)), key=lambda number: columns[number].waits):
        held = list(same)
        if not waits:
            yield placed.edges[held[0]], placed.edges[held[-1] + 1], held[0]
    for number in range(len(columns)):
        if columns[number].waits and number + 1 < len(columns) and columns[number + 1].waits:
            yield placed.edges[number + 1], placed.edges[number + 1], number + 1


def _time(sheet: Sheet, lanes: Lanes, placed: Placed, instants: tuple[tuple[float, float, int], ...]) -> None:
    """Draw how long waits are, and below when it is."""
    sheet.y += 3
    line = sheet.y + 6
    for column, left, right in zip(placed.band.columns, placed.edges, placed.edges[1:], strict=False):
        if column.waits:
            _length(sheet, left, right, line, broken=column.broken)
            sheet.write((left + right) / 2, line + ROW + 1, lanes.entries[column.place].wait, SIZE, Anchor.MIDDLE)
    if any(column.waits for column in placed.band.columns):
        sheet.y = line + ROW + 4
    rows: list[float] = []
    for left, right, number in sorted(instants):
        place = placed.entries.start + number
        now = f"at {lanes.entries[place - 1].now if place else lanes.at_first}"
        _when(sheet, now, (left + right) / 2, rows)
    sheet.y += ROW * len(rows)


def _length(sheet: Sheet, left: float, right: float, y: float, *, broken: bool) -> None:
    """Draw an arrow from end to end of a wait; two strokes break it where it is not to scale."""
    middle = (left + right) / 2
    parts = ((left, middle - SLANT), (middle + SLANT, right)) if broken else ((left, right),)
    for start, end in parts:
        sheet.line((start, y), (end, y), weight=THIN * 2)
    for tip, back in ((left, ARROW), (right, -ARROW)):
        sheet.line((tip + back, y - ARROW / 2), (tip, y), (tip + back, y + ARROW / 2), weight=THIN * 2)
    for x in (middle - SLANT, middle + SLANT) if broken else ():
        sheet.line((x - 2, y + ARROW), (x + 2, y - ARROW), weight=THIN * 2)


def _when(sheet: Sheet, words: str, middle: float, rows: list[float]) -> None:
    """Write a time below its moment, on the first row that is free there; *rows* is how far each row is taken."""
    width = width_of(words, SIZE)
    left = min(max(middle - width / 2, MARGIN), PAGE - MARGIN - width)
    row = next((number for number, taken in enumerate(rows) if taken + 4 <= left), len(rows))
    if row == len(rows):
        rows.append(0.0)
    rows[row] = left + width
    sheet.put(Text(x=left, y=sheet.y + ROW * row + ROW - 3, words=words, size=SIZE))
