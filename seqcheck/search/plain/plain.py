"""The `plain` engine: every reachable state by breadth-first search with generated Python, for machines up to some 10^5 states.

Waiting costs nothing, so states are visited in the order of (steps, time): a layer holds all states of one number of
steps, sorted into buckets by time. A tick leads into a later bucket of the same layer, anything else into the next layer.
"""

import gc
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from operator import itemgetter

from seqcheck.model import semantics
from seqcheck.model.expression import Expression
from seqcheck.model.model import Model, State
from seqcheck.search.engine import NO_EXTRAS, Exploration, Extras, Limits, Listed, Observer, Progress, Remarkable, Stop
from seqcheck.search.limits import Allowance
from seqcheck.search.plain.account import Account
from seqcheck.search.plain.frontier import Frontier
from seqcheck.search.plain.graph import Judged, Noted, asked_of_graph, judge_graph
from seqcheck.search.plain.program import Board, Compiled
from seqcheck.search.plain.tracing import Tracer

CHUNK = 256
"""States visited between two looks at the limits: so many, each with a dozen successors, take 10 ms and a megabyte."""

MOST_NOTED = 4_000_000
"""Transitions that are noted for what is asked of the whole graph, which is quicker than working them out anew."""

GROWTH_BYTES = 40
"""A dictionary that grows takes so much for each entry until it has let go of its old table (CPython's dictobject.c)."""

FINISHING_S = 2.5e-7
"""Letting go of a state takes so long at the end."""

KEEPING_S, KEEPING_VALUE_S = 5e-7, 7e-8
"""Writing a state and its parent into a snapshot takes so long, and each of its values."""


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
        with collector_off(), Allowance(limits) as allowance:
            return Search(model, limits, allowance, observer, extras).run(watches)


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


