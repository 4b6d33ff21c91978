"""Makes a map small enough to read: the least telling situations become one node, which says how many they are."""

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from typing import TypeAlias

from msgspec import Struct

from seqcheck.analyse.mapping.records import Met, SituationMap, Taken, Unreached
from seqcheck.model.run import StepKind

MOST_BOXES = 8
"""Nodes for what is not reached."""

KINDS = tuple(StepKind)
Box: TypeAlias = tuple[tuple[str, ...], ...]
"""For each axis the values of a node; all combinations of them belong to it."""


class Spot(Struct, frozen=True, kw_only=True):
    """A node of the map: one situation, or several, by number. *values* are those that occur in them, for each axis.

    *on_bad_run*: the shortest bad run passes it.
    """

    situations: tuple[int, ...]
    values: Box
    states: int
    starts: int
    hazards: tuple[Met, ...]
    failing: int
    on_bad_run: bool

    @property
    def marks(self) -> tuple[object, ...]:
        """What makes a node too telling to be merged with one that does not have the same."""
        return tuple(met.id for met in self.hazards), bool(self.starts), bool(self.failing), self.on_bad_run


class Way(Struct, frozen=True, kw_only=True):
    """All that leads from one node to another, both by number."""

    tail: int
    head: int
    taken: tuple[Taken, ...]
    on_bad_run: bool


class Never(Struct, frozen=True, kw_only=True):
    """So many combinations of values that are not reached and in which the same hazards would be met.

    Not *whole*: not all combinations of *values* belong to it.
    """

    values: Box
    combinations: int
    hazards: tuple[str, ...]
    whole: bool


class Condensed(Struct, frozen=True, kw_only=True):
    """The map as it is drawn. *path* are the nodes that the shortest bad run passes, in order."""

    spots: tuple[Spot, ...]
    ways: tuple[Way, ...]
    never: tuple[Never, ...]
    path: tuple[int, ...]


def condensed(full: SituationMap, most: int) -> Condensed:
    """Merge situations until no more than so many nodes are left, those for what is not reached included.

    Those without hazard, start or part in the bad run are merged first, neighbours that differ in the last axes only before
    others, fewest states first; then those that are marked alike. A node says in how many of its states a hazard is met.
    """
    never = _never(full)
    spots = _merged([_spot(full, (number,)) for number in range(len(full.situations))], full, max(1, most - len(never)))
    spots.sort(key=lambda spot: spot.situations)
    node_of = {number: node for node, spot in enumerate(spots) for number in spot.situations}
    path = [node_of[number] for number in (full.bad.path if full.bad else ())]
    path = [node for place, node in enumerate(path) if not place or path[place - 1] != node]
    return Condensed(spots=tuple(spots), ways=tuple(_ways(full, node_of, path)), never=tuple(never), path=tuple(path))


def _spot(full: SituationMap, numbers: Sequence[int]) -> Spot:
    members = [full.situations[number] for number in numbers]
    met = {hazard.id: 0 for hazard in full.hazards}
    for situation in members:
        for one in situation.hazards:
            met[one.id] += one.states
    return Spot(
        situations=tuple(sorted(numbers)),
        values=_occurring(full, [situation.values for situation in members]),
        states=sum(situation.states for situation in members),
        starts=sum(situation.starts for situation in members),
        hazards=tuple(Met(id=id_, states=states) for id_, states in met.items() if states),
        failing=sum(situation.failing for situation in members),
        on_bad_run=full.bad is not None and not set(numbers).isdisjoint(full.bad.path),
    )


def _occurring(full: SituationMap, combinations: Sequence[tuple[str, ...]]) -> Box:
    """Return for each axis the values that occur in some combinations, in the order of the axis."""
    found = [{values[place] for values in combinations} for place in range(len(full.axes))]
    return tuple(tuple(value for value in axis.values if value in some) for axis, some in zip(full.axes, found, strict=True))


Key: TypeAlias = Callable[[Spot], object]


def _keys(axes: int) -> Iterator[tuple[bool, Key]]:
    """Yield by what nodes are merged, the most telling differences kept longest; whether marked ones are merged too."""
    for marked in (False, True):
        for kept in range(axes - 1, -1, -1):
            yield marked, lambda spot, kept=kept: (spot.marks, spot.values[:kept])  # type: ignore[misc]
    yield True, lambda spot: bool(spot.hazards)
    yield True, lambda _: None


