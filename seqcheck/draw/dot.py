"""A picture as DOT text: the one place that writes it. Same drawing, same bytes."""

from collections.abc import Mapping

import graphviz

from seqcheck import __version__
from seqcheck.draw.drawing import MARGIN, Arrow, Cluster, Drawing, Edge, Line, Node, Shape
from seqcheck.draw.labels import in_label, in_markup, wrapped

FONT = "Helvetica"
SIZE = "10"
HEAVY = "2.6"
HEAD_WIDTH = 100
"""Characters on a line above the picture, so that a long text does not make a narrow picture wide."""

TITLE_WIDTH = 60

OUTLINES: Mapping[Shape, Mapping[str, str]] = {
    Shape.BOX: {"shape": "box"},
    Shape.ROUNDED: {"shape": "box", "style": "rounded"},
    Shape.SQUARE: {"shape": "square", "margin": "0.04"},
    Shape.BAR: {"shape": "box", "style": "filled", "fillcolor": "black", "fixedsize": "true", "width": "0.4", "height": "0.05"},
    Shape.ELLIPSE: {"shape": "ellipse", "margin": "0.05,0.05"},
    Shape.HEXAGON: {"shape": "hexagon", "margin": "0.04,0.04"},
    Shape.OCTAGON: {"shape": "octagon", "margin": "0.04,0.04"},
    Shape.DIAMOND: {"shape": "diamond"},
    Shape.SLANTED: {"shape": "parallelogram", "margin": "0.04,0.04"},
    Shape.NOTE: {"shape": "note"},
    Shape.TEXT: {"shape": "plaintext", "margin": "0.08,0.03"},
    Shape.POINT: {"shape": "point"},
}
HEADS = {
    Arrow.POINTED: "normal",
    Arrow.OPEN: "vee",
    Arrow.CROSSBAR: "tee",
    Arrow.CIRCLE: "odot",
    Arrow.NONE: "none",
}


def dot_of(drawing: Drawing) -> str:
    """Return the DOT text of a drawing."""
    graph = graphviz.Digraph("drawing", comment=f"seqcheck {__version__}")
    graph.attr(
        "graph",
        rankdir="LR" if drawing.across else "TB",
        fontname=FONT,
        fontsize=SIZE,
        label=_head(drawing),
        labelloc="t",
        labeljust="l",
        tooltip=_literal(drawing.title),
        bgcolor="white",
        nodesep=f"{drawing.gaps[0]:g}",
        ranksep=f"{drawing.gaps[1]:g}",
    )
    if drawing.level:
        graph.attr("graph", splines="ortho")
        graph.attr("edge", arrowsize="0.7")
    graph.attr("node", fontname=FONT, fontsize=SIZE, margin="{:g},{:g}".format(*drawing.margin))
    graph.attr("edge", fontname=FONT, fontsize=SIZE)
    for node in drawing.nodes:
        _add_node(graph, node)
    inside = {row for cluster in drawing.clusters for row in drawing.rows if set(row) <= set(cluster.nodes)}
    for cluster in drawing.clusters:
        _add_cluster(graph, cluster, [row for row in drawing.rows if row in inside and set(row) <= set(cluster.nodes)])
    for row in drawing.rows:
        if row not in inside:
            _add_row(graph, row)
    for edge in drawing.edges:
        _add_edge(graph, edge, " " if drawing.margin < MARGIN else "  ")
    return str(graph.source)


def _add_cluster(graph: graphviz.Digraph, cluster: Cluster, rows: list[tuple[str, ...]]) -> None:
    """Add a cluster with those rows that are whole within it: elsewhere they would pull their nodes out of it."""
    with graph.subgraph(name=f"cluster_{cluster.id}") as inside:
        inside.attr(label=_literal(cluster.title), labeljust="l", tooltip=_literal(cluster.title))
        if not cluster.framed:
            inside.attr(peripheries="0")
        for node_id in cluster.nodes:
            inside.node(node_id)
        for row in rows:
            _add_row(inside, row)


def _add_row(graph: graphviz.Digraph, row: tuple[str, ...]) -> None:
    with graph.subgraph() as level:
        level.attr(rank="same")
        for node_id in row:
            level.node(node_id)


def _head(drawing: Drawing) -> str:
    """Return what stands above the picture: title, origin, legend, notes."""
    title = (f'<font point-size="14"><b>{in_markup(line)}</b></font>' for line in wrapped(drawing.title, TITLE_WIDTH, 4))
    texts = (drawing.about.words, *drawing.legend, *drawing.notes)
    rows = [*title, *(in_markup(line) for text in texts for line in wrapped(text, HEAD_WIDTH, 8))]
    cells = "".join(f'<tr><td align="left">{row}</td></tr>' for row in (*rows, " "))
    return f'<<table border="0" cellborder="0" cellspacing="0" cellpadding="1">{cells}</table>>'


def _add_node(graph: graphviz.Digraph, node: Node) -> None:
    looks = dict(OUTLINES[node.shape])
    if node.line is not Line.SOLID:
        looks["style"] = ",".join(filter(None, (looks.get("style", ""), node.line.value)))
    if node.doubled:
        looks["peripheries"] = "2"
    if node.heavy:
        looks["penwidth"] = HEAVY
    if node.size is not None:
        looks["width"], looks["height"] = (f"{inches:g}" for inches in node.size)
    if node.group:
        looks["group"] = node.group
    if node.link:
        looks["URL"] = _literal(node.link)
    said = node.tooltip or " ".join(node.lines) or " "
    graph.node(node.id, _lines(node.lines, left=node.left), tooltip=_literal(said), **looks)


def _add_edge(graph: graphviz.Digraph, edge: Edge, beside: str) -> None:
    looks = {"arrowhead": HEADS[edge.arrow]}
    if edge.line is not Line.SOLID:
        looks["style"] = edge.line.value
    if edge.heavy:
        looks["penwidth"] = HEAVY
    if not edge.places:
        looks["constraint"] = "false"
    if edge.weight != 1:
        looks["weight"] = str(edge.weight)
    if edge.link:
        looks["URL"] = _literal(edge.link)
    said = _literal(edge.tooltip or " ".join(edge.lines) or " ")
    label = _lines(tuple(f"{beside}{line}{beside}" for line in edge.lines), left=True) if edge.lines else None
    graph.edge(edge.tail, edge.head, label, tooltip=said, labeltooltip=said, **looks)


def _lines(lines: tuple[str, ...], *, left: bool) -> str:
    """Return the lines of a label, each ended so that it is aligned."""
    end = "\\l" if left else "\\n"
    text = end.join(in_label(line) for line in lines)
    return _nohtml(text + end if left and lines else text)


def _literal(text: str) -> str:
    return _nohtml(in_label(text))


def _nohtml(text: str) -> str:
    """Return a text that the library does not take for markup, even in angle brackets."""
    marked: str = graphviz.nohtml(text)
    return marked