class Search:
    """One search of one model."""

    def __init__(self, model: Model, limits: Limits, allowance: Allowance, observer: Observer, extras: Extras) -> None:
        self._model = model
        self._extras = extras
        self._limits = limits
        self._allowance = allowance
        self._observer = observer
        self._board = Board(len(model.properties), len(model.reactions))
        unlimited = limits.memory_mb is None and extras.keeper is None
        self._notes = unlimited and bool(asked_of_graph(model))
        self._compiled = Compiled(model, self._board, notes=self._notes)
        self._noted_all = self._notes
        self._tracer = Tracer(model, self._board)
        self._frontier = Frontier(timed=self._compiled.timed, cost=self._board.cost)
        self._account = Account(board=self._board, compiled=self._compiled, tracer=self._tracer, frontier=self._frontier)
        self._stopped: Stop | None = None
        self._torn = False
        keeping_s = KEEPING_S + KEEPING_VALUE_S * len(model.variables)
        self._finishing_s = FINISHING_S + (0 if extras.keeper is None else keeping_s)

    def run(self, watches: tuple[Expression, ...]) -> Exploration:
        """Search, then answer. A second Ctrl-C leaves a search torn: it answers, but cannot be taken up again from there."""
        judged: Judged | None = None
        try:
            if not self._torn_while_recalling():
                self._settle_starts()
                self._visit_all()
                judged = self._judge_graph()
        except KeyboardInterrupt:
            self._stopped, self._torn = Stop.INTERRUPTED, True
        self._keep(at_the_end=True)
        return self._answer(watches, judged)

    def _torn_while_recalling(self) -> bool:
        """Go on from a snapshot if there is one; tell whether that was stopped."""
        keeper = self._extras.keeper
        kept = keeper.kept(PlainEngine.name) if keeper is not None else None
        if kept is not None:
            self._torn = True
            from seqcheck.search.plain.recalling import Recalling

            self._torn = not Recalling(self._model, kept, self._account).read(lambda: not self._exceeded())
        return self._torn

    def _settle_starts(self) -> None:
        """Settle every start and let it wait to be visited."""
        board, account = self._board, self._account
        for raw in islice(semantics.raw_starts(self._model), account.starts_taken, None):
            account.starts_taken += 1
            self._compiled.note_start(raw)
            try:
                state = semantics.settle(self._model, raw)
            except semantics.Failed as failed:
                self._tracer.note_failed_start(raw, failed.failure)
                continue
            if state not in board.seen:
                board.seen[state] = None
                if self._notes:
                    board.number_of[state] = len(board.number_of)
                board.cost[state] = 0
                self._tracer.raw_of[state] = raw
                self._frontier.add_start(state)
            if (account.starts_taken % CHUNK == 0 or self._limits.states is not None) and self._exceeded():
                return

    def _visit_all(self) -> None:
        while self._stopped is None and not self._is_at_the_first() and (part := self._frontier.part(self._chunk_size())):
            fresh: list[State] = []
            waits: list[State] = []
            account = self._account
            account.transitions += self._compiled.expand(part, self._frontier.key, fresh, waits, len(account.order))
            account.order += part
            if len(self._board.source) > MOST_NOTED:
                self._noted_all = False
                self._board.source.clear()
                self._board.target.clear()
            self._frontier.add(fresh, waits)
            if not self._exceeded():
                self._keep()

    def _is_at_the_first(self) -> bool:
        """Tell whether the search is to end after this layer, the first with a violation."""
        if self._extras.first and self._tracer.violates() and self._frontier.closes_layer():
            self._stopped = Stop.FIRST
        return self._stopped is not None

    def _keep(self, *, at_the_end: bool = False) -> None:
        """Save a snapshot if it is time to, and when the search has been stopped."""
        keeper = self._extras.keeper
        if keeper is None or self._torn:
            return
        if keeper.due() or (at_the_end and self._stopped is not None):
            from seqcheck.search.plain.remembering import snapshot

            keeper.save(snapshot(self._model, self._account))

    def _chunk_size(self) -> int:
        if self._limits.states is None:
            return CHUNK
        room = self._limits.states - len(self._board.seen)
        return max(1, min(CHUNK, room // (len(self._model.steps) + 1)))

    def _exceeded(self) -> bool:
        """Look at the limits and report how far the search is."""
        states = len(self._board.seen)
        self._stopped = self._allowance.exceeded(states, states * self._finishing_s)
        if self._stopped is None and self._limits.memory_mb is not None and self._would_not_fit(states):
            self._stopped = Stop.MEMORY
        frontier, transitions = self._frontier, self._account.transitions
        self._observer(Progress(states=states, transitions=transitions, layer=max(0, frontier.layer), waiting=frontier.waiting))
        return self._stopped is not None

    def _would_not_fit(self, states: int) -> bool:
        """Tell whether a table that grows in the next chunk would exceed the limit on memory."""
        more = CHUNK * (len(self._model.steps) + 1)
        growing = grows(states, more) * states + grows(len(self._board.cost), more) * len(self._board.cost)
        return growing > 0 and self._allowance.room_mb() < growing * GROWTH_BYTES / 1e6

    def _judge_graph(self) -> Judged | None:
        """Judge what needs the whole graph; a limit or an interruption leaves it undecided."""
        if self._stopped is not None:
            return None
        self._keep()
        board = self._board
        noted = Noted(source=board.source, target=board.target, number_of=board.number_of) if self._noted_all else None
        return judge_graph(self._model, self._compiled, self._tracer, self._account.order, self._may_take, noted)

    def _may_take(self, megabytes: float) -> bool:
        """Tell whether a search that has visited everything may go on, and take so much memory for it."""
        if self._exceeded():
            return False
        if self._allowance.room_mb() < megabytes:
            self._stopped = Stop.MEMORY
        return self._stopped is None

    def _answer(self, watches: tuple[Expression, ...], judged: Judged | None) -> Exploration:
        board, order = self._board, self._account.order
        complete = judged is not None
        return Exploration(
            states=len(board.seen),
            transitions=self._account.transitions,
            stopped=self._stopped,
            complete_steps=self._frontier.complete_steps,
            found=self._tracer.found() | (judged.found if judged is not None else {}),
            failures=self._tracer.failures(),
            unjudged={number: self._tracer.trace(state) for number, (state, _) in board.unjudged.items()},
            never=self._compiled.some(watches, order) if complete else frozenset(),
            entered=tuple(entered(order if complete else (), place) for place in range(len(self._model.variables))),
            acted=frozenset(number for number, flag in enumerate(board.acted) if flag),
            passing=frozenset(number for number, flag in enumerate(board.passing) if flag),
            dead_ends=self._remarkable(board.dead),
            time_stuck=self._remarkable(board.jammed),
            engine=PlainEngine.name,
            evidence=Listed(states=order, ranks=judged.ranks) if judged is not None and self._extras.evidence else None,
        )

    def _remarkable(self, states: Sequence[State]) -> Remarkable | None:
        if not states:
            return None
        return Remarkable(count=len(states), trace=self._tracer.trace(states[0]))


def entered(order: Sequence[State], place: int) -> frozenset[int]:
    """Return the values that a variable has in some of the states."""
    return frozenset(map(itemgetter(place), order))


def grows(entries: int, more: int) -> bool:
    """Tell whether a dictionary of so many entries gets a new table if more are put in: it is full at two thirds of 2^n."""
    size = 8
    while size * 2 // 3 < entries:
        size *= 2
    return entries + more > size * 2 // 3
