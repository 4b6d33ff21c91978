"""Places a run as a timing diagram on a page as wide as A4 portrait: bands, then legend, what did not change, what happened."""

from seqcheck.draw.drawing import About
from seqcheck.draw.timing_bands import ROOM, place_band, unchanged
from seqcheck.draw.timing_columns import Band, bands_of
from seqcheck.draw.timing_lanes import Entry, Lanes
from seqcheck.draw.timing_page import MARGIN, MEANINGS, PAGE, ROW, SIZE, Page, Sheet, Text
from seqcheck.draw.timing_text import lines_of, width_of
from seqcheck.model.run import StepKind

TITLE = 14.0
WHOLE = PAGE - 2 * MARGIN
LIST_GAP, NUMBER, AFTER_MARK = 16.0, 22.0, 16.0
HALF = (WHOLE - LIST_GAP) / 2


def page_of(lanes: Lanes, about: About) -> Page:
    """Return the whole diagram, with everything in its place."""
    sheet = Sheet()
    for line in lines_of(lanes.title, WHOLE, TITLE, bold=True):
        sheet.y += TITLE + 3
        sheet.put(Text(x=MARGIN, y=sheet.y - 3, words=line, size=TITLE, bold=True))
    sheet.paragraph(about.words)
    sheet.y += 6
    bands = bands_of(lanes, ROOM)
    for band in bands:
        place_band(sheet, lanes, band, whole=len(bands) == 1)
    if lanes.because:
        sheet.paragraph(lanes.because, bold=True)
        sheet.y += 4
    _steps(sheet, lanes)
    _legend(sheet, lanes, bands)
    if lanes.unchanged:
        sheet.paragraph(unchanged("Unchanged", lanes.unchanged))
    if sheet.cut:
        sheet.paragraph("In full: " + "; ".join(f"“{name}”" for name in sheet.cut) + ".")
    sheet.paragraph("A run of the model of the machine, under its assumptions.")
    return sheet.page(lanes.title, _description(lanes))


def _description(lanes: Lanes) -> str:
    """Return the run in words, for whoever cannot see the picture."""
    told = "; ".join(_told(entry) for entry in lanes.entries if not entry.quiet) or "no step"
    return f"Timing diagram. {told}. {lanes.because or lanes.ending}"


def _told(entry: Entry) -> str:
    return f"{entry.number + ', ' if entry.number else ''}at {entry.now}: {entry.says}"


def _steps(sheet: Sheet, lanes: Lanes) -> None:
    """List in two columns of like height what happened, each with its mark and number."""
    entries = [entry for entry in lanes.entries if not entry.quiet]
    wrapped = [lines_of(f"at {e.now}: {e.says}", HALF - AFTER_MARK - NUMBER, SIZE) for e in entries]
    total = sum(map(len, wrapped))
    top, lowest, x, done = sheet.y, sheet.y, MARGIN, 0
    for entry, lines in zip(entries, wrapped, strict=True):
        if x == MARGIN and done * 2 >= total:
            x, sheet.y = MARGIN + HALF + LIST_GAP, top
        sheet.mark(entry.kind, x + 5, sheet.y + ROW - 6.5)
        if entry.number:
            sheet.write(x + AFTER_MARK, sheet.y + ROW - 3, entry.number, SIZE)
        for line in lines:
            sheet.y += ROW
            sheet.write(x + AFTER_MARK + NUMBER, sheet.y - 3, line, SIZE)
        done += len(lines)
        lowest = max(lowest, sheet.y)
    sheet.y = lowest + 6


def _legend(sheet: Sheet, lanes: Lanes, bands: tuple[Band, ...]) -> None:
    """Explain the marks that occur, then lines and shades."""
    x = MARGIN
    sheet.y += ROW
    for kind in StepKind:
        if all(entry.kind is not kind or entry.quiet for entry in lanes.entries):
            continue
        words = MEANINGS[kind]
        wide = AFTER_MARK + width_of(words, SIZE) + LIST_GAP
        if x > MARGIN and x + wide > PAGE - MARGIN:
            x, sheet.y = MARGIN, sheet.y + ROW
        sheet.mark(kind, x + 5, sheet.y - 6.5)
        sheet.write(x + AFTER_MARK, sheet.y - 3, words, SIZE)
        x += wide
    broken = any(column.broken for band in bands for column in band.columns)
    waits = f" Waits are drawn to scale{', except where two strokes break their arrow' if broken else ''}."
    several = " Each band goes on where the one above ends." if len(bands) > 1 else ""
    told = f"Shaded: no time passes, steps follow one another in this order. Thick line: the end of the run, {lanes.ending}."
    sheet.paragraph(told + (waits if any(entry.ticks for entry in lanes.entries) else "") + several)
