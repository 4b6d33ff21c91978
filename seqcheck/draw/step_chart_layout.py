"""A step chart as data, and where its squares go: from top to bottom, in columns and on pages that an A4 sheet has room for."""

from collections.abc import Sequence

from msgspec import Struct

PAGE_WIDTH, PAGE_HEIGHT = 745.0, 970.0
"""Room below the heading, in points of a drawing whose text of 10 points is printed at 7 points on A4."""

LINE, LETTER, MARGIN = 13.0, 5.8, 24.0
SQUARE = 46.0


class Square(Struct, frozen=True, kw_only=True):
    """A step: its *number*, what is done in it, and what is said beside it without a box."""

    number: int
    actions: tuple[str, ...] = ()
    comment: tuple[str, ...] = ()
    tooltip: str = ""
    initial: bool = False


class Passage(Struct, frozen=True, kw_only=True):
    """A transition between squares, by their places in the chart; *head* None: it leads out of the chart, to *out*."""

    tail: int
    head: int | None
    lines: tuple[str, ...]
    out: tuple[str, ...] = ()
    tooltip: str = ""


class Chart(Struct, frozen=True, kw_only=True):
    """A whole chart. *into* stands above the first square: where it is come to from, with a *link* there."""

    name: str
    title: str
    squares: tuple[Square, ...]
    passages: tuple[Passage, ...]
    into: tuple[str, ...] = ()
    link: str = ""
    legend: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


class Places(Struct, frozen=True, kw_only=True):
    """Where things go: the layer of each square, and for each page the layers of each of its columns."""

    layers: tuple[int, ...]
    pages: tuple[tuple[range, ...], ...]


def placed(chart: Chart) -> Places:
    """Tell where the squares of a chart go."""
    layers = _layers(chart)
    pages = _pages(chart, layers, _columns(chart, layers))
    return Places(layers=tuple(layers), pages=tuple(tuple(page) for page in pages))


def _layers(chart: Chart) -> list[int]:
    """Return how far down each square is: below all that lead to it, but where they go round."""
    leads: list[list[int]] = [[] for _ in chart.squares]
    for passage in chart.passages:
        if passage.head is not None:
            leads[passage.tail].append(passage.head)
    order = _order(leads)
    place = {square: number for number, square in enumerate(order)}
    layers = [0] * len(chart.squares)
    for square in order:
        for head in leads[square]:
            if place[head] > place[square]:
                layers[head] = max(layers[head], layers[square] + 1)
    return layers


def _order(leads: Sequence[Sequence[int]]) -> list[int]:
    """Return all squares so that each comes before those that it leads to, but where they go round."""
    finished: list[int] = []
    met: set[int] = set()
    for root in range(len(leads)):
        stack = [] if root in met else [(root, iter(leads[root]))]
        met.add(root)
        while stack:
            square, following = stack[-1]
            head = next((head for head in following if head not in met), None)
            if head is None:
                finished.append(square)
                stack.pop()
            else:
                met.add(head)
                stack.append((head, iter(leads[head])))
    return finished[::-1]


def _columns(chart: Chart, layers: Sequence[int]) -> list[range]:
    """Return the layers of each column, each no higher than a page."""
    heights = [0.0] * (max(layers) + 1)
    for square, layer in zip(chart.squares, layers, strict=True):
        heights[layer] = max(heights[layer], SQUARE, LINE * max(len(square.actions), len(square.comment)) + MARGIN)
    for layer in range(len(heights)):
        lines = [len(passage.lines) for passage in chart.passages if layers[passage.tail] == layer]
        heights[layer] += LINE * max(lines, default=0) + MARGIN
    columns: list[range] = []
    first, filled = 0, 0.0
    for layer, height in enumerate(heights):
        if filled and filled + height > PAGE_HEIGHT - 4 * LINE:
            columns.append(range(first, layer))
            first, filled = layer, 0.0
        filled += height
    return [*columns, range(first, len(heights))]


def _pages(chart: Chart, layers: Sequence[int], columns: Sequence[range]) -> list[list[range]]:
    """Return the columns of each page: side by side as far as they fit, where the chart goes on in one line."""
    tails = [passage.tail for passage in chart.passages]
    in_line = len(set(layers)) == len(layers) and len(set(tails)) == len(tails)
    pages: list[list[range]] = []
    filled = PAGE_WIDTH
    for column in columns:
        width = max(_width(chart, layers, layer) for layer in column) if in_line else PAGE_WIDTH
        if filled + width > PAGE_WIDTH:
            pages.append([])
            filled = 0.0
        pages[-1].append(column)
        filled += width
    return pages


def _width(chart: Chart, layers: Sequence[int], layer: int) -> float:
    """Return about how wide a layer is."""
    squares = [s for s, at in zip(chart.squares, layers, strict=True) if at == layer]
    boxes = sum(SQUARE + MARGIN + LETTER * _longest((*square.actions, *square.comment)) for square in squares)
    bars = sum(SQUARE + MARGIN + LETTER * _longest(p.lines) for p in chart.passages if layers[p.tail] == layer)
    return max(boxes, bars) + MARGIN


def _longest(lines: Sequence[str]) -> int:
    return max((len(line) for line in lines), default=0)
