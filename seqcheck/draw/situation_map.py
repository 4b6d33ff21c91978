"""Draws the map of reachable situations: boxes for what states have in common, arrows for what leads from one to another.

How much is said, and how many situations are drawn by themselves, is what fits on one sheet of A4 at 7 points a letter or more.
"""

from collections.abc import Iterator
from itertools import pairwise

from seqcheck.analyse.mapping.condensing import Condensed, condensed
from seqcheck.analyse.mapping.records import SituationMap
from seqcheck.draw.drawing import About, Arrow, Drawing, Edge, Line, Node, Shape
from seqcheck.draw.labels import wrapped
from seqcheck.draw.situation_rows import Rows, Sized, arranged, levels
from seqcheck.draw.situation_text import KIND_WORDS, Detail, Labels, Saying
from seqcheck.report.lines import counted
from seqcheck.report.narrate import Vocabulary, listed

MOST_NODES, LEAST_NODES = 40, 8
FEWER = 2
"""By so many nodes a map gets smaller that does not fit."""

DETAILS = (
    Detail(box=42, arrow=20, labels=Labels.NAMES, gaps=(0.3, 0.4), least_scale=0.76),
    Detail(box=36, arrow=16, labels=Labels.NAMES, gaps=(0.2, 0.25), least_scale=0.8),
    Detail(box=30, arrow=12, labels=Labels.LETTERS, gaps=(0.12, 0.2), least_scale=0.83),
)
NOTE_WIDTH, MOST_NOTE_LINES = 98, 4
MARGIN = (0.08, 0.05)


def map_drawing(full: SituationMap, words: Vocabulary, about: About, most: int = MOST_NODES) -> Drawing:
    """Draw a map with no more than so many boxes."""
    small = condensed(full, most)
    for detail in DETAILS:
        drawing, scale = _drawn(full, small, words, about, detail)
        if scale >= detail.least_scale:
            return drawing
    while scale < DETAILS[-1].least_scale and len(small.spots) + len(small.never) > LEAST_NODES:
        small = condensed(full, len(small.spots) + len(small.never) - FEWER)
        drawing, scale = _drawn(full, small, words, about, DETAILS[-1])
    return drawing


def _drawn(full: SituationMap, small: Condensed, words: Vocabulary, about: About, detail: Detail) -> tuple[Drawing, float]:
    """Return a drawing, and by what factor it is made smaller on A4, as far as that can be told beforehand."""
    drawer = Drawer(full, small, Saying(full, words, detail))
    nodes, edges = tuple(drawer.nodes()), tuple(drawer.edges())
    legend, notes = tuple(drawer.legend()), tuple(drawer.notes())
    head = sum(len(wrapped(line, NOTE_WIDTH, MOST_NOTE_LINES)) for line in (*legend, *notes))
    sized = Sized(
        nodes={node.id: (max(map(len, node.lines), default=0), max(1, len(node.lines))) for node in nodes},
        edges=tuple((edge.tail, edge.head, max(map(len, edge.lines), default=0)) for edge in edges),
        head=(NOTE_WIDTH, head + 3),
        gaps=(72 * detail.gaps[0], 72 * detail.gaps[1]),
        edge_lines=max((len(edge.lines) for edge in edges), default=0),
    )
    found = arranged(sized, levels(tuple(sized.nodes), sized.edges, [node.id for node in nodes if node.shape is Shape.POINT]))
    drawing = Drawing(
        name="map",
        title="Map of reachable situations",
        about=about,
        nodes=nodes,
        edges=(*edges, *_stacking(found)),
        rows=found.rows,
        legend=legend,
        notes=notes,
        gaps=detail.gaps,
        margin=MARGIN,
    )
    return drawing, found.scale


def _stacking(found: Rows) -> Iterator[Edge]:
    """Yield what keeps rows one below the other: the arrows themselves have no say in it."""
    for above, below in pairwise(found.rows):
        yield Edge(tail=above[0], head=below[0], line=Line.HIDDEN, arrow=Arrow.NONE)


