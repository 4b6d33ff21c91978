"""Drawings as DOT text: the same every time, names of the file as text, what is told by lines and not by colour."""

from xml.etree import ElementTree as ET

from msgspec.structs import replace

from seqcheck.draw.dot import dot_of
from seqcheck.draw.drawing import About, Arrow, Cluster, Drawing, Edge, Line, Node, Shape
from seqcheck.draw.render import svg_of

ABOUT = About(machine="M <&> \\N", revision="", file="m.yaml", sha256="0123456789abcdef")
DRAWING = Drawing(
    name="test",
    title="A <b>title</b> " + "of many words " * 20,
    about=ABOUT,
    nodes=(
        Node(id="a", lines=("one", "two"), doubled=True, heavy=True, group="g"),
        Node(id="b", lines=("\\N {x|y} <i>",), shape=Shape.ROUNDED, line=Line.DASHED, link="#H1"),
        Node(id="c", lines=(), shape=Shape.BAR),
        Node(id="d", lines=("beside",), shape=Shape.TEXT),
    ),
    edges=(
        Edge(tail="a", head="b", lines=("needs",), heavy=True),
        Edge(tail="c", head="d", line=Line.HIDDEN, arrow=Arrow.NONE),
    ),
    clusters=(Cluster(id="x", title="", nodes=("c", "d"), framed=False),),
    rows=(("c", "d"), ("a", "c")),
    level=True,
)


def shown(svg: str) -> list[str]:
    return ["".join(one.itertext()) for one in ET.fromstring(svg).iter() if one.tag.endswith("}text")]  # noqa: S314


def test_names_of_the_file_are_text() -> None:
    texts = shown(svg_of(DRAWING))
    assert "\\N {x|y} <i>" in texts
    assert texts[0].startswith("A <b>title</b> of many words")
    assert "M <&> \\N (m.yaml, sha256 0123456789ab)" in texts


def test_a_long_title_is_wrapped() -> None:
    assert max(len(text) for text in shown(svg_of(DRAWING))) <= 100


def test_a_row_within_a_cluster_stands_there_and_another_outside() -> None:
    dot = dot_of(DRAWING)
    inside = dot[dot.index("subgraph cluster_x") :]
    assert inside.index("rank=same") < inside.index("}")
    assert dot.count("rank=same") == 2
    assert "peripheries=0" in dot


def test_what_carries_meaning_is_shape_and_line() -> None:
    dot = dot_of(DRAWING)
    assert all(
        look in dot for look in ('style="rounded,dashed"', "peripheries=2", "penwidth=2.6", "style=invis", "splines=ortho")
    )
    svg = svg_of(DRAWING)
    colours = {one.attrib[key] for one in ET.fromstring(svg).iter() for key in ("fill", "stroke") if key in one.attrib}  # noqa: S314
    assert colours <= {"white", "black", "none", "transparent"}
    assert 'xlink:href="#H1"' in svg


def test_the_same_drawing_gives_the_same_text() -> None:
    assert dot_of(DRAWING) == dot_of(replace(DRAWING))
