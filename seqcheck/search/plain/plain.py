"""The `plain` engine: every reachable state by breadth-first search with generated Python, for machines up to some 10^5 states.

Waiting costs nothing, so states are visited in the order of (steps, time): a layer holds all states of one number of
steps, sorted into buckets by time. A tick leads into a later bucket of the same layer, anything else into the next layer.
"""

import gc
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from operator import itemgetter

from seqcheck.model import semantics
from seqcheck.model.expression import Expression
from seqcheck.model.model import Model, State
from seqcheck.search.engine import NO_EXTRAS, Exploration, Extras, Limits, Listed, Observer, Progress, Remarkable, Stop
from seqcheck.search.plain.graph import Judged, judge_graph
from seqcheck.search.plain.program import STEP, Board, Compiled
from seqcheck.search.plain.tracing import Tracer

CHUNK = 2048
"""States visited between two looks at the limits."""


class PlainEngine:
    """Generated Python over tuples of integers."""

    name = "plain"

    def explore(
        self,
        model: Model,
        watches: tuple[Expression, ...],
        limits: Limits,
        observer: Observer,
        extras: Extras = NO_EXTRAS,
    ) -> Exploration:
        """Search every reachable state of *model*, or as far as *limits* allow. Memory: some 200 to 800 bytes a state."""
        with collector_off():
            return Search(model, limits, observer, wants_evidence=extras.evidence).run(watches)


