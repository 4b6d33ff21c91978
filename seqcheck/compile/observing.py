"""Adds to a machine what observes one requirement on order or time: variables that note what came before.

Response (`when A, within T, then B, unless C`): *was* is A in the settled state before; *pending* tells that A became true and
neither B nor C has been since, or that the deadline has passed; a clock counts the ticks while it is pending, and its most,
T + 1, is the violation. The earliest deadline counts, since the clock goes on when A becomes true again. Precedence
(`before A, first B, since C`): *seen* is B in this state or an earlier one, as far back as C was last true.
"""

from collections.abc import Sequence
from fractions import Fraction

from msgspec import Struct

from seqcheck.check import machine as tree
from seqcheck.compile.lower import Scope
from seqcheck.model import model as m
from seqcheck.model.expression import FALSE, Apply, Const, Expression, Load, Op, negation


class Observing(Struct, frozen=True, kw_only=True):
    """What one requirement adds to a machine: variables at the end, a clock for a response, an observer, its rule."""

    variables: tuple[m.Variable, ...]
    clocks: tuple[m.Clock, ...]
    observer: m.Observer
    rule: m.Rule


def observing(requirement: tree.Requirement, scope: Scope, first: int, tick_s: Fraction) -> Observing:
    """Return what observes a response or a precedence; its variables begin at place *first*. Raises `ValueError` for others."""
    match requirement.rule:
        case tree.Response():
            return _response(requirement, requirement.rule, scope, first, tick_s)
        case tree.Precedence():
            return _precedence(requirement, requirement.rule, scope, first)
        case _:
            raise ValueError(requirement.rule)


def _response(requirement: tree.Requirement, rule: tree.Response, scope: Scope, first: int, tick_s: Fraction) -> Observing:
    was, pending, clock = first, first + 1, first + 2
    within = f"{float(rule.within_ticks * tick_s):g} s"
    late = rule.within_ticks + 1
    called = scope.guard(rule.when)
    answered = [scope.expression(rule.then.expression)]
    answered += [scope.expression(rule.unless.expression)] if rule.unless is not None else []
    called_now = _all([called.test, negation(Load(was))])
    waits = _all([_any([Load(pending), called_now]), *(negation(answer) for answer in answered)])
    is_late = Apply(Op.EQUAL, (Load(clock), Const(late)))
    counted = Apply(Op.SEL, (Load(pending), Const(0), Load(clock)))
    variables = (
        _noted(requirement, "was called for", 1),
        _noted(requirement, "is pending", 1),
        _noted(requirement, "has been pending for", late),
    )
    text = f"“{called.text}” became true, and “{_one_line(rule.then)}” was not true within {within}"
    if rule.unless is not None:
        text += f", nor “{_one_line(rule.unless)}”"
    return Observing(
        variables=variables,
        clocks=(m.Clock(rule=requirement.id, variable=clock, when=Load(pending), most=late, latest=None),),
        observer=_observer(requirement, [(was, called.test), (pending, _any([is_late, waits]))], [(clock, counted)]),
        rule=m.Observed(kind="response", when=called, violated=m.Guard(name="", test=is_late, text=text, line=called.line)),
    )


def _precedence(requirement: tree.Requirement, rule: tree.Precedence, scope: Scope, first: int) -> Observing:
    before = scope.guard(rule.before)
    here = scope.expression(rule.first.expression)
    forgets = FALSE if rule.since is None else scope.expression(rule.since.expression)
    kept = _all([Load(first), negation(forgets)]) if rule.since is not None else Load(first)
    violated = _all([before.test, negation(Load(first))])
    text = f"“{before.text}” is true, and “{_one_line(rule.first)}” has not been before"
    if rule.since is not None:
        text += f", since “{_one_line(rule.since)}”"
    return Observing(
        variables=(_noted(requirement, "has come first", 1),),
        clocks=(),
        observer=_observer(requirement, [(first, _any([here, kept]))]),
        rule=m.Observed(kind="precedence", when=before, violated=m.Guard(name="", test=violated, text=text, line=before.line)),
    )


def _noted(requirement: tree.Requirement, what: str, highest: int) -> m.Variable:
    return m.Variable(
        name=f"{requirement.id} {what}",
        kind=m.VariableKind.OBSERVER,
        lowest=0,
        highest=highest,
        labels=(),
        starts=(0,),
        line=requirement.span.line,
    )


def _observer(requirement: tree.Requirement, *noted: Sequence[tuple[int, Expression]]) -> m.Observer:
    """Return what notes values, those of each list at once."""
    pairs = [zip(*together, strict=True) for together in noted]
    program = tuple(m.Assign(targets=targets, values=values, bounded=True) for targets, values in pairs)
    return m.Observer(rule=requirement.id, program=program)


def _one_line(condition: tree.Condition) -> str:
    return " ".join(condition.text.split())


def _all(parts: Sequence[Expression]) -> Expression:
    return parts[0] if len(parts) == 1 else Apply(Op.AND, tuple(parts))


def _any(parts: Sequence[Expression]) -> Expression:
    return parts[0] if len(parts) == 1 else Apply(Op.OR, tuple(parts))