class Drawer:
    """Makes the nodes and edges of one map, and says what they mean."""

    def __init__(self, full: SituationMap, small: Condensed, saying: Saying) -> None:
        self._full = full
        self._small = small
        self._saying = saying

    def nodes(self) -> Iterator[Node]:
        """Yield a point for each box with a start, then the boxes, those that are not reached last."""
        for number, spot in enumerate(self._small.spots):
            if spot.starts:
                yield Node(id=f"start{number}", lines=(), shape=Shape.POINT, tooltip="start")
        for number, spot in enumerate(self._small.spots):
            lines, told = self._saying.spot(spot)
            yield Node(
                id=f"s{number}",
                lines=lines,
                shape=Shape.ROUNDED if len(spot.situations) > 1 else Shape.BOX,
                doubled=bool(spot.hazards),
                heavy=spot.on_bad_run,
                tooltip=told,
            )
        for number, never in enumerate(self._small.never):
            lines, told = self._saying.never(never)
            yield Node(id=f"n{number}", lines=lines, line=Line.DASHED, tooltip=told)

    def edges(self) -> Iterator[Edge]:
        """Yield the arrows. They have no say in what stands where."""
        for number, spot in enumerate(self._small.spots):
            if spot.starts:
                yield Edge(tail=f"start{number}", head=f"s{number}", tooltip="start", places=False)
        for way in self._small.ways:
            lines, told = self._saying.way(way)
            yield Edge(tail=f"s{way.tail}", head=f"s{way.head}", lines=lines, heavy=way.on_bad_run, tooltip=told, places=False)

    def legend(self) -> Iterator[str]:
        """Yield what shapes, lines and letters mean, those that there are."""
        yield "Box: all reachable states with these values. Arrow: what leads from one to another. From a dot: a start."
        spots = self._small.spots
        said = ["Rounded box: several situations drawn as one."] if any(len(one.situations) > 1 for one in spots) else []
        said += ["Double border: a hazard is met."] if any(one.hazards for one in spots) else []
        never = "never occur together" if self._full.stopped is None else "were not found together"
        said += [f"Dashed: values that {never}, and the hazards that would be met."] if self._small.never else []
        if self._small.path and self._full.bad is not None:
            said.append(f"Bold: the shortest run to {self._full.bad.id}.")
        if said:
            yield " ".join(said)
        if self._saying.detail.labels is Labels.LETTERS:
            yield f"In each box, in this order: {' / '.join(axis.spoken for axis in self._full.axes)}."
            kinds = {one.kind for way in self._small.ways for one in way.taken}
            yield ", ".join(f"{letter}: {word}" for kind, (word, _, letter) in KIND_WORDS.items() if kind in kinds) + "."

    def notes(self) -> Iterator[str]:
        """Yield what else has to be known."""
        full = self._full
        axes = listed([axis.spoken for axis in full.axes]) or "nothing"
        faults = f" With {listed(list(full.faults))} under study." if full.faults else ""
        yield f"By {axes}: {full.why}.{faults}"
        reached = len(full.situations)
        never = "not reachable" if full.stopped is None else "not reached so far"
        yield (
            f"{counted(full.states, 'state')} in {counted(reached, 'situation')}; {full.possible - reached:,} of "
            f"{full.possible:,} combinations of values {never}. In this model, under these assumptions."
        )
        if full.stopped is not None:
            yield f"The search ended at {full.stopped.value}: only what it found is drawn; what is missing may be reachable."
        yield from self._hazards()
        if full.bad is not None and not full.bad.path:
            yield f"The shortest run to {full.bad.id} is not drawn: it passes states that the search did not come to."

    def _hazards(self) -> Iterator[str]:
        hazards = self._full.hazards
        met = [f"{one.id} in {counted(one.states, 'state')}" for one in hazards if one.states]
        clear = [one.id for one in hazards if one.told and not one.states]
        hidden = [one.id for one in hazards if not one.told and not one.states]
        state = "reachable state" if self._full.stopped is None else "state that was found"
        if met:
            yield f"Met: {'; '.join(met)}."
        if clear:
            yield f"Met in no {state}, as the boxes tell: {', '.join(clear)}."
        if hidden:
            yield f"Met in no {state}, though these values alone do not tell: {', '.join(hidden)}."
