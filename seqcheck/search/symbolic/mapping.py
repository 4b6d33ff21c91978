"""Sorts the reachable states by what some expressions are worth, and counts what leads from one group of them to another.

No state is listed. A group is a set as a diagram. A move is a function of the state before it, so the states of a group from
which it leads into another one are those of the group that lie in the preimage of each value of the other.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import TypeAlias

from msgspec import Struct

from seqcheck.model.expression import Expression
from seqcheck.model.model import Hazard, Model
from seqcheck.search.engine import NO_EXTRAS, Stop
from seqcheck.search.symbolic.budget import Budget
from seqcheck.search.symbolic.diagrams import Node, OutOfNodes
from seqcheck.search.symbolic.moves import Move
from seqcheck.search.symbolic.reaching import Halt, Reached
from seqcheck.search.symbolic.symbolic import Search

Place: TypeAlias = tuple[int, ...]
"""Which band of each scale a group is in."""

Bands: TypeAlias = tuple[tuple[int, Node], ...]
"""Numbers of bands with the states in each."""


class Scale(Struct, frozen=True, kw_only=True):
    """What states are sorted by: an expression, and which of its values count as one.

    A state in which it has no value, or none of these, is in a band of its own behind them.
    """

    value: Expression
    bands: tuple[tuple[int, ...], ...]


class Group(Struct, frozen=True, kw_only=True):
    """The reachable states in one place.

    *met* maps the numbers of hazards to the number of states that meet them, *failing* are states in which some step fails,
    *inside* is the number of transitions that stay within the group.
    """

    place: Place
    states: int
    starts: int
    met: Mapping[int, int]
    failing: int
    inside: int


class Crossing(Struct, frozen=True, kw_only=True):
    """How many transitions a step (None: a tick) makes from one group to another, both by number."""

    tail: int
    head: int
    step: int | None
    transitions: int


class Empty(Struct, frozen=True, kw_only=True):
    """A place that no reachable state is in, and the hazards that every state there would meet."""

    place: Place
    hazards: tuple[int, ...]


class Sorted(Struct, frozen=True, kw_only=True):
    """All groups and crossings, and the places without reachable states in which a hazard would be met.

    *possible* is the number of places that the values allow, reachable or not. *met* are the reachable states that meet each
    hazard. Of the hazards that are *told* each place says whether they are met: in all its states, or in none.
    """

    groups: tuple[Group, ...]
    crossings: tuple[Crossing, ...]
    empty: tuple[Empty, ...]
    possible: int
    met: Mapping[int, int]
    told: frozenset[int]


class Quotient:
    """The reachable states of one model. *stopped*: only those found until then. Raises `Unfit`, `Halt` and `OutOfNodes`."""

    def __init__(self, model: Model, budget: Budget) -> None:
        search = Search(model, budget, NO_EXTRAS)
        self._budget = budget
        self._parts = search.parts
        self._space = search.parts.space
        self._valid = self._space.valid()
        self._reached = self._all()
        self.stopped: Stop | None = budget.stopped
        truth = search.parts.moves.truth
        rules = ((number, p.rule) for number, p in enumerate(model.properties))
        self._hazards = {number: truth(rule.must_not_be.test) for number, rule in rules if isinstance(rule, Hazard)}
        failing = (states for move in self._parts.every for _, states in move.failing)
        self._failing = self._space.any(failing) & self._reached
        self.states = self._space.count(self._reached)

    def _all(self) -> Node:
        reaching = self._parts.reaching
        try:
            return reaching.all()
        except Halt:
            self._budget.lift()
        except OutOfNodes:
            self._budget.stopped = Stop.MEMORY
            self._budget.lift()
            reaching.give_up_all_but_layers()
        return reaching.reached.states | reaching.covered

    def values(self, value: Expression) -> tuple[int, ...]:
        """Return the values that an expression can have, in reachable states or not, lowest first."""
        origin = self._parts.moves.origin
        cases, valid = origin.number(value), self._valid & ~origin.lacking(value)
        return tuple(raw for raw in sorted(cases) if (cases[raw] & valid).satisfiable())

    def count(self, scales: Sequence[Scale], most: int) -> int:
        """Return the number of groups; no more than *most* are counted."""
        counted = 0
        for _ in self._split(self._reached, [self._bands(scale) for scale in scales]):
            counted += 1
            if counted == most:
                break
        return counted

    def sorted(self, scales: Sequence[Scale]) -> Sorted:
        """Sort the states. Takes a while for more than some thousand places."""
        bands = [self._bands(scale) for scale in scales]
        groups: list[tuple[Place, Node]] = []
        empty: list[Empty] = []
        told, possible = set(self._hazards), 0
        for place, valid in self._split(self._valid, bands):
            self._look()
            possible += 1
            here = valid & self._reached
            would = self._would_be_met(valid, told)
            if here.satisfiable():
                groups.append((place, here))
            elif would:
                empty.append(Empty(place=place, hazards=would))
        crossings, inside = [], [0] * len(groups)
        for one in self._crossings(scales, bands, groups):
            if one.tail == one.head:
                inside[one.tail] += one.transitions
            else:
                crossings.append(one)
        return Sorted(
            groups=tuple(self._group(place, states, inside[number]) for number, (place, states) in enumerate(groups)),
            crossings=tuple(crossings),
            empty=tuple(empty),
            possible=possible,
            met={number: self._space.count(self._reached & hazard) for number, hazard in self._hazards.items()},
            told=frozenset(told),
        )

    def _would_be_met(self, valid: Node, told: set[int]) -> tuple[int, ...]:
        """Return the hazards that all states of a place meet; those that only some meet are no longer *told*."""
        found = []
        for number, hazard in self._hazards.items():
            if (valid & hazard).satisfiable():
                if (valid & ~hazard).satisfiable():
                    told.discard(number)
                else:
                    found.append(number)
        return tuple(found)

    def _bands(self, scale: Scale) -> Bands:
        origin = self._parts.moves.origin
        cases, lacking = origin.number(scale.value), origin.lacking(scale.value)
        bands = [self._space.any(cases[raw] for raw in band if raw in cases) & ~lacking for band in scale.bands]
        return tuple(enumerate([*bands, ~self._space.any(bands)]))

    def _split(self, states: Node, bands: Sequence[Bands], place: Place = ()) -> Iterator[tuple[Place, Node]]:
        """Yield the parts of a set that are not empty, with their places, in order."""
        if len(place) == len(bands):
            yield place, states
            return
        for number, band in bands[len(place)]:
            part = states & band
            if part.satisfiable():
                yield from self._split(part, bands, (*place, number))

    def _crossings(
        self, scales: Sequence[Scale], bands: Sequence[Bands], groups: Sequence[tuple[Place, Node]]
    ) -> Iterator[Crossing]:
        """Yield how many transitions each move makes from each group into each that was found, itself included."""
        number_of = {place: number for number, (place, _) in enumerate(groups)}
        for move in self._parts.every:
            self._look()
            after = self._after(move, scales, bands)
            for tail, (place, states) in enumerate(groups):
                here = states & move.changing
                if here.satisfiable():
                    leading = [led or ((place[n], self._space.true),) for n, led in enumerate(after)]
                    for head, part in self._split(here, leading):
                        if head in number_of:
                            transitions = self._space.count(part)
                            yield Crossing(tail=tail, head=number_of[head], step=move.number, transitions=transitions)

    def _after(self, move: Move, scales: Sequence[Scale], bands: Sequence[Bands]) -> list[Bands | None]:
        """Return for each scale the states from which a move leads into each band; None where it leaves the value as it is."""
        touched = self._space.owners(bit for bit, _ in move.becoming)
        reads = self._parts.facts.reads
        return [
            None if touched.isdisjoint(reads(scale.value)) else tuple((number, move.preimage(band)) for number, band in nodes)
            for scale, nodes in zip(scales, bands, strict=True)
        ]

    def _group(self, place: Place, states: Node, inside: int) -> Group:
        counted = {hazard: self._space.count(states & node) for hazard, node in self._hazards.items()}
        return Group(
            place=place,
            states=self._space.count(states),
            starts=self._space.count(states & self._parts.reaching.starts),
            met={hazard: met for hazard, met in counted.items() if met},
            failing=self._space.count(states & self._failing),
            inside=inside,
        )

    def _look(self) -> None:
        """Look at the limits on time and memory. Raises `Halt`."""
        self._budget.check(Reached(states=self._space.false))
