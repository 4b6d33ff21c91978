"""Judges requirements on order and time by reading their definition over a run: no observer, nothing carried along.

A run is a list of moments: a settled state, and the ticks that have passed since the start. Whoever wants all runs of a
machine searches states together with what of the past still counts (`History`), which is checked against the reading.
"""

import heapq
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TypeAlias

from msgspec.structs import replace

from seqcheck.check import machine as tree
from seqcheck.compile.compile import compile_machine
from seqcheck.model import model as m
from seqcheck.model import semantics
from seqcheck.model.expression import Expression
from tests.outside.independent import Cost


@dataclass(frozen=True, slots=True)
class Truths:
    """What is asked of one state: A, which calls for something; B, which is asked for; C, which lets it off or forgets it.

    None: it has no value.
    """

    a: bool | None
    b: bool | None
    c: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """A response (*within* so many ticks) or a precedence (*within* is None), on a machine without any observer."""

    id: str
    model: m.Model
    conditions: tuple[Expression, Expression, Expression | None]
    within: int | None

    def truths(self, state: m.State) -> Truths:
        """Return what holds in a state."""
        return Truths(*(self._truth(condition, state) for condition in self.conditions))

    def _truth(self, condition: Expression | None, state: m.State) -> bool | None:
        try:
            return condition is not None and bool(semantics.evaluate(self.model, condition, state))
        except semantics.Impossible:
            return None

    def is_read(self, here: Truths) -> bool:
        """Tell whether all that has to be remembered of a state has a value."""
        return here.b is not None and here.c is not None and (here.a is not None or self.within is None)


def orders_of(machine: tree.Machine, faults: Sequence[str] = ()) -> list[Order]:
    """Return the responses and precedences of a file, their conditions stated as hazards of a machine that has no others."""
    parts = {r.id: _parts(r.rule) for r in machine.requirements if isinstance(r.rule, tree.Response | tree.Precedence)}
    stated = [condition for conditions, _ in parts.values() for condition in conditions if condition is not None]
    hazards = tuple(
        tree.Hazard(id=f"condition {n}", text="", condition=condition, risk=None, source="", span=condition.span)
        for n, condition in enumerate(stated)
    )
    model = compile_machine(replace(machine, hazards=hazards, requirements=()), faults)
    tests = iter([m.condition_of(p.rule).test for p in model.properties])
    orders = []
    for id_, (conditions, within) in parts.items():
        a, b, c = (None if condition is None else next(tests) for condition in conditions)
        assert a is not None
        assert b is not None
        orders.append(Order(id=id_, model=model, conditions=(a, b, c), within=within))
    return orders


def _parts(rule: tree.Rule) -> tuple[tuple[tree.Condition, tree.Condition, tree.Condition | None], int | None]:
    if isinstance(rule, tree.Response):
        return (rule.when, rule.then, rule.unless), rule.within_ticks
    assert isinstance(rule, tree.Precedence)
    return (rule.before, rule.first, rule.since), None


# --- the reading ---
def is_violated(order: Order, run: Sequence[tuple[Truths, int]]) -> bool:
    """Tell whether the last moment of a run violates a requirement, whatever came before it."""
    truths, times = [here for here, _ in run], [time for _, time in run]
    return is_unprepared(truths) if order.within is None else is_late(truths, times, order.within)


def is_late(truths: Sequence[Truths], times: Sequence[int], within: int) -> bool:
    """When A becomes true (a start counts) while B is false, B in some state before more than *within* has passed, or C."""
    for i, here in enumerate(truths):
        becomes_true = here.a and (i == 0 or not truths[i - 1].a)
        if not becomes_true or here.b or times[-1] - times[i] <= within:
            continue
        in_time = [truths[j] for j in range(i, len(truths)) if times[j] - times[i] <= within]
        if not any(later.b or later.c for later in in_time):
            return True
    return False


