"""Finds the least time in which layers of states can be passed.

Layer by layer, states are taken in the order of the time at which they can first be met. Not every tick is looked at: once
the steps of a run are fixed, the earliest moments at which they can be taken are sums and differences of the model's
durations (they solve a system of difference constraints; the earliest solution is a longest path), and a tick later for each
step that must come strictly before something elapses. Where every duration is a multiple of so many ticks, other moments
need not be looked at.
"""

from collections.abc import Iterator, Sequence
from math import gcd
from typing import TypeAlias

from msgspec import Struct, field

from seqcheck.model.expression import Apply, Expression, Op, Sense
from seqcheck.model.idling import reads_beside, settling_reads
from seqcheck.model.model import Model, State, Timer, TimerKind, condition_of
from seqcheck.search.symbolic.diagrams import Node, Space
from seqcheck.search.symbolic.moves import Move, Moves
from seqcheck.search.symbolic.valuing import Facts
from seqcheck.search.symbolic.waiting import Waiting

Moment: TypeAlias = tuple[int, int]
"""A layer and a time in ticks."""


class Clockwork:
    """Knows how fine the moments of one model must be looked at."""

    def __init__(self, facts: Facts, moves: Moves) -> None:
        self._facts = facts
        self._moves = moves
        model = facts.model
        durations = [timer.pt for timer in model.timers]
        durations += [d for clock in model.clocks for d in (clock.most, clock.latest) if d]
        durations += [c for step in model.steps for c in earliest(step.ready)]
        everything = list(all_reads(model))
        odd = any(reads_beside(model, test, timer) for timer in model.timers for test in everything)
        self.grain = 1 if odd or not durations else gcd(*durations)
        self._strict = [timer for timer in model.timers if self._is_strict(timer)]

    def _is_strict(self, timer: Timer) -> bool:
        """Tell whether anything may have to come strictly before a timer elapses."""
        model = self._facts.model
        if any(timer.variable in self._facts.reads(test) for test in settling_reads(model)):
            return True
        read = [test for test in all_reads(model) if timer.variable in self._facts.reads(test)]
        return bool(read) and (timer.kind is not TimerKind.TON or not all(helps(model, test, timer) for test in read))

    def strict_layers(self, layers: Sequence[Node]) -> int:
        """Return the number of layers in which something may have to come strictly before something elapses."""
        origin = self._moves.origin
        idle = [origin.variable(timer.variable)[0 if timer.kind is not TimerKind.TOF else timer.pt] for timer in self._strict]
        return sum(any((layer & ~still).satisfiable() for still in idle) for layer in layers)


def earliest(ready: Expression) -> Iterator[int]:
    """Yield the constants that a step's readiness compares a clock with."""
    match ready:
        case Apply(op=Op.AT_LEAST, operands=(_, constant)):
            yield getattr(constant, "value", 1)


def all_reads(model: Model) -> Iterator[Expression]:
    """Yield every expression that anything is decided or set by."""
    yield from settling_reads(model)
    for step in model.steps:
        yield from (guard.test for guard in step.guards)
        yield from (value for assign in step.program for value in assign.values)
    yield from (condition_of(p.rule).test for p in model.properties)


def helps(model: Model, test: Expression, timer: Timer) -> bool:
    """Tell whether a condition reads a timer's Q only where its being true helps the condition to be true."""
    match test:
        case _ if test == timer.q:
            return True
        case Apply(op=Op.AND | Op.OR, operands=operands):
            return all(helps(model, operand, timer) for operand in operands)
        case Sense(sensor=number):
            return helps(model, model.sensors[number].value, timer)
        case Apply(operands=operands):
            return not any(mentions(model, operand, timer) for operand in operands)
        case _:
            return not mentions(model, test, timer)


def mentions(model: Model, test: Expression, timer: Timer) -> bool:
    """Tell whether an expression depends on a timer."""
    match test:
        case Apply(operands=operands):
            return any(mentions(model, operand, timer) for operand in operands)
        case Sense(sensor=number):
            return mentions(model, model.sensors[number].value, timer)
        case _:
            return getattr(test, "variable", None) == timer.variable


