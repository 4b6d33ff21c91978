"""Writes a short condition that is true on one set of states and false on another; on all other states it may be either."""

from collections.abc import Iterator, Sequence
from itertools import combinations

from msgspec import Struct

from seqcheck.model.expression import TRUE, Apply, Expression, Op
from seqcheck.search.symbolic.diagrams import Node, Space

MOST_TERMS = 8
"""Alternatives joined by OR in the longest condition that is worth reading."""


class Literal(Struct, frozen=True, kw_only=True):
    """A simple condition with the states that have it."""

    test: Expression
    states: Node


def telling(space: Space, yes: Node, no: Node, literals: Sequence[Literal]) -> Expression | None:
    """Return a condition made of literals that is true on *yes* and false on *no*; None if there is no short one."""
    if not yes.satisfiable():
        return None
    if not no.satisfiable():
        return TRUE
    terms: list[Expression] = []
    left = yes
    whole = _conjunction(space, yes, no, literals)
    if whole is not None:
        return whole
    while left.satisfiable():
        term = _term(space, left, no, literals)
        if term is None or len(terms) == MOST_TERMS:
            return None
        terms.append(_joined(Op.AND, [literal.test for literal in term]))
        left &= ~space.all(literal.states for literal in term)
    return _joined(Op.OR, terms)


def _joined(op: Op, tests: Sequence[Expression]) -> Expression:
    return tests[0] if len(tests) == 1 else Apply(op, tuple(tests))


def _conjunction(space: Space, yes: Node, no: Node, literals: Sequence[Literal]) -> Expression | None:
    """Return a shortest conjunction of up to three literals, else some conjunction, if there is one."""
    useful = [one for one in literals if not (yes & ~one.states).satisfiable() and (no & ~one.states).satisfiable()]
    if (no & space.all(one.states for one in useful)).satisfiable():
        return None
    for size in (1, 2):
        for chosen in combinations(useful, size):
            if not (no & space.all(one.states for one in chosen)).satisfiable():
                return _joined(Op.AND, [one.test for one in chosen])
    return _joined(Op.AND, [one.test for one in _covering(space, no, useful)])


def _covering(space: Space, no: Node, literals: Sequence[Literal]) -> list[Literal]:
    """Return literals that together rule out *no*, each time the one that rules out most, then without those not needed."""
    chosen: list[Literal] = []
    left = no
    while left.satisfiable():
        best = min(literals, key=lambda one: space.count(left & one.states))
        chosen.append(best)
        left &= best.states
    for one in list(chosen):
        fewer = [other for other in chosen if other is not one]
        if not (no & space.all(other.states for other in fewer)).satisfiable():
            chosen = fewer
    return chosen


def _term(space: Space, left: Node, no: Node, literals: Sequence[Literal]) -> list[Literal] | None:
    """Return literals that together rule out *no*, and are true on as much of *left* as each choice lets them be."""
    here, out, chosen = left, no, list[Literal]()
    while out.satisfiable():
        useful = list(_useful(here, out, literals))
        if not useful:
            return None
        best = max(useful, key=lambda one: _gain(space, here, out, one))
        chosen.append(best)
        here, out = here & best.states, out & best.states
    return chosen


def _useful(here: Node, out: Node, literals: Sequence[Literal]) -> Iterator[Literal]:
    for one in literals:
        if (here & one.states).satisfiable() and (out & ~one.states).satisfiable():
            yield one


def _gain(space: Space, here: Node, out: Node, one: Literal) -> float:
    """Return how much of what must go a literal rules out, times how much of what must stay it keeps."""
    return (1 - space.count(out & one.states) / space.count(out)) * space.count(here & one.states) / space.count(here)
