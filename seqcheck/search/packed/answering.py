"""Turns what a search noted into its answers, with shortest traces."""

from collections.abc import Iterator, Sequence
from itertools import chain
from typing import overload

import numpy as np
from numpy.typing import NDArray

from seqcheck.model import semantics
from seqcheck.model.expression import Expression
from seqcheck.model.model import Forbid, Model, State
from seqcheck.model.run import Failure
from seqcheck.search.engine import Exploration, Listed, Remarkable, Stop, Trace
from seqcheck.search.failing import Cause, cause, failure_of
from seqcheck.search.packed.expanding import entered_sizes
from seqcheck.search.packed.graph import Grapher, Judged
from seqcheck.search.packed.layout import Layout, Packed
from seqcheck.search.packed.program import mover
from seqcheck.search.packed.reaching import Remark
from seqcheck.search.packed.rolls import Exhausted
from seqcheck.search.packed.searching import Search, Span
from seqcheck.search.packed.tracing import Tracer

NAME = "packed"

UNPACKED = 1 << 12
"""States unpacked at a time."""

Met = tuple[Span, int, int]
"""Cost, position and step of something that was met with."""


class Answering:
    """Answers for one search."""

    def __init__(self, model: Model, search: Search, watches: Sequence[Expression]) -> None:
        self._model, self._search, self._watches = model, search, watches
        self._slots = search.program.slots
        self._tracer = Tracer(model, search, mover(model, search.program.layout, watches))

    def answer(self, *, wants_evidence: bool) -> Exploration:
        """Return all answers."""
        search, nbytes = self._search, self._search.nbytes
        judged = self._judge_graph()
        complete = judged is not None
        notes = [int(note) for note in np.bitwise_or.reduce([visitor.notes for visitor in search.visitors])]
        return Exploration(
            states=search.states,
            transitions=search.transitions,
            stopped=search.reach.stopped,
            complete_steps=search.reach.complete_steps,
            found=self._found() | (judged.found if judged is not None else {}),
            failures=self._failures(),
            unjudged=self._unjudged(),
            never=self._never() if complete else frozenset(),
            entered=self._entered() if complete else (frozenset(),) * len(self._model.variables),
            acted=frozenset(n for n in range(len(self._model.reactions)) if notes[self._slots.acted(n)]),
            passing=frozenset(n for n in range(len(self._model.properties)) if notes[self._slots.passing(n)]),
            dead_ends=self._remarkable(search.reach.dead),
            time_stuck=self._remarkable(search.reach.jammed),
            engine=NAME,
            bytes_per_state=nbytes / max(1, search.states),
            evidence=self._evidence(judged) if judged is not None and wants_evidence else None,
        )

    def _judge_graph(self) -> Judged | None:
        """Judge what needs the whole graph; a limit or an interruption leaves it undecided."""
        if self._search.reach.stopped is not None:
            return None
        try:
            return Grapher(self._model, self._search, self._tracer, self._goes_on).judge()
        except KeyboardInterrupt:
            self._search.reach.stopped = Stop.INTERRUPTED
        except Exhausted as limit:
            self._search.reach.stopped = limit.stop
        return None

    def _goes_on(self) -> bool:
        self._search.reach.stopped = self._search.look()
        return self._search.reach.stopped is None

    def _met(self, slot: int) -> list[Met]:
        """Return the sources that the threads noted for a slot, cheapest first."""
        rows = [visitor.found[slot] for visitor in self._search.visitors if visitor.found[slot, 0] >= 0]
        return sorted((self._search.cost_of(int(position)), int(position), int(step)) for position, step in rows)

    def _attempted(self, position: int, step: int) -> Met:
        """Return what it costs to attempt a step, a tick or a start."""
        tick = self._search.program.tick
        if step > tick:
            return (-1, 0), position, step
        steps, ticks = self._search.cost_of(position)
        return ((steps, ticks + 1) if step == tick else (steps + 1, ticks)), position, step

    def _found(self) -> dict[int, Trace]:
        """Return the traces of the properties that the search itself settles."""
        traces: dict[int, Trace] = {}
        for number, p in enumerate(self._model.properties):
            for _, position, _ in self._met(self._slots.found(number))[:1]:
                if isinstance(p.rule, Forbid):
                    traces[number] = self._tracer.attempt(position, p.rule.step)
                else:
                    traces[number] = self._tracer.trace(position)
        for number in self._slots.onlys:
            slot = self._slots.made(number)
            made = [self._attempted(position, step) for _, position, step in (*self._met(slot), *self._met(slot + 1))]
            if made:
                traces[number] = self._tracer.attempt(*min(made)[1:])
        return traces

    def _unjudged(self) -> dict[int, Trace]:
        met = {number: self._met(self._slots.unjudged(number)) for number in range(len(self._model.properties))}
        return {number: self._tracer.trace(some[0][1]) for number, some in met.items() if some}

    def _never(self) -> frozenset[int]:
        return frozenset(n for n in range(len(self._watches)) if not self._met(self._slots.watched(n)))

    def _failures(self) -> tuple[Trace, ...]:
        """Return a shortest trace for each failure that was met: starts first, then by cost."""
        kept: dict[Cause, Met] = {}
        for failed, met in self._failed():
            kept[failed] = min(met, kept.get(failed, met))
        tick = self._search.program.tick
        return tuple(
            Trace(raw_start=self._tracer.raw_at(position), states=()) if step > tick else self._tracer.attempt(position, step)
            for _, position, step in sorted(kept.values())
        )

    def _failed(self) -> Iterator[tuple[Cause, Met]]:
        """Yield what fails, with the first source for each place in the program where it does."""
        for visitor in self._search.visitors:
            for position, step in {(int(p), int(s)) for p, s in visitor.troubles if p >= 0}:
                failure = self._failure_at(position, step)
                if failure is not None:
                    yield cause(failure), self._attempted(position, step)
        for slowly in self._search.slowly:
            for (failed, _), (position, step) in slowly.troubles.items():
                yield failed, self._attempted(position, step)

    def _failure_at(self, position: int, step: int) -> Failure | None:
        """Return what the plain definition says of an attempt."""
        tick = self._search.program.tick
        if step <= tick:
            return failure_of(self._model, self._tracer.state(position), None if step == tick else step)
        try:
            semantics.settle(self._model, self._tracer.raw_at(position))
        except semantics.Failed as failed:
            return failed.failure
        return None

    def _entered(self) -> tuple[frozenset[int], ...]:
        """Return the values that each variable has in some of the states expanded."""
        flags = np.bitwise_or.reduce([visitor.entered for visitor in self._search.visitors])
        first, values = 0, []
        for place, size in enumerate(entered_sizes(self._model)):
            some = np.flatnonzero(flags[first : first + size]) + self._model.variables[place].lowest
            values.append(frozenset(some.tolist()) if size else self._values_of(place))
            first += size
        return tuple(values)

    def _values_of(self, place: int) -> frozenset[int]:
        """Return the values of a variable that has very many."""
        layout = self._search.program.layout
        pieces = [states for roll in self._search.orders for _, states in roll.pieces(0, roll.length, 1 << 16)]
        return frozenset().union(*(np.unique(layout.column(states, place)).tolist() for states in pieces))

    def _remarkable(self, remark: Remark) -> Remarkable | None:
        if not remark.count:
            return None
        return Remarkable(count=remark.count, trace=self._tracer.trace(remark.first))

    def _evidence(self, judged: Judged) -> Listed:
        order = Order(self._search)
        ranks = {number: Ranks(np.concatenate(of_owners)) for number, of_owners in judged.ranks.items()}
        return Listed(states=order, ranks=ranks)