def _merged(spots: list[Spot], full: SituationMap, most: int) -> list[Spot]:
    plain = ((), False, False, False)
    for marked, key in _keys(len(full.axes)):
        buckets: dict[object, list[Spot]] = {}
        for spot in spots:
            if marked or spot.marks == plain:
                buckets.setdefault(key(spot), []).append(spot)
        for bucket in sorted(buckets.values(), key=lambda some: sum(spot.states for spot in some)):
            if len(spots) <= most:
                return spots
            if len(bucket) > 1:
                smallest = sorted(bucket, key=lambda spot: spot.states)[: len(spots) - most + 1]
                gone = {spot.situations for spot in smallest}
                numbers = [number for spot in smallest for number in spot.situations]
                spots = [*(spot for spot in spots if spot.situations not in gone), _spot(full, numbers)]
    return spots


def _ways(full: SituationMap, node_of: dict[int, int], path: Sequence[int]) -> Iterator[Way]:
    hops = set(pairwise(path))
    found: dict[tuple[int, int], dict[tuple[int, str, object], Taken]] = {}
    for passage in full.passages:
        ends = (node_of[passage.tail], node_of[passage.head])
        if ends[0] != ends[1]:
            kept = found.setdefault(ends, {})
            for one in passage.taken:
                key = (KINDS.index(one.kind), one.name, one.to)
                before = kept[key].transitions if key in kept else 0
                kept[key] = Taken(kind=one.kind, name=one.name, to=one.to, transitions=before + one.transitions)
    for ends, kept in sorted(found.items()):
        taken = tuple(sorted(kept.values(), key=lambda one: KINDS.index(one.kind)))
        yield Way(tail=ends[0], head=ends[1], taken=taken, on_bad_run=ends in hops)


def _never(full: SituationMap) -> list[Never]:
    """Return what is not reached and where a hazard would be met, in as few boxes as are quickly found."""
    by_hazards: dict[tuple[str, ...], list[Unreached]] = {}
    for one in full.unreached:
        by_hazards.setdefault(one.hazards, []).append(one)
    boxes = [
        Never(values=box, combinations=_volume(box), hazards=hazards, whole=True)
        for hazards, some in by_hazards.items()
        for box in _boxes(full, [one.values for one in some])
    ]
    if len(boxes) <= MOST_BOXES:
        return boxes
    joined = [_joined(full, hazards, some) for hazards, some in by_hazards.items()]
    return joined if len(joined) <= MOST_BOXES else [*joined[: MOST_BOXES - 1], _rest(full, joined[MOST_BOXES - 1 :])]


def _joined(full: SituationMap, hazards: tuple[str, ...], some: Sequence[Unreached]) -> Never:
    values = _occurring(full, [one.values for one in some])
    return Never(values=values, combinations=len(some), hazards=hazards, whole=_volume(values) == len(some))


def _rest(full: SituationMap, joined: Sequence[Never]) -> Never:
    """Return one node for the rest, in which one hazard or another would be met."""
    ids = {id_ for one in joined for id_ in one.hazards}
    return Never(
        values=tuple(() for _ in full.axes),
        combinations=sum(one.combinations for one in joined),
        hazards=tuple(hazard.id for hazard in full.hazards if hazard.id in ids),
        whole=False,
    )


def _boxes(full: SituationMap, combinations: Sequence[tuple[str, ...]]) -> list[Box]:
    """Join combinations that differ in one axis only, as long as there are any."""
    boxes: list[Box] = [tuple((value,) for value in values) for values in combinations]
    for place, axis in enumerate(full.axes):
        rows: dict[Box, list[str]] = {}
        for box in boxes:
            rows.setdefault((*box[:place], (), *box[place + 1 :]), []).extend(box[place])
        boxes = [(*key[:place], tuple(v for v in axis.values if v in some), *key[place + 1 :]) for key, some in rows.items()]
    return boxes


def _volume(box: Box) -> int:
    volume = 1
    for values in box:
        volume *= len(values)
    return volume