class Timetable(Struct):
    """When the states of each layer can first be met. *grain* and *late*: moments are multiples of it, or up to *late* more.

    *onward* are, for each layer but the last, the steps that lead from it into the next, in file order.
    """

    space: Space
    onward: Sequence[Sequence[Move]]
    waiting: Waiting
    layers: Sequence[Node]
    grain: int
    late: int
    met: dict[Moment, Node] = field(default_factory=dict)

    def fill(self, starts: Node, aim: Node) -> int:
        """Note all moments up to the first in which a state of the last layer is an aim; return its time.

        Raises `ValueError` if there is none.
        """
        entries: dict[int, Node] = {0: starts & self.layers[0]}
        for number in range(len(self.layers)):
            last = number == len(self.layers) - 1
            entries, found = self._pass(number, entries, aim if last else None)
            if found is not None:
                return found
        raise ValueError(aim)

    def _pass(self, number: int, entries: dict[int, Node], aim: Node | None) -> tuple[dict[int, Node], int | None]:
        """Note the moments of one layer; return when the next one is entered, or the time at which an aim is met."""
        seen, following = self.space.false, dict[int, Node]()
        onward = self.onward[number] if aim is None else ()
        while entries:
            time = min(entries)
            states = entries.pop(time) & ~seen
            if not states.satisfiable():
                continue
            seen |= states
            self.met[number, time] = states
            if aim is not None and (states & aim).satisfiable():
                return {}, time
            for move in onward:
                entered = move.image(states) & self.layers[number + 1]
                if entered.satisfiable():
                    following[time] = following.get(time, self.space.false) | entered
            later = self.next(time)
            waited = self.waited(states, later - time) & self.layers[number]
            if waited.satisfiable():
                entries[later] = entries.get(later, self.space.false) | waited
        return following, None

    def next(self, time: int) -> int:
        """Return the next moment to look at."""
        passed = time % self.grain
        return time + 1 if passed < self.late else time - passed + self.grain

    def before(self, time: int) -> int:
        """Return the moment looked at before this one."""
        passed = time % self.grain
        return time - 1 if 0 < passed <= self.late + 1 else time - passed - self.grain + min(self.late, self.grain - 1)

    def waited(self, states: Node, ticks: int) -> Node:
        """Return the states after so many ticks, on all but the last of which nothing happens."""
        for _, move in self.taken(ticks):
            states = move.image(states & move.changing)
        return states

    def taken(self, ticks: int) -> Iterator[tuple[int, Move]]:
        """Yield the strides that make up a number of ticks, each with its length; the last is a tick."""
        left = ticks - 1
        for power in reversed(range(len(self.waiting.strides))):
            while left >= 1 << power:
                left -= 1 << power
                yield 1 << power, self.waiting.strides[power]
        if self.waiting.tick is not None:
            for _ in range(left + 1):
                yield 1, self.waiting.tick

    def walked_back(self, aim: Node, time: int, starts: Node) -> list[State]:
        """Return the states of a way that meets an aim in the last layer at that time."""
        number = len(self.layers) - 1
        state = self.space.pick(self.met[number, time] & aim)
        way = [state]
        while not (number == 0 and time == 0 and (starts & self.space.point(state)).satisfiable()):
            waited = self._waited_from(number, time, state)
            if waited is not None:
                time, passed = self.before(time), waited
                way += passed
            else:
                number -= 1
                way.append(self._stepped_from(number, time, state))
            state = way[-1]
        return way[::-1]

    def _waited_from(self, number: int, time: int, state: State) -> list[State] | None:
        """Return the states passed while waiting from the moment before, latest first; None if nobody waited."""
        earlier = self.before(time)
        if (number, earlier) not in self.met:
            return None
        strides = list(self.taken(time - earlier))
        here = self.space.point(state)
        for _, move in reversed(strides):
            here = move.preimage(here) & move.changing
            if not here.satisfiable():
                return None
        here &= self.met[number, earlier]
        if not here.satisfiable():
            return None
        passed = [self.space.pick(here)]
        for ticks, move in strides[:-1]:
            after = self.space.pick(move.image(self.space.point(passed[-1])))
            passed += [*reversed(between(passed[-1], after, ticks)), after]
        return passed[::-1]

    def _stepped_from(self, number: int, time: int, state: State) -> State:
        here, moment = self.space.point(state), self.met[number, time]
        return self.space.pick(next(s for move in self.onward[number] if (s := move.preimage(here) & moment).satisfiable()))


def between(before: State, after: State, ticks: int) -> list[State]:
    """Return the states passed in a stride, latest first: what runs advances by one a tick until it has come to its end."""
    return [
        tuple(min(one + passed, other) if one < other else other for one, other in zip(before, after, strict=True))
        for passed in reversed(range(1, ticks))
    ]