class Order(Sequence[State]):
    """All states in the order of the owners' lists, unpacked when they are asked for. It can be pickled: packed."""

    def __init__(self, search: Search) -> None:
        self._layout: Layout = search.program.layout
        self._parts = [states for roll in search.orders for _, states in roll.pieces(0, roll.length, roll.length)]
        self._begins = np.cumsum([0, *(len(part) for part in self._parts)])

    def __len__(self) -> int:
        """Return how many states there are."""
        return int(self._begins[-1])

    @overload
    def __getitem__(self, place: int) -> State: ...
    @overload
    def __getitem__(self, place: slice) -> Sequence[State]: ...
    def __getitem__(self, place: int | slice) -> State | Sequence[State]:
        """Return a state, or several."""
        if isinstance(place, slice):
            return [self[i] for i in range(*place.indices(len(self)))]
        at = range(len(self))[place]
        number = int(np.searchsorted(self._begins, at, side="right")) - 1
        return self._layout.unpack([int(word) for word in self._parts[number][at - int(self._begins[number])]])

    def __iter__(self) -> Iterator[State]:
        """Yield all states, unpacked some thousands at a time."""
        pieces = (part[first : first + UNPACKED] for part in self._parts for first in range(0, len(part), UNPACKED))
        return chain.from_iterable(map(self._unpacked, pieces))

    def _unpacked(self, states: Packed) -> Iterator[State]:
        yield from zip(*(self._layout.column(states, i).tolist() for i in range(len(self._layout.fields))), strict=True)


class Ranks(Sequence[int]):
    """A number for each state, four bytes each."""

    def __init__(self, numbers: NDArray[np.int32]) -> None:
        self._numbers = numbers

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self._numbers)

    @overload
    def __getitem__(self, place: int) -> int: ...
    @overload
    def __getitem__(self, place: slice) -> Sequence[int]: ...
    def __getitem__(self, place: int | slice) -> int | Sequence[int]:
        """Return one, or several."""
        return Ranks(self._numbers[place]) if isinstance(place, slice) else int(self._numbers[place])

    def __iter__(self) -> Iterator[int]:
        """Yield all."""
        for first in range(0, len(self._numbers), UNPACKED):
            yield from self._numbers[first : first + UNPACKED].tolist()
