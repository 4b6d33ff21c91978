"""Who locks whom: on a small door, on a ring, and on random machines against the definition."""

import itertools
from collections.abc import Iterator

from hypothesis import given, settings

from seqcheck.analyse.locking import ActorKind, Locking, Thing, ThingKind, locking
from seqcheck.model import semantics
from seqcheck.model.expression import Expression
from seqcheck.model.model import Model, VariableKind
from tests.analyse.asking import model_of
from tests.outside.machines import machines

DOOR = """
machine: A door with a bolt
parts: {door: [shut, open], light: bool}
panel: {key: [out, in]}
sensors: {door_shut: door = shut, quiet: NOT drive_on}
outputs: {drive: [off, on], bolt: [thrown, drawn]}
memory: {drive_on: bool}
timers: {rest: {kind: TON, in: quiet, pt: 2 s}}
commands:
  start: {permissives: {the door is shut: door_shut, the key is in: key = in}, then: {drive: on, drive_on: TRUE}}
  draw the bolt: {permissives: {it has rested: rest.Q}, then: {bolt: drawn}}
trips:
  the door opens: {when: NOT door_shut, then: {drive: off, drive_on: FALSE}}
people:
  open the door: {if: door = shut AND bolt = drawn, then: {door: open}}
hazards: {H1: {must not be: door = open AND drive = on}}
"""


def of(found: Locking, name: str) -> Thing:
    return next(thing for thing in found.things if thing.name == name)


def test_locks_are_followed_through_sensors_and_timers() -> None:
    found = locking(model_of(DOOR))
    locks = {(lock.holder.name, lock.held.name): {actor.name for actor in lock.actors} for lock in found.locks}
    assert locks == {
        ("door", "drive"): {"start", "the door opens"},
        ("door", "drive_on"): {"start", "the door opens"},
        ("key", "drive"): {"start"},
        ("key", "drive_on"): {"start"},
        ("drive_on", "bolt"): {"draw the bolt"},
        ("bolt", "door"): {"open the door"},
    }
    assert {tuple(thing.name for thing in ring) for ring in found.rings} == {("door", "drive_on", "bolt")}
    assert [thing.name for thing in found.free] == ["light"]
    assert found.sources(of(found, "rest")) == (of(found, "quiet"),)


def test_what_a_sensor_and_a_timer_say() -> None:
    found = locking(model_of(DOOR))
    assert {thing.name: thing.says for thing in found.things if thing.says} == {
        "door_shut": "door = shut",
        "quiet": "NOT drive_on",
        "rest": "TON of quiet",
    }
    start = next(actor for actor in found.actors if actor.name == "start")
    assert start.kind is ActorKind.COMMAND
    assert [(c.name, c.text, [r.name for r in c.reads]) for c in start.conditions] == [
        ("the door is shut", "door_shut", ["door_shut"]),
        ("the key is in", "key = in", ["key"]),
    ]
    assert [(move.thing.name, move.value) for move in start.moves] == [("drive", "on"), ("drive_on", "TRUE")]


def test_what_is_chosen_is_said_in_the_words_of_the_file() -> None:
    """Not in the numbers that stand for them."""
    drawn = '{bolt: "SEL(key = in, thrown, drawn)", drive_on: "SEL(key = in, TRUE, FALSE)"}'
    text = DOOR.replace("{bolt: drawn}", drawn).replace("NOT drive_on}", 'NOT drive_on, seen: "SEL(light, shut, door)"}')
    found = locking(model_of(text))
    (actor,) = [actor for actor in found.actors if actor.name == "draw the bolt"]
    assert [move.value for move in actor.moves] == ["SEL(key = in, thrown, drawn)", "SEL(key = in, TRUE, FALSE)"]
    assert of(found, "seen").says == "SEL(light, shut, door)"


def behind(found: Locking, condition_reads: tuple[Thing, ...]) -> set[str]:
    """Return the variables of the state, timers' too, on which a condition may rest."""
    pending, names = list(condition_reads), set[str]()
    while pending:
        thing = pending.pop()
        if thing.kind is ThingKind.SENSOR:
            pending += found.sources(thing)
        else:
            names.add(thing.name)
    return names


@settings(max_examples=40, deadline=None)
@given(machines(with_faults=False))
def test_nothing_else_decides_a_condition(text: str) -> None:
    """A condition keeps its value whatever becomes of a variable that is not said to be read."""
    model = model_of(text)
    found = locking(model)
    guards = [guard for step in model.steps if step.kind.value in {"command", "person", "plant"} for guard in step.guards]
    told = [c for actor in found.actors if actor.kind is not ActorKind.TRIP for c in actor.conditions]
    state = list(next(semantics.raw_starts(model)))
    for guard in guards:
        reads = next(c.reads for c in told if (c.line, c.text) == (guard.line, guard.text))
        names = behind(found, reads)
        others = [n for n, v in enumerate(model.variables) if v.name not in names and v.kind is not VariableKind.CLOCK]
        before = value(model, guard.test, state)
        assert all(value(model, guard.test, other) == before for other in changed(model, state, others))


def changed(model: Model, state: list[int], places: list[int]) -> Iterator[list[int]]:
    """Yield the state with one of some variables at each of its values."""
    for place in places:
        variable = model.variables[place]
        for raw in range(variable.lowest, variable.highest + 1):
            yield [*state[:place], raw, *state[place + 1 :]]


def value(model: Model, test: Expression, state: list[int]) -> int | None:
    try:
        return semantics.evaluate(model, test, state)
    except semantics.Impossible:
        return None


def test_rings_are_rings() -> None:
    found = locking(model_of(DOOR))
    pairs = {(lock.holder, lock.held) for lock in found.locks}
    for ring in found.rings:
        assert set(itertools.pairwise((*ring, ring[0]))) <= pairs
