"""Who locks whom as pictures: the whole machine at a glance, and for each thing what must be true before it changes."""

from collections.abc import Iterator, Sequence

from msgspec import Struct

from seqcheck.analyse.locking import Actor, ActorKind, Condition, Lock, Locking, Thing, ThingKind
from seqcheck.draw.drawing import About, Drawing, Edge, Line, Node, Shape
from seqcheck.draw.labels import wrapped
from seqcheck.draw.naming import slugs

LOGIC = frozenset({ActorKind.COMMAND, ActorKind.TRIP})
"""Who is of the controller."""

MOST_NODES = 34
"""A picture of one thing with more nodes is drawn for each of its values by itself."""

SHAPES = {
    ThingKind.PART: Shape.BOX,
    ThingKind.PANEL: Shape.ELLIPSE,
    ThingKind.SENSOR: Shape.ROUNDED,
    ThingKind.TIMER: Shape.ROUNDED,
    ThingKind.OUTPUT: Shape.HEXAGON,
    ThingKind.MEMORY: Shape.NOTE,
}
ACTORS = {
    ActorKind.COMMAND: (Shape.BOX, "command"),
    ActorKind.TRIP: (Shape.OCTAGON, "trip"),
    ActorKind.PERSON: (Shape.ELLIPSE, "by hand"),
    ActorKind.PLANT: (Shape.NOTE, "by itself"),
}
WHOLE = ("controller", "build")
TIGHT = (0.12, 0.35)

LEGEND = (
    "Box: part. Hexagon: output. Ellipse: panel item. Folded corner: memory. Rounded: sensor or timer, with what it reads.",
    "An arrow leads from what must be true to what it is needed for.",
    "Heavy outline: who acts. Doubled outline: what comes of it.",
)
LEGEND_WHOLE = (
    "Box: part. Hexagon: output. Ellipse: panel item. Folded corner: memory.",
    "An arrow from one to another: the first has a say in whether the second may change.",
)
BY_CONTROLLER = "Solid: by a permissive of a command. Dashed: by a trip alone."
BY_BUILD = "By the build of the machine: what people can do by hand, and what it does by itself."


def locking_drawings(locking: Locking, about: About) -> tuple[Drawing, ...]:
    """Return the pictures of the whole machine, then one for each part, output and memory that something moves."""
    return (*_whole(locking, about), *_focused(locking, about))


def _whole(locking: Locking, about: About) -> Iterator[Drawing]:
    """Yield what the controller holds, and what the build of the machine holds."""
    by_controller = [lock for lock in locking.locks if {actor.kind for actor in lock.actors} & LOGIC]
    by_build = [lock for lock in locking.locks if {actor.kind for actor in lock.actors} - LOGIC]
    if by_controller:
        yield _glance(f"locks.{WHOLE[0]}", "Who locks whom: the controller", by_controller, (BY_CONTROLLER,), locking, about)
    if by_build:
        yield _glance(f"locks.{WHOLE[1]}", "Who locks whom: the build of the machine", by_build, (BY_BUILD,), locking, about)


def _glance(name: str, title: str, locks: Sequence[Lock], says: tuple[str, ...], locking: Locking, about: About) -> Drawing:
    shown = [thing for thing in locking.things if any(thing in {lock.holder, lock.held} for lock in locks)]
    ids = {thing: f"n{number}" for number, thing in enumerate(shown)}
    return Drawing(
        name=name,
        title=title,
        about=about,
        nodes=tuple(_thing_node(ids[thing], thing, locking) for thing in shown),
        edges=tuple(_lock_edge(lock, ids) for lock in locks),
        legend=(*LEGEND_WHOLE, *says),
        notes=tuple(_notes(locking)),
    )


def _notes(locking: Locking) -> Iterator[str]:
    if locking.rings:
        rings = "; ".join(" and ".join(thing.spoken for thing in ring) for ring in locking.rings)
        yield f"Each holds the other: {rings}."
    if locking.free:
        yield f"Nothing reads or moves: {', '.join(thing.spoken for thing in locking.free)}."


def _lock_edge(lock: Lock, ids: dict[Thing, str]) -> Edge:
    kinds = {actor.kind for actor in lock.actors}
    line = Line.DASHED if ActorKind.TRIP in kinds and ActorKind.COMMAND not in kinds else Line.SOLID
    said = "; ".join(f"{ACTORS[actor.kind][1]} “{actor.name}” (line {actor.line})" for actor in lock.actors)
    return Edge(tail=ids[lock.holder], head=ids[lock.held], line=line, tooltip=said)