@contextmanager
def collector_off() -> Iterator[None]:
    """Keep the garbage collector from walking millions of tuples that hold no cycle."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


@dataclass(slots=True)
class Reach:
    """How far a search has come."""

    transitions: int = 0
    layer: int = 0
    complete_steps: int = -1
    stopped: Stop | None = None


class Search:
    """One search of one model."""

    def __init__(self, model: Model, limits: Limits, observer: Observer, *, wants_evidence: bool) -> None:
        self._model = model
        self._wants_evidence = wants_evidence
        self._limits = limits
        self._observer = observer
        self._board = Board(len(model.properties), len(model.reactions))
        self._compiled = Compiled(model, self._board)
        self._tracer = Tracer(model, self._board)
        self._order: list[State] = []
        self._reach = Reach()
        self._began = time.monotonic()

    def run(self, watches: tuple[Expression, ...]) -> Exploration:
        """Search, then answer."""
        try:
            layer = self._starts()
            while layer and self._reach.stopped is None:
                layer = self._search_layer(layer)
        except KeyboardInterrupt:
            self._reach.stopped = Stop.INTERRUPTED
        return self._answer(watches)

    def _starts(self) -> dict[int, list[State]]:
        """Return the first layer: the settled starts."""
        found: list[State] = []
        for raw in semantics.raw_starts(self._model):
            self._compiled.note_start(raw)
            try:
                state = semantics.settle(self._model, raw)
            except semantics.Failed as failed:
                self._tracer.note_failed_start(raw, failed.failure)
                continue
            if state not in self._board.seen:
                self._board.seen[state] = None
                self._board.cost[state] = 0
                self._tracer.raw_of[state] = raw
                found.append(state)
            if len(found) % CHUNK == 0 and self._exceeded(len(found)):
                break
        return {0: found} if found else {}

    def _search_layer(self, buckets: dict[int, list[State]]) -> dict[int, list[State]]:
        """Visit all states of one number of steps; return the next layer."""
        following: dict[int, list[State]] = {}
        waiting = sum(map(len, buckets.values()))
        while buckets and self._reach.stopped is None:
            moment = min(buckets)
            listed = buckets.pop(moment)
            bucket = self._still_waiting(listed, self._reach.layer * STEP + moment)
            waiting -= len(listed) - len(bucket)
            at = 0
            while at < len(bucket) and self._reach.stopped is None:
                part = bucket[at : at + self._chunk_size()]
                at += len(part)
                fresh, waits = self._visit(part, moment)
                if fresh:
                    following.setdefault(moment, []).extend(fresh)
                if waits:
                    buckets.setdefault(moment + 1, []).extend(waits)
                waiting += len(fresh) + len(waits) - len(part)
                self._exceeded(waiting)
            if at < len(bucket):
                return {}
        if not buckets:
            self._reach.complete_steps = self._reach.layer
            self._reach.layer += 1
        return following

    def _still_waiting(self, bucket: list[State], key: int) -> list[State]:
        """Leave out states that a cheaper way has overtaken."""
        if not self._compiled.timed:
            return bucket
        cost = self._board.cost
        live = [state for state in bucket if cost.get(state) == key]
        for state in live:
            del cost[state]
        return live

    def _visit(self, bucket: list[State], moment: int) -> tuple[list[State], list[State]]:
        fresh: list[State] = []
        waits: list[State] = []
        key = self._reach.layer * STEP + moment
        self._reach.transitions += self._compiled.expand(bucket, key, fresh, waits)
        self._order += bucket
        return fresh, waits

    def _chunk_size(self) -> int:
        if self._limits.states is None:
            return CHUNK
        room = self._limits.states - len(self._board.seen)
        return max(1, min(CHUNK, room // (len(self._model.steps) + 1)))

    def _exceeded(self, waiting: int) -> bool:
        """Look at the limits and report how far the search is."""
        states, limits = len(self._board.seen), self._limits
        if limits.states is not None and states > limits.states:
            self._reach.stopped = Stop.STATES
        elif limits.seconds is not None and time.monotonic() - self._began > limits.seconds:
            self._reach.stopped = Stop.SECONDS
        elif limits.memory_mb is not None and resident_mb() > limits.memory_mb:
            self._reach.stopped = Stop.MEMORY
        reach = self._reach
        self._observer(Progress(states=states, transitions=reach.transitions, layer=reach.layer, waiting=waiting))
        return reach.stopped is not None

    def _judge_graph(self) -> Judged | None:
        """Judge what needs the whole graph; a limit or an interruption leaves it undecided."""
        if self._reach.stopped is not None:
            return None
        try:
            return judge_graph(self._model, self._compiled, self._tracer, self._order, lambda: not self._exceeded(0))
        except KeyboardInterrupt:
            self._reach.stopped = Stop.INTERRUPTED
            return None

    def _answer(self, watches: tuple[Expression, ...]) -> Exploration:
        board, judged = self._board, self._judge_graph()
        complete = judged is not None
        return Exploration(
            states=len(board.seen),
            transitions=self._reach.transitions,
            stopped=self._reach.stopped,
            complete_steps=self._reach.complete_steps,
            found=self._tracer.found() | (judged.found if judged is not None else {}),
            failures=self._tracer.failures(),
            unjudged={number: self._tracer.trace(state) for number, (state, _) in board.unjudged.items()},
            never=self._compiled.some(watches, self._order) if complete else frozenset(),
            entered=tuple(entered(self._order, place) for place in range(len(self._model.variables))),
            acted=frozenset(number for number, flag in enumerate(board.acted) if flag),
            passing=frozenset(number for number, flag in enumerate(board.passing) if flag),
            dead_ends=self._remarkable(board.dead),
            time_stuck=self._remarkable(board.jammed),
            engine=PlainEngine.name,
            evidence=Listed(states=self._order, ranks=judged.ranks) if judged is not None and self._wants_evidence else None,
        )

    def _remarkable(self, states: Sequence[State]) -> Remarkable | None:
        if not states:
            return None
        return Remarkable(count=len(states), trace=self._tracer.trace(states[0]))


def entered(order: Sequence[State], place: int) -> frozenset[int]:
    """Return the values that a variable has in some of the states."""
    return frozenset(map(itemgetter(place), order))


def resident_mb() -> float:
    """Return the resident memory of this process in megabytes (10^6 bytes)."""
    import psutil

    return float(psutil.Process().memory_info().rss) / 1e6
