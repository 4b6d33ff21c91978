"""Who locks whom: what each command, trip, person and plant rule reads before it moves anything, without faults."""

from collections.abc import Iterator, Sequence
from enum import Enum

import networkx as nx
from msgspec import Struct

from seqcheck.model.expression import Const, Expression, Load, Sense, walk
from seqcheck.model.model import Guard, Model, Program, VariableKind
from seqcheck.model.run import StepKind
from seqcheck.model.wording import wording


class ThingKind(Enum):
    """What can be read or moved."""

    PART = "part"
    PANEL = "panel item"
    SENSOR = "sensor"
    TIMER = "timer"
    OUTPUT = "output"
    MEMORY = "memory"


class ActorKind(Enum):
    """Who or what moves things."""

    COMMAND = "command"
    TRIP = "trip"
    PERSON = "person"
    PLANT = "plant rule"


KINDS = {
    VariableKind.PART: ThingKind.PART,
    VariableKind.PANEL: ThingKind.PANEL,
    VariableKind.OUTPUT: ThingKind.OUTPUT,
    VariableKind.MEMORY: ThingKind.MEMORY,
}
ACTORS = {StepKind.COMMAND: ActorKind.COMMAND, StepKind.PERSON: ActorKind.PERSON, StepKind.PLANT: ActorKind.PLANT}


class Thing(Struct, frozen=True, kw_only=True):
    """Something that can be read or moved; *says* is a sensor's expression or a timer's input, as the file would write it."""

    kind: ThingKind
    name: str
    spoken: str
    says: str
    line: int


class Condition(Struct, frozen=True, kw_only=True):
    """What must hold before somebody acts; *name* is a permissive's, else empty."""

    name: str
    text: str
    line: int
    reads: tuple[Thing, ...]


class Move(Struct, frozen=True, kw_only=True):
    """What becomes of a thing, as the file would write it."""

    thing: Thing
    value: str


class Actor(Struct, frozen=True, kw_only=True):
    """Who or what moves things, and under which conditions."""

    kind: ActorKind
    name: str
    line: int
    conditions: tuple[Condition, ...]
    moves: tuple[Move, ...]


class Lock(Struct, frozen=True, kw_only=True):
    """*holder* has a say in what can become of *held*, through *actors*; neither is a sensor or timer."""

    holder: Thing
    held: Thing
    actors: tuple[Actor, ...]


class Locking(Struct, frozen=True, kw_only=True):
    """All of it. *derived*: what sensors and timers read. *rings*: things that hold one another, in the order in which they do.

    *free* are the things that nobody can move once the machine is set up and that nobody asks for.
    """

    things: tuple[Thing, ...]
    actors: tuple[Actor, ...]
    derived: tuple[tuple[Thing, tuple[Thing, ...]], ...]
    locks: tuple[Lock, ...]
    rings: tuple[tuple[Thing, ...], ...]
    free: tuple[Thing, ...]

    def sources(self, thing: Thing) -> tuple[Thing, ...]:
        """Return what a sensor or timer reads."""
        return next((read for one, read in self.derived if one == thing), ())


class _Reader:
    """Knows the things of a model, and what an expression reads of them directly."""

    def __init__(self, model: Model) -> None:
        self._model = model
        self.variables = {
            place: Thing(kind=KINDS[v.kind], name=v.name, spoken=v.spoken, says="", line=v.line)
            for place, v in enumerate(model.variables)
            if v.kind in KINDS
        }
        self.timers = {timer.variable: self._timer(number) for number, timer in enumerate(model.timers)}
        self.sensors = tuple(
            Thing(kind=ThingKind.SENSOR, name=s.name, spoken=s.spoken, says=wording(model, s.value, labels=s.labels), line=0)
            for s in model.sensors
        )

        self._rank = {thing: number for number, thing in enumerate(self.things())}

    def _timer(self, number: int) -> Thing:
        timer = self._model.timers[number]
        says = f"{timer.kind.value} of {timer.input.text}"
        line = self._model.variables[timer.variable].line
        return Thing(kind=ThingKind.TIMER, name=timer.name, spoken=timer.text or _spaced(timer.name), says=says, line=line)

    def reads(self, expression: Expression) -> tuple[Thing, ...]:
        found: dict[Thing, None] = {}
        for part in walk(expression):
            if isinstance(part, Sense):
                found[self.sensors[part.sensor]] = None
            elif isinstance(part, Load):
                thing = self.variables.get(part.variable) or self.timers.get(part.variable)
                if thing is not None:
                    found[thing] = None
        return tuple(sorted(found, key=self._rank.__getitem__))

    def things(self) -> tuple[Thing, ...]:
        return (*self.variables.values(), *self.sensors, *self.timers.values())

    def condition(self, guard: Guard) -> Condition:
        return Condition(name=guard.name, text=guard.text, line=guard.line, reads=self.reads(guard.test))

    def moves(self, program: Program) -> Iterator[Move]:
        for assign in program:
            for place, value in zip(assign.targets, assign.values, strict=True):
                if place in self.variables:
                    yield Move(thing=self.variables[place], value=self._value(place, value))

    def _value(self, place: int, value: Expression) -> str:
        variable = self._model.variables[place]
        if isinstance(value, Const):
            shown = variable.shown(value.value)
            return str(shown).upper() if isinstance(shown, bool) else str(shown)
        return wording(self._model, value, labels=variable.labels)


