"""What a timing diagram is made of, with its place: texts, strokes, shades. Data, and the sheet that collects them."""

from collections.abc import Mapping, Sequence
from enum import Enum

from msgspec import Struct, field

from seqcheck.draw.timing_text import lines_of, width_of
from seqcheck.model.run import StepKind

PAGE, MARGIN = 720.0, 8.0
SIZE, ROW = 10.0, 13.0
"""Size of all text but the title, and the height of a line of it: 7.1 pt where the page is printed 180 mm wide."""

ASCENT, DESCENT = 0.8, 0.25
CLEAR = 2.0
MARK = 4.5


class Anchor(Enum):
    """Which end of a text its place is."""

    START = "start"
    MIDDLE = "middle"
    END = "end"


class Box(Struct, frozen=True):
    """A rectangle: left, top, right, bottom."""

    left: float
    top: float
    right: float
    bottom: float


class Text(Struct, frozen=True, kw_only=True):
    """One line of text; *y* is that of its baseline. *whole* is what it was cut from, or empty."""

    x: float
    y: float
    words: str
    size: float
    anchor: Anchor = Anchor.START
    bold: bool = False
    whole: str = ""

    @property
    def box(self) -> Box:
        """The room that the text takes at most."""
        width = width_of(self.words, self.size, bold=self.bold)
        left = self.x - {Anchor.START: 0.0, Anchor.MIDDLE: width / 2, Anchor.END: width}[self.anchor]
        return Box(left, self.y - ASCENT * self.size, left + width, self.y + DESCENT * self.size)


class Stroke(Struct, frozen=True, kw_only=True):
    """A line through points; *closed* makes it an outline, *filled* an area."""

    points: tuple[tuple[float, float], ...]
    weight: float = 1.0
    dash: str = ""
    closed: bool = False
    filled: bool = False

    @property
    def box(self) -> Box:
        """The room that its points span."""
        across, down = zip(*self.points, strict=True)
        return Box(min(across), min(down), max(across), max(down))


class Page(Struct, frozen=True, kw_only=True):
    """A whole diagram."""

    height: float
    title: str
    description: str
    texts: tuple[Text, ...]
    strokes: tuple[Stroke, ...]
    shades: tuple[Box, ...]


OUTLINES: Mapping[StepKind, tuple[tuple[float, float], ...]] = {
    StepKind.COMMAND: ((-1, -1), (1, -1), (0, 1)),
    StepKind.PERSON: (
        *((1, 0), (0.87, 0.5), (0.5, 0.87), (0, 1), (-0.5, 0.87), (-0.87, 0.5)),
        *((-1, 0), (-0.87, -0.5), (-0.5, -0.87), (0, -1), (0.5, -0.87), (0.87, -0.5)),
    ),
    StepKind.PANEL: ((-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)),
    StepKind.PLANT: ((0, -1.1), (1.1, 0), (0, 1.1), (-1.1, 0)),
    StepKind.FAULT: (
        *((-1, -0.6), (-0.6, -1), (0, -0.4), (0.6, -1), (1, -0.6), (0.4, 0)),
        *((1, 0.6), (0.6, 1), (0, 0.4), (-0.6, 1), (-1, 0.6), (-0.4, 0)),
    ),
    StepKind.WAIT: ((-0.9, -1), (0.9, -1), (-0.9, 1), (0.9, 1)),
}
"""The outline of the mark of who acts, within a square from -1 to 1."""

FILLED = frozenset({StepKind.COMMAND, StepKind.FAULT})
MEANINGS = {
    StepKind.COMMAND: "command to the controller",
    StepKind.PERSON: "a person acts",
    StepKind.PANEL: "a person sets the panel",
    StepKind.PLANT: "the machine, by itself",
    StepKind.FAULT: "fault",
    StepKind.WAIT: "something follows from time alone",
}


class Sheet(Struct, kw_only=True):
    """Collects what stands on a page. *y* is how far down it is filled; *in_way* is what upright lines go round."""

    y: float = MARGIN
    in_way: list[Box] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    strokes: list[Stroke] = field(default_factory=list)
    shades: list[Box] = field(default_factory=list)
    cut: dict[str, None] = field(default_factory=dict)

    def write(self, x: float, y: float, words: str, size: float, anchor: Anchor = Anchor.START) -> None:
        """Write a line of text."""
        self.put(Text(x=x, y=y, words=words, size=size, anchor=anchor))

    def put(self, text: Text) -> None:
        """Put a text in its place."""
        self.texts.append(text)
        self.in_way.append(text.box)

    def mark(self, kind: StepKind, x: float, y: float) -> None:
        """Put the mark of who acts round a place."""
        points = tuple((x + MARK * dx, y + MARK * dy) for dx, dy in OUTLINES[kind])
        made = Stroke(points=points, closed=True, filled=kind in FILLED)
        self.strokes.append(made)
        self.in_way.append(made.box)

    def write_lines(self, x: float, y: float, lines: Sequence[str], size: float, whole: str = "") -> None:
        """Write lines below each other. *whole* is the text from which they were cut: it is noted, to be told in full."""
        for number, words in enumerate(lines):
            self.put(Text(x=x, y=y + number * (size + 1.5), words=words, size=size, whole=whole))
        if whole:
            self.cut[whole] = None

    def paragraph(self, words: str, *, bold: bool = False) -> None:
        """Write a text over the whole width, below what stands there."""
        for line in lines_of(words, PAGE - 2 * MARGIN, SIZE, bold=bold):
            self.y += ROW
            self.put(Text(x=MARGIN, y=self.y - 3, words=line, size=SIZE, bold=bold))

    def line(self, *points: tuple[float, float], weight: float = 1.0, dash: str = "") -> None:
        """Draw a line through points."""
        self.strokes.append(Stroke(points=points, weight=weight, dash=dash))

    def upright(self, x: float, top: float, bottom: float, weight: float, dash: str) -> None:
        """Draw an upright line that leaves out every text and mark in its way."""
        reach = CLEAR + weight / 2
        y = top
        for upper, lower in sorted((b.top, b.bottom) for b in self.in_way if b.left - reach < x < b.right + reach):
            if lower < y or upper > bottom:
                continue
            if upper - CLEAR > y:
                self.line((x, y), (x, upper - CLEAR), weight=weight, dash=dash)
            y = max(y, lower + CLEAR)
        if y < bottom:
            self.line((x, y), (x, bottom), weight=weight, dash=dash)

    def page(self, title: str, description: str) -> Page:
        """Return what was collected."""
        return Page(
            height=self.y + MARGIN,
            title=title,
            description=description,
            texts=tuple(self.texts),
            strokes=tuple(self.strokes),
            shades=tuple(self.shades),
        )
