"""Says in words how the situations of two machines were compared where they do not keep the same things in the same way."""

from collections.abc import Iterator
from fractions import Fraction

from seqcheck.analyse.comparing.joining import Joined, Matched, clock_at, timer_at
from seqcheck.model.model import Clock, Model, Variable, VariableKind

TIME = frozenset({VariableKind.TIMER, VariableKind.CLOCK})


def notes(old: Model, new: Model, joined: Joined) -> Iterator[str]:
    """Yield how situations were compared, besides by the values of all variables."""
    pair = joined.pair
    for place in pair.old_only:
        yield f"{called(old, place)} is compared with nothing: the new file has none like it"
    hidden = set(pair.new_only)
    for place, joint in enumerate(joined.new_places):
        if joint in hidden:
            yield f"{called(new, place)} is compared with nothing: the old file has none like it"
    for matched in joined.matched:
        if matched.codes is not None:
            yield from coded(old, new, matched)
        if kinds(old, new, matched):
            one, two = old.variables[matched.old], new.variables[matched.new]
            yield f"{two.name} was a {one.kind.value} and is a {two.kind.value}; it is compared by its values all the same"


def kinds(old: Model, new: Model, matched: Matched) -> bool:
    """Tell whether a variable has moved to another section."""
    return old.variables[matched.old].kind is not new.variables[matched.new].kind


def called(model: Model, place: int) -> str:
    """Return what a variable is called."""
    variable = model.variables[place]
    if variable.kind is VariableKind.TIMER:
        return f"the timer {variable.name}"
    if variable.kind is VariableKind.CLOCK:
        return f"how long the plant rule “{clock_at(model, place).rule}” has been waiting"
    return f"the {variable.kind.value} {variable.name}"


def coded(old: Model, new: Model, matched: Matched) -> Iterator[str]:
    """Yield how a variable that each machine keeps in its own way is compared."""
    one, two = old.variables[matched.old], new.variables[matched.new]
    codes = matched.codes or ((), ())
    if one.kind is VariableKind.TIMER:
        lengths = [seconds(m, timer_at(m, n).pt) for m, n in ((old, matched.old), (new, matched.new))]
        yield (
            f"the timer {two.name} takes {lengths[1]} instead of {lengths[0]}: compared by how long it has run, or that it has "
            "run out"
        )
    elif one.kind is VariableKind.CLOCK:
        first, second = clock_at(old, matched.old), clock_at(new, matched.new)
        yield (
            f"the plant rule “{second.rule}” may wait {longest(new, second)} instead of {longest(old, first)}: compared by how "
            "long it has been waiting"
        )
    elif set(codes[0]) != set(codes[1]):
        yield f"{two.name} has {values(two)} instead of {values(one)}: compared by what both have"


def longest(model: Model, clock: Clock) -> str:
    """Return how long a plant rule may wait."""
    return seconds(model, clock.most) + ("" if clock.latest is not None else " or more")


def values(variable: Variable) -> str:
    """Return what values a variable can have."""
    if variable.labels:
        return ", ".join(str(label) for label in variable.labels)
    return f"{variable.lowest}..{variable.highest}"


def seconds(model: Model, ticks: int) -> str:
    """Return a number of ticks in seconds."""
    duration: Fraction = ticks * model.tick_s
    return f"{float(duration):g} s"