def _spaced(name: str) -> str:
    return name.replace("_", " ")


def locking(model: Model) -> Locking:
    """Return who locks whom in *model*, which has no faults under study."""
    reader = _Reader(model)
    actors = tuple(_actors(model, reader))
    derived = (
        *((thing, reader.reads(s.value)) for thing, s in zip(reader.sensors, model.sensors, strict=True)),
        *((reader.timers[t.variable], reader.reads(t.input.test)) for t in model.timers),
    )
    locks = tuple(_locks(actors, dict(derived)))
    concerned = {t for a in actors for t in (*(m.thing for m in a.moves), *(r for c in a.conditions for r in c.reads))}
    concerned |= {read for _, reads in derived for read in reads}
    return Locking(
        things=reader.things(),
        actors=actors,
        derived=derived,
        locks=locks,
        rings=tuple(_rings(locks)),
        free=tuple(thing for thing in reader.things() if thing not in concerned),
    )


def _actors(model: Model, reader: _Reader) -> Iterator[Actor]:
    for step in model.steps:
        if step.kind in ACTORS:
            conditions = tuple(reader.condition(guard) for guard in step.guards)
            moves = tuple(reader.moves(step.program))
            yield Actor(kind=ACTORS[step.kind], name=step.name, line=step.line, conditions=conditions, moves=moves)
    for reaction in model.reactions:
        kind = ActorKind.TRIP if reaction.is_trip else ActorKind.PLANT
        conditions = (reader.condition(reaction.when),)
        moves = tuple(reader.moves(reaction.program))
        yield Actor(kind=kind, name=reaction.name, line=reaction.line, conditions=conditions, moves=moves)


def _locks(actors: Sequence[Actor], derived: dict[Thing, tuple[Thing, ...]]) -> Iterator[Lock]:
    found: dict[tuple[Thing, Thing], dict[Actor, None]] = {}
    for actor in actors:
        for condition in actor.conditions:
            for holder in _behind(condition.reads, derived):
                for move in actor.moves:
                    if holder != move.thing:
                        found.setdefault((holder, move.thing), {})[actor] = None
    for (holder, held), those in found.items():
        yield Lock(holder=holder, held=held, actors=tuple(those))


def _behind(reads: Sequence[Thing], derived: dict[Thing, tuple[Thing, ...]]) -> tuple[Thing, ...]:
    """Return the things that are moved, not read off others, on which those rest."""
    found: dict[Thing, None] = {}
    pending, seen = list(reads), set(reads)
    while pending:
        thing = pending.pop(0)
        if thing not in derived:
            found[thing] = None
            continue
        pending += [read for read in derived[thing] if read not in seen]
        seen.update(derived[thing])
    return tuple(found)


def _rings(locks: Sequence[Lock]) -> Iterator[tuple[Thing, ...]]:
    """Yield, for each set of things that all hold one another, its shortest ring."""
    names: dict[Thing, int] = {}
    for lock in locks:
        for thing in (lock.holder, lock.held):
            names.setdefault(thing, len(names))
    things = list(names)
    graph: nx.DiGraph[int] = nx.DiGraph()
    graph.add_edges_from((names[lock.holder], names[lock.held]) for lock in locks)
    for component in sorted(sorted(part) for part in nx.strongly_connected_components(graph) if len(part) > 1):
        rings = nx.simple_cycles(graph.subgraph(component), length_bound=_girth(graph.subgraph(component)))
        turned = [ring[ring.index(min(ring)) :] + ring[: ring.index(min(ring))] for ring in rings]
        yield from (tuple(things[number] for number in ring) for ring in sorted(turned))


def _girth(graph: "nx.DiGraph[int]") -> int:
    """Return the length of the shortest ring of a strongly connected graph of two nodes or more."""
    return min(int(nx.shortest_path_length(graph, head, tail)) + 1 for tail, head in graph.edges)
