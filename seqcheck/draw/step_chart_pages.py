"""Draws a step chart, page by page. What would lead into another column, or back up, is a reference to the step."""

from collections.abc import Iterator, Sequence
from itertools import pairwise

from msgspec.structs import replace

from seqcheck.draw.drawing import About, Arrow, Cluster, Drawing, Edge, Line, Node, Shape
from seqcheck.draw.step_chart_layout import Chart, Passage, Places, placed

LEGEND = (
    "Drawn after IEC 60848; conformity is not claimed. Square: step, doubled where it begins.",
    "Box: what is done or what changes. Bar: transition, with what is waited for.",
)
SIZE, LOW, TINY = (0.36, 0.36), (0.2, 0.2), (0.05, 0.05)
GAPS = (0.12, 0.11)
STRAIGHT = 20
"""The weight of the links between squares and bars, so that they are drawn straight."""


def chart_drawings(chart: Chart, about: About) -> Iterator[Drawing]:
    """Yield the pages of a chart."""
    places = placed(chart)
    many = len(places.pages)
    for number, columns in enumerate(places.pages, 1):
        page = _Page(chart, places)
        for column in columns:
            page.add(column)
        yield Drawing(
            name=chart.name if many == 1 else f"{chart.name}.{number}",
            title=chart.title if many == 1 else f"{chart.title} (page {number} of {many})",
            about=about,
            nodes=tuple(page.nodes),
            edges=(*page.edges, *page.beside()),
            clusters=tuple(page.clusters) if len(columns) > 1 else (),
            rows=tuple(page.rows),
            legend=(*LEGEND, *chart.legend),
            notes=chart.notes,
            level=True,
            gaps=GAPS,
        )


