"""A picture as data: nodes, edges, what goes on one row, title and legend. It knows of no renderer."""

from enum import Enum

from msgspec import Struct

MARGIN = (0.2, 0.1)


class Shape(Enum):
    """The outline of a node; meaning is carried by outline, line and text, never by colour."""

    BOX = "box"
    ROUNDED = "rounded box"
    SQUARE = "square"
    BAR = "bar"
    ELLIPSE = "ellipse"
    HEXAGON = "hexagon"
    OCTAGON = "octagon"
    DIAMOND = "diamond"
    SLANTED = "slanted box"
    NOTE = "note"
    TEXT = "no outline"
    POINT = "point"


class Line(Enum):
    """How an outline or an arrow is drawn."""

    SOLID = "solid"
    DASHED = "dashed"
    DOTTED = "dotted"
    HIDDEN = "invis"


class Arrow(Enum):
    """What is at the head of an edge."""

    POINTED = "pointed"
    OPEN = "open"
    CROSSBAR = "crossbar"
    CIRCLE = "circle"
    NONE = "none"


class Node(Struct, frozen=True, kw_only=True):
    """One place of a picture.

    *id* is ours (letters, digits, underscore), never a name of the file. *left* aligns the lines left. *size* is width and
    height in inches, at least. *link* is where a click leads, or empty. Nodes of one *group* stand below one
    another, if they can.
    """

    id: str
    lines: tuple[str, ...]
    shape: Shape = Shape.BOX
    line: Line = Line.SOLID
    doubled: bool = False
    heavy: bool = False
    left: bool = False
    size: tuple[float, float] | None = None
    tooltip: str = ""
    link: str = ""
    group: str = ""


class Edge(Struct, frozen=True, kw_only=True):
    """A connection. *places* tells whether it has a say in who stands above whom; *weight* keeps it short and straight."""

    tail: str
    head: str
    lines: tuple[str, ...] = ()
    line: Line = Line.SOLID
    heavy: bool = False
    arrow: Arrow = Arrow.POINTED
    places: bool = True
    weight: int = 1
    tooltip: str = ""
    link: str = ""


class Cluster(Struct, frozen=True, kw_only=True):
    """Nodes that are kept together; *framed*: within a frame that is seen."""

    id: str
    title: str
    nodes: tuple[str, ...]
    framed: bool = True


class About(Struct, frozen=True, kw_only=True):
    """What every picture says of its origin. *file* is a name without folders."""

    machine: str
    revision: str
    file: str
    sha256: str

    @property
    def words(self) -> str:
        """The origin in one line."""
        revision = f", revision {self.revision}" if self.revision else ""
        return f"{self.machine}{revision}   ({self.file}, sha256 {self.sha256[:12]})"


class Drawing(Struct, frozen=True, kw_only=True):
    """A whole picture. *name* ends its file name (`steps.daily-start`). *rows* are nodes that stand side by side.

    *across*: from left to right instead of from top to bottom. *level*: edges run level and upright only, with small heads.
    *legend* says what shapes and lines mean, *notes* what else has to be known, for example what was left out. *gaps* are the
    least space beside a node and between rows, *margin* that around the text in a node, in inches; with a smaller margin labels
    of edges have none.
    """

    name: str
    title: str
    about: About
    nodes: tuple[Node, ...]
    edges: tuple[Edge, ...]
    clusters: tuple[Cluster, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    across: bool = False
    level: bool = False
    legend: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    gaps: tuple[float, float] = (0.25, 0.5)
    margin: tuple[float, float] = MARGIN
