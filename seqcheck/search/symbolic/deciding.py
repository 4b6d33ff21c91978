"""Decides which properties of a machine are violated, and whether anything fails, without a run and without counts."""

from collections.abc import Iterator

from msgspec import Struct

from seqcheck.model.model import Elsewhere, Model, Reachable
from seqcheck.search.engine import NO_EXTRAS, Limits, Observer, Stop
from seqcheck.search.limits import Allowance
from seqcheck.search.symbolic.answering import Answering
from seqcheck.search.symbolic.budget import Budget
from seqcheck.search.symbolic.diagrams import OutOfNodes
from seqcheck.search.symbolic.reaching import Halt
from seqcheck.search.symbolic.symbolic import Search

RANGE, SETTLING = "range", "settling"
"""What the built-in checks are called, of which there is one each here, whichever rule breaks it."""


class Decided(Struct, frozen=True, kw_only=True):
    """The ids of what is violated. *stopped*: the search did not come to its end, and nothing is known."""

    ids: frozenset[str]
    stopped: Stop | None


def decide(model: Model, limits: Limits, observer: Observer) -> Decided:
    """Return what is violated in a model without faults. Raises `Unfit`."""
    with Allowance(limits) as allowance:
        try:
            return Decided(ids=frozenset(_violated(model, Budget(allowance, limits, observer))), stopped=None)
        except OutOfNodes:
            return Decided(ids=frozenset(), stopped=Stop.MEMORY)
        except Halt as halt:
            return Decided(ids=frozenset(), stopped=halt.why)


def _violated(model: Model, budget: Budget) -> Iterator[str]:
    search = Search(model, budget, NO_EXTRAS)
    parts = search.parts
    states = parts.reaching.all()
    answering = Answering(parts, states, search.runs)
    for p in model.properties:
        if isinstance(p.rule, Elsewhere):
            continue
        is_met = any(aim.states.satisfiable() for aim in answering.aims(p.rule))
        if is_met != isinstance(p.rule, Reachable):
            yield p.id
    if any(True for _ in answering.unjudged()):
        yield RANGE
    failing = [*parts.start.failing, *((cause, at & states) for move in parts.every for cause, at in move.failing)]
    yield from {cause[0] for cause, at in failing if at.satisfiable()}