def is_unprepared(truths: Sequence[Truths]) -> bool:
    """A, and no B in this state or an earlier one, as far back as the last state with C; a B in that very state counts."""
    last_c = max((i for i, here in enumerate(truths) if here.c), default=0)
    return bool(truths[-1].a) and not any(here.b for here in truths[last_c:])


# --- all runs ---
@dataclass(frozen=True, slots=True, order=True)
class History:
    """What of the past counts: A in this state; how many ticks ago each call was made that is unanswered; a B that counts."""

    a: bool
    ages: tuple[int, ...]
    prepared: bool


NOTHING = History(a=False, ages=(), prepared=False)


def after(order: Order, past: History, here: Truths, ticks: int) -> History:
    """Return what counts once a state has been entered, *ticks* after the one before."""
    if order.within is None:
        return History(a=False, ages=(), prepared=bool(here.b or (past.prepared and not here.c)))
    most = order.within + 1
    ages = {min(age + ticks, most) for age in past.ages}
    if here.b or here.c:
        ages = {age for age in ages if age == most}
    elif here.a and not past.a:
        ages.add(0)
    return History(a=bool(here.a), ages=tuple(sorted(ages)), prepared=False)


def violates(order: Order, past: History, here: Truths) -> bool:
    """Tell whether a state with such a past violates a requirement."""
    return bool(here.a) and not past.prepared if order.within is None else order.within + 1 in past.ages


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """The cost of the cheapest violation, and of the cheapest way to a state in which a condition has no value."""

    violated: Cost | None
    valueless: Cost | None

    @property
    def verdict(self) -> str:
        """The word of the report."""
        if self.violated is not None:
            return "violated"
        return "holds" if self.valueless is None else "undecided"


Node: TypeAlias = tuple[m.State, History]
Entry: TypeAlias = tuple[Cost, m.State, History, int]
"""The cost of entering a state, with the past that is left behind, and the ticks that this takes."""


class Searching:
    """Searches all runs, cheapest first (Dijkstra, 1959)."""

    def __init__(self, order: Order) -> None:
        self._order = order
        self._costs: dict[Node, Cost] = {}
        self._queue: list[tuple[Cost, Node]] = []
        self._violated: list[Cost] = []
        self._valueless: list[Cost] = []

    def answer(self, most: int) -> Answer | None:
        """Return the answer; None if there are more than *most* states with a past."""
        for start in settled(self._order.model):
            self._enter(((0, 0), start, NOTHING, 0))
        while self._queue:
            cost, node = heapq.heappop(self._queue)
            if cost == self._costs[node]:
                for entry in self._following(cost, *node):
                    self._enter(entry)
            if len(self._costs) > most:
                return None
        violated, valueless = min(self._violated, default=None), min(self._valueless, default=None)
        return Answer(violated=violated, valueless=valueless)

    def _enter(self, entry: Entry) -> None:
        cost, state, past, ticks = entry
        here = self._order.truths(state)
        if here.a is None or not self._order.is_read(here):
            self._valueless.append(cost)
        if not self._order.is_read(here):
            return
        now = after(self._order, past, here, ticks)
        if violates(self._order, now, here):
            self._violated.append(cost)
        if (state, now) not in self._costs or cost < self._costs[state, now]:
            self._costs[state, now] = cost
            heapq.heappush(self._queue, (cost, (state, now)))

    def _following(self, cost: Cost, state: m.State, past: History) -> Iterator[Entry]:
        steps, ticks = cost
        for number, later in semantics.steps(self._order.model, state):
            if isinstance(later, tuple):
                yield ((steps, ticks + 1), later, past, 1) if number is None else ((steps + 1, ticks), later, past, 0)


def settled(model: m.Model) -> Iterator[m.State]:
    """Yield the starts that come to rest, settled."""
    for raw in semantics.raw_starts(model):
        with suppress(semantics.Failed):
            yield semantics.settle(model, raw)


def answered(order: Order, most: int) -> Answer | None:
    """Search all runs; None if there are more than *most* states with a past."""
    return Searching(order).answer(most)
