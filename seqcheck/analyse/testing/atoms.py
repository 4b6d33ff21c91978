"""Takes conditions apart into single signals: which must be in their normal state, and which must leave it together."""

from collections.abc import Iterator
from itertools import product

from msgspec import Struct

from seqcheck.analyse.procedures.wording import in_seconds
from seqcheck.model.expression import Apply, Const, Expression, Load, Op, Sense, negation, walk
from seqcheck.model.model import Model, VariableKind
from seqcheck.model.wording import spoken, wording

MOST_ALTERNATIVES = 64
"""With more ways than that a condition is taken as one thing."""

TURNED = {
    Op.EQUAL: Op.UNEQUAL,
    Op.UNEQUAL: Op.EQUAL,
    Op.LESS: Op.AT_LEAST,
    Op.AT_LEAST: Op.LESS,
    Op.GREATER: Op.AT_MOST,
    Op.AT_MOST: Op.GREATER,
}


class Atom(Struct, frozen=True, kw_only=True):
    """A condition of one signal. *normal* is what holds as long as it causes nothing, *deviating* in words what does not."""

    normal: Expression
    normal_text: str
    deviating: str
    tag: str
    sort: str
    description: str
    delay: str


def alternatives(model: Model, test: Expression, *, wanted: bool) -> Iterator[tuple[Expression, ...]]:
    """Yield what sets something off, as tuples of atoms' normal states that must all be left; each tuple alone is enough.

    *wanted*: that is the condition being true, as for a trip; else its being false, as for a permissive.
    """
    ways = _ways(model, test, wanted=wanted)
    for way in [(test if not wanted else negated(model, test),)] if ways is None else ways:
        yield tuple(dict.fromkeys(way))


def _ways(model: Model, test: Expression, *, wanted: bool) -> list[tuple[Expression, ...]] | None:
    """Return the ways to make a condition true (or false), each as the normal states that are then left; None: too many."""
    timers = {part for timer in model.timers for part in (timer.q, timer.et)}
    if isinstance(test, Apply) and test not in timers:
        if test.op is Op.NOT:
            return _ways(model, test.operands[0], wanted=not wanted)
        if test.op in {Op.AND, Op.OR}:
            each = [_ways(model, operand, wanted=wanted) for operand in test.operands]
            known = [ways for ways in each if ways is not None]
            if len(known) < len(each):
                return None
            if (test.op is Op.OR) == wanted:
                return [way for ways in known for way in ways]
            joined = [tuple(part for way in ways for part in way) for ways in product(*known)]
            return joined if len(joined) <= MOST_ALTERNATIVES else None
    return [(negated(model, test) if wanted else test,)]


def negated(model: Model, test: Expression) -> Expression:
    """Return the opposite of a condition, without NOT where another operator says it."""
    if isinstance(test, Apply) and test.op in TURNED and all(test != timer.q for timer in model.timers):
        return Apply(TURNED[test.op], test.operands)
    if isinstance(test, Apply) and test.op is Op.NOT:
        return test.operands[0]
    return negation(test)


def atom_of(model: Model, normal: Expression) -> Atom:
    """Return what a single signal's normal state is in words."""
    normal = of_two(model, normal)
    bare = normal.operands[0] if isinstance(normal, Apply) and normal.op is Op.NOT else normal
    timer = next((timer for timer in model.timers if bare == timer.q or timer.et in walk(bare)), None)
    if timer is not None:
        tag, sort = timer.name, "timer"
        described = f"{timer.text or timer.name.replace('_', ' ')}: {timer.kind.value} of {one_line(timer.input.text)}"
        delay = in_seconds(timer.pt * model.tick_s)
    else:
        tag, sort, described = _signal(model, bare)
        delay = ""
    return Atom(
        normal=normal,
        normal_text=wording(model, normal),
        deviating=wording(model, negated(model, normal)),
        tag=tag,
        sort=sort,
        description=described,
        delay=delay,
    )


def of_two(model: Model, normal: Expression) -> Expression:
    """Return `x <> a` as `x = b` where x has no other states."""
    match normal:
        case Apply(op=Op.UNEQUAL, operands=(Load(variable=place), Const(value=value))):
            variable = model.variables[place]
            if variable.highest - variable.lowest == 1 and variable.labels:
                return Apply(Op.EQUAL, (Load(place), Const(variable.lowest + variable.highest - value)))
    return normal


SORTS = {
    VariableKind.PANEL: "panel",
    VariableKind.OUTPUT: "output",
    VariableKind.MEMORY: "memory",
    VariableKind.PART: "part",
}


def _signal(model: Model, bare: Expression) -> tuple[str, str, str]:
    """Return the tag, the sort and the description of the one signal that a condition reads, or of several."""
    signals = list(dict.fromkeys(part for part in walk(bare) if isinstance(part, Load | Sense)))
    if len(signals) != 1:
        return wording(model, bare), "several", "a comparison of several signals" if signals else "a constant"
    (signal,) = signals
    if isinstance(signal, Sense):
        sensor = model.sensors[signal.sensor]
        return sensor.name, "sensor", sensor.text or f"reads: {wording(model, sensor.value, labels=sensor.labels)}"
    variable = model.variables[signal.variable]
    return variable.name, SORTS.get(variable.kind, variable.kind.value), variable.text or spoken(model, bare)


def one_line(text: str) -> str:
    """Return a text without line ends."""
    return " ".join(text.split())