class _Page:
    """Draws some columns of a chart side by side."""

    def __init__(self, chart: Chart, places: Places) -> None:
        self._chart = chart
        self._layers = places.layers
        self._order = list(_from_left(chart))
        self._columns = [column for page in places.pages for column in page]
        self.nodes: list[Node] = []
        self.edges: list[Edge] = []
        self.rows: list[tuple[str, ...]] = []
        self.clusters: list[Cluster] = []
        self._tops: list[str] = []
        self._above: dict[int, str] = {}
        self._beside_bars: dict[int, list[tuple[str, ...]]] = {}
        self._group = _groups(chart)

    def add(self, column: range) -> None:
        """Draw one column."""
        before = len(self.nodes)
        here = [place for place in self._order if self._layers[place] in column]
        self._tops.append(f"s{here[0]}")
        for layer in column:
            self._line_up([self._square(place) for place in here if self._layers[place] == layer])
        for place in here:
            self._come_from(place)
        for layer in column:
            bars = [pair for place in here if self._layers[place] == layer for pair in self._go_on(place)]
            self._line_up([*bars, *self._beside_bars.get(layer, [])])
        inside = tuple(node.id for node in self.nodes[before:])
        self.clusters.append(Cluster(id=f"c{len(self.clusters)}", title="", nodes=inside, framed=False))

    def beside(self) -> Iterator[Edge]:
        """Yield what keeps the columns in their order."""
        for left, right in pairwise(self._tops):
            yield Edge(tail=left, head=right, line=Line.HIDDEN, arrow=Arrow.NONE, places=False)

    def _line_up(self, groups: Sequence[tuple[str, ...]]) -> None:
        """Put groups of nodes on one level, from left to right."""
        for left, right in pairwise(groups):
            self.edges.append(Edge(tail=left[-1], head=right[0], line=Line.HIDDEN, arrow=Arrow.NONE))
        self.rows.append(tuple(name for group in groups for name in group))

    def _square(self, place: int) -> tuple[str, ...]:
        """Draw a square with what stands beside it; return their names."""
        square = self._chart.squares[place]
        here = f"s{place}"
        number = (str(square.number),)
        tooltip = square.tooltip or f"step {square.number}"
        looks = Node(id=here, lines=number, shape=Shape.SQUARE, doubled=square.initial, size=SIZE, group=self._group[here])
        self.nodes.append(replace(looks, tooltip=tooltip))
        names: tuple[str, ...] = (here,)
        for name, lines, shape in ((f"a{place}", square.actions, Shape.BOX), (f"n{place}", square.comment, Shape.TEXT)):
            if lines:
                self.nodes.append(Node(id=name, lines=lines, shape=shape, left=True, size=LOW, tooltip=square.tooltip))
                line = Line.SOLID if shape is Shape.BOX else Line.HIDDEN
                self.edges.append(Edge(tail=here, head=name, line=line, arrow=Arrow.NONE))
                names = (here, name)
        return names

    def _come_from(self, place: int) -> None:
        """Draw where a square is come to from, besides by links; several ways meet above it."""
        squares, here = self._chart.squares, f"s{place}"
        coming = [passage for passage in self._chart.passages if passage.head == place]
        into = self._chart.into if place == 0 else ()
        from_ = sorted({squares[passage.tail].number for passage in coming if not self._is_link(passage)})
        links = sum(self._is_link(passage) for passage in coming)
        if links + bool(into) + bool(from_) > 1:
            self._joint(f"j{place}", place, f"j{place}", here)
            here = f"j{place}"
        self._above[place] = here
        if into:
            self._reference("into", into, here, link=self._chart.link)
        if from_:
            numbers = ", ".join(str(number) for number in from_)
            self._reference(f"f{place}", (f"from step{'s' if len(from_) > 1 else ''} {numbers}",), here)
            if links:
                self._beside_bars.setdefault(self._layers[place] - 1, []).append((f"f{place}",))

    def _joint(self, name: str, place: int, tail: str, head: str) -> None:
        """Draw where links meet or part."""
        self.nodes.append(Node(id=name, lines=(), shape=Shape.POINT, size=TINY, group=self._group[f"s{place}"]))
        self.edges.append(Edge(tail=tail, head=head, arrow=Arrow.NONE, weight=STRAIGHT))

    def _reference(self, name: str, lines: Sequence[str], head: str, link: str = "") -> None:
        group = self._group.get(head, "")
        self.nodes.append(Node(id=name, lines=tuple(lines), shape=Shape.TEXT, size=LOW, link=link, group=group))
        self.edges.append(Edge(tail=name, head=head, weight=STRAIGHT))

    def _is_link(self, passage: Passage) -> bool:
        """Tell whether a transition is drawn to the next step, and not as a reference."""
        if passage.head is None:
            return False
        tail, head = self._layers[passage.tail], self._layers[passage.head]
        return head > tail and any(tail in column and head in column for column in self._columns)

    def _go_on(self, place: int) -> Iterator[tuple[str, str]]:
        """Draw the transitions after a square; where there are several, the link parts below it. Yield their names."""
        going = [(number, passage) for number, passage in enumerate(self._chart.passages) if passage.tail == place]
        below = f"s{place}"
        if len(going) > 1:
            self._joint(f"p{place}", place, below, f"p{place}")
            below = f"p{place}"
        for number, passage in going:
            yield self._passage(number, passage, below)

    def _passage(self, number: int, passage: Passage, below: str) -> tuple[str, str]:
        bar, condition = f"t{number}", f"c{number}"
        tooltip = passage.tooltip or " ".join(passage.lines)
        self.nodes += [
            Node(id=bar, lines=(), shape=Shape.BAR, tooltip=tooltip, group=self._group[bar]),
            Node(id=condition, lines=passage.lines, shape=Shape.TEXT, left=True, size=LOW, tooltip=tooltip),
        ]
        self.edges += [
            Edge(tail=below, head=bar, arrow=Arrow.NONE, weight=STRAIGHT),
            Edge(tail=bar, head=condition, line=Line.HIDDEN, arrow=Arrow.NONE),
        ]
        if passage.head is not None and self._is_link(passage):
            self.edges.append(Edge(tail=bar, head=self._above[passage.head], arrow=Arrow.NONE, weight=STRAIGHT))
            return bar, condition
        out = passage.out if passage.head is None else (f"to step {self._chart.squares[passage.head].number}",)
        self.nodes.append(Node(id=f"o{number}", lines=out, shape=Shape.TEXT, size=LOW, group=self._group[bar]))
        self.edges.append(Edge(tail=bar, head=f"o{number}", weight=STRAIGHT))
        return bar, condition


def _groups(chart: Chart) -> dict[str, str]:
    """Return the line that each square and bar stands on: that of the one above, where only one way leads from it to here."""
    going = [[n for n, passage in enumerate(chart.passages) if passage.tail == place] for place in range(len(chart.squares))]
    coming = [[n for n, passage in enumerate(chart.passages) if passage.head == place] for place in range(len(chart.squares))]
    groups: dict[str, str] = {}
    for place in range(len(chart.squares)):
        here = f"s{place}"
        above = f"t{coming[place][0]}" if len(coming[place]) == 1 else here
        groups[here] = groups.get(above, here)
        for number in going[place]:
            groups[f"t{number}"] = groups[here] if len(going[place]) == 1 else f"t{number}"
    return groups


def _from_left(chart: Chart) -> Iterator[int]:
    """Yield all squares so that those of one layer come from left to right: along one way after the other."""
    met: set[int] = set()
    pending = list(reversed(range(len(chart.squares))))
    while pending:
        place = pending.pop()
        if place not in met:
            met.add(place)
            yield place
            heads = [passage.head for passage in chart.passages if passage.tail == place and passage.head is not None]
            pending += [head for head in reversed(heads) if head not in met]