def _thing_node(id_: str, thing: Thing, locking: Locking) -> Node:
    lines = wrapped(thing.spoken, 22, 2)
    if thing.kind in {ThingKind.SENSOR, ThingKind.TIMER}:
        lines = (*wrapped(f"{thing.kind.value} {thing.spoken}", 22, 3), *wrapped(thing.says, 26, 3))
    reads = ", ".join(read.name for read in locking.sources(thing))
    said = f"{thing.kind.value} {thing.name}" + (f": {thing.says} (reads {reads})" if thing.says else "")
    return Node(id=id_, lines=lines, shape=SHAPES[thing.kind], tooltip=said)


class _Part(Struct, frozen=True, kw_only=True):
    """One picture's share: who moves *thing*, to *value* or (empty) to any."""

    thing: Thing
    value: str
    actors: tuple[Actor, ...]


def _focused(locking: Locking, about: About) -> Iterator[Drawing]:
    chosen: list[_Picture] = []
    for thing in locking.things:
        actors = tuple(a for a in locking.actors if any(move.thing == thing for move in a.moves))
        if any(actor.conditions for actor in actors):
            whole = _Part(thing=thing, value="", actors=actors)
            pictures = [_Picture(locking, part, about) for part in (whole, *_by_value(whole))]
            chosen += pictures[:1] if len(pictures[0].nodes) <= MOST_NODES else pictures[1:]
    names = slugs([*WHOLE, *(picture.subject for picture in chosen)])[len(WHOLE) :]
    for picture, name in zip(chosen, names, strict=True):
        yield picture.drawing(f"locks.{name}")


def _by_value(part: _Part) -> Iterator[_Part]:
    moved = [(move.value, actor) for actor in part.actors for move in actor.moves if move.thing == part.thing]
    for value in dict.fromkeys(value for value, _ in moved):
        yield _Part(thing=part.thing, value=value, actors=tuple(actor for given, actor in moved if given == value))


class _Picture:
    """Builds the picture of what must be true before one thing changes."""

    def __init__(self, locking: Locking, part: _Part, about: About) -> None:
        self._locking, self._part, self._about = locking, part, about
        self.nodes: dict[object, Node] = {}
        self._edges: dict[tuple[str, str], Edge] = {}
        for actor in part.actors:
            self._add_actor(actor)

    def _id(self) -> str:
        return f"n{len(self.nodes)}"

    def _add_actor(self, actor: Actor) -> None:
        shape, kind = ACTORS[actor.kind]
        lines = (f"{kind}:", *wrapped(actor.name, 20, 4))
        tooltip = f"{kind} “{actor.name}” (line {actor.line})"
        node = self._node(actor, Node(id=self._id(), lines=lines, shape=shape, heavy=True, tooltip=tooltip))
        for condition in actor.conditions:
            self._join(self._add_condition(condition), node)
        for move in actor.moves:
            if move.thing == self._part.thing and self._part.value in {"", move.value}:
                self._join(node, self._add_move(move.thing, move.value))

    def _add_move(self, thing: Thing, value: str) -> str:
        lines = wrapped(f"{thing.spoken} = {value}", 16, 4)
        return self._node((thing, value), Node(id=self._id(), lines=lines, shape=SHAPES[thing.kind], doubled=True))

    def _add_condition(self, condition: Condition) -> str:
        lines = (
            (*wrapped(condition.name, 32, 2), *wrapped(condition.text, 36, 2))
            if condition.name
            else wrapped(condition.text, 36, 4)
        )
        tooltip = f"{condition.name or 'condition'}: {condition.text} (line {condition.line})"
        key = (condition.name, condition.text)
        is_new = key not in self.nodes
        node = self._node(key, Node(id=self._id(), lines=lines, shape=Shape.TEXT, tooltip=tooltip))
        if is_new:
            for read in condition.reads:
                self._join(self._add_thing(read), node)
        return node

    def _add_thing(self, thing: Thing) -> str:
        is_new = thing not in self.nodes
        node = self._node(thing, _thing_node(self._id(), thing, self._locking))
        if is_new:
            for read in self._locking.sources(thing):
                self._join(self._add_thing(read), node)
        return node

    def _node(self, key: object, node: Node) -> str:
        return self.nodes.setdefault(key, node).id

    def _join(self, tail: str, head: str) -> None:
        self._edges.setdefault((tail, head), Edge(tail=tail, head=head))

    @property
    def subject(self) -> str:
        """What the picture is about."""
        return f"{self._part.thing.spoken} {self._part.value}"

    def drawing(self, name: str) -> Drawing:
        """Return the drawing."""
        thing, value = self._part.thing, self._part.value
        becomes = f"becomes {value}" if value else "changes"
        return Drawing(
            name=name,
            title=f"What must be true before {thing.spoken} {becomes}",
            about=self._about,
            nodes=tuple(self.nodes.values()),
            edges=tuple(self._edges.values()),
            across=True,
            gaps=TIGHT,
            legend=LEGEND,
        )
