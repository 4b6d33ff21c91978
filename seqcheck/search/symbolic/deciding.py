"""Decides which properties of a machine are violated, and whether anything fails, with no more runs than are asked for."""

from collections.abc import Collection, Mapping

from msgspec import Struct

from seqcheck.model.model import Elsewhere, Model, Reachable
from seqcheck.search.engine import NO_EXTRAS, Limits, Observer, Stop, Trace
from seqcheck.search.limits import Allowance
from seqcheck.search.symbolic.answering import Answering
from seqcheck.search.symbolic.budget import Budget
from seqcheck.search.symbolic.diagrams import OutOfNodes
from seqcheck.search.symbolic.reaching import Halt
from seqcheck.search.symbolic.symbolic import Search

RANGE, SETTLING = "range", "settling"
"""What the built-in checks are called, of which there is one each here, whichever rule breaks it."""


class Decided(Struct, frozen=True, kw_only=True):
    """The ids of what is violated, with the runs asked for. *stopped*: the search came to no end, and nothing is known."""

    ids: frozenset[str]
    stopped: Stop | None
    traces: Mapping[str, Trace] = {}


def decide(model: Model, limits: Limits, observer: Observer, shown: Collection[str] = ()) -> Decided:
    """Return what is violated in a model without faults; if it is *shown*, with a shortest run. Raises `Unfit`."""
    with Allowance(limits) as allowance:
        try:
            return _decided(model, Budget(allowance, limits, observer), shown)
        except OutOfNodes:
            return Decided(ids=frozenset(), stopped=Stop.MEMORY)
        except Halt as halt:
            return Decided(ids=frozenset(), stopped=halt.why)


def _decided(model: Model, budget: Budget, shown: Collection[str]) -> Decided:
    search = Search(model, budget, NO_EXTRAS)
    parts = search.parts
    states = parts.reaching.all()
    answering = Answering(parts, states, search.runs)
    failing = [*parts.start.failing, *((cause, at & states) for move in parts.every for cause, at in move.failing)]
    ids = {str(cause[0]) for cause, at in failing if at.satisfiable()}
    traces: dict[str, Trace] = {}
    for p in model.properties:
        if isinstance(p.rule, Elsewhere):
            continue
        aims = [aim for aim in answering.aims(p.rule) if aim.states.satisfiable()]
        if bool(aims) != isinstance(p.rule, Reachable):
            ids.add(p.id)
        if aims and p.id in shown and (way := search.runs.shortest(aims)) is not None:
            traces[p.id] = way.trace
    if any(True for _ in answering.unjudged()):
        ids.add(RANGE)
    return Decided(ids=frozenset(ids), stopped=None, traces=traces)
