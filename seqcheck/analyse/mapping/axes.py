"""Finds what the reader names as an axis of the map, and sorts its values, wide ranges into bands."""

import difflib
from collections.abc import Iterator, Sequence
from itertools import pairwise

from msgspec import Struct

from seqcheck.model.expression import Apply, Const, Expression, Load, Op, Sense, walk
from seqcheck.model.model import Guard, Hazard, Model, VariableKind, condition_of
from seqcheck.model.run import Value
from seqcheck.search.symbolic.mapping import Quotient, Scale

DECLARED = (VariableKind.PART, VariableKind.PANEL, VariableKind.OUTPUT, VariableKind.MEMORY)
MOST_VALUES = 6
"""A number that can have more values than that is shown in bands."""

EVEN_BANDS = 4
"""Bands of a number that nothing compares with a constant."""

NO_VALUE = "no value"


class UnknownNameError(Exception):
    """Nothing in the file has a name that was given for an axis. *near* is a name that may be meant, or empty."""

    def __init__(self, name: str, known: Sequence[str]) -> None:
        super().__init__(f"the file has no part, panel item, output, memory, sensor or timer called {name!r}")
        self.name = name
        self.known = tuple(known)
        folded = {one.casefold(): one for one in known}
        close = difflib.get_close_matches(name.casefold()[:60], folded, n=1, cutoff=0.6)
        self.near = folded[close[0]] if close else ""


class Sortable(Struct, frozen=True, kw_only=True):
    """Something whose value can be asked of every state. *labels* name the values from 0 up; none for a number."""

    name: str
    spoken: str
    kind: str
    value: Expression
    labels: tuple[Value, ...]


def sortables(model: Model) -> Iterator[Sortable]:
    """Yield what a map can be made by: parts, panel, outputs (as commanded), memory, sensors, timers, faults under study."""
    for number, v in enumerate(model.variables):
        if v.kind in DECLARED or v.kind is VariableKind.FAULT:
            labels: tuple[Value, ...] = v.labels if v.kind in DECLARED else ("not yet", "has occurred")
            yield Sortable(name=v.name, spoken=v.spoken, kind=v.kind.value, value=Load(number), labels=labels)
    for number, s in enumerate(model.sensors):
        yield Sortable(name=s.name, spoken=s.spoken, kind="sensor", value=Sense(number), labels=s.labels)
    for t in model.timers:
        spoken = t.text or t.name.replace("_", " ")
        yield Sortable(name=f"{t.name}.Q", spoken=f"{spoken} (Q)", kind="timer", value=t.q, labels=(False, True))
        yield Sortable(name=f"{t.name}.ET", spoken=f"{spoken} (ET)", kind="timer", value=t.et, labels=())


def named(model: Model, names: Sequence[str]) -> tuple[Sortable, ...]:
    """Return what some names mean, each once; a timer's name alone means its Q. Raises `UnknownNameError`."""
    known = {one.name.casefold(): one for one in reversed(tuple(sortables(model)))}
    found: dict[str, Sortable] = {}
    for name in names:
        key = name.strip().casefold()
        one = known.get(key) or known.get(f"{key}.q")
        if one is None:
            raise UnknownNameError(name.strip(), [each.name for each in sortables(model)])
        found.setdefault(one.name, one)
    return tuple(found.values())


class Sorting(Struct, frozen=True, kw_only=True):
    """Something with the bands that its values are sorted into, and what each is called."""

    what: Sortable
    scale: Scale
    texts: tuple[str, ...]


def sorting(model: Model, quotient: Quotient, what: Sortable) -> Sorting:
    """Sort the values of something into bands, one for each value where there are few."""
    values = quotient.values(what.value)
    bands: tuple[tuple[int, ...], ...] = tuple((raw,) for raw in values)
    if not what.labels and len(values) > MOST_VALUES:
        bands = _banded(values, _cuts(model, what.value, values))
    return Sorting(what=what, scale=Scale(value=what.value, bands=bands), texts=tuple(_text(what, band) for band in bands))


def _text(what: Sortable, band: tuple[int, ...]) -> str:
    if what.labels:
        label = what.labels[band[0]]
        return str(label).upper() if isinstance(label, bool) else str(label)
    return str(band[0]) if len(band) == 1 else f"{band[0]}..{band[-1]}"


def _banded(values: Sequence[int], cuts: Sequence[int]) -> tuple[tuple[int, ...], ...]:
    """Split values before each cut."""
    edges = [values[0], *cuts, values[-1] + 1]
    bands = (tuple(raw for raw in values if low <= raw < high) for low, high in pairwise(edges))
    return tuple(band for band in bands if band)


def _cuts(model: Model, value: Expression, values: Sequence[int]) -> list[int]:
    """Return where bands begin: where a hazard tells values apart, else another property, else a step; or evenly."""
    cuts: set[int] = set()
    for guards in _guards(model):
        more = cuts | {
            cut for test in _tests(model, guards) for cut in _told_apart(test, value) if values[0] < cut <= values[-1]
        }
        if len(more) < MOST_VALUES:
            cuts = more
    if not cuts:
        cuts = {values[len(values) * part // EVEN_BANDS] for part in range(1, EVEN_BANDS)}
    return sorted(cuts)


def _guards(model: Model) -> Iterator[Sequence[Guard]]:
    yield [p.rule.must_not_be for p in model.properties if isinstance(p.rule, Hazard)]
    yield [condition_of(p.rule) for p in model.properties]
    yield [guard for step in model.steps for guard in step.guards]


def _tests(model: Model, guards: Sequence[Guard]) -> Iterator[Expression]:
    """Yield all parts of some conditions, and of what the sensors that they read are worth."""
    pending: list[Expression] = [guard.test for guard in guards]
    entered: set[int] = set()
    while pending:
        for part in walk(pending.pop()):
            yield part
            if isinstance(part, Sense) and part.sensor not in entered:
                entered.add(part.sensor)
                pending.append(model.sensors[part.sensor].value)


def _told_apart(test: Expression, value: Expression) -> Iterator[int]:
    """Yield the numbers from which on a comparison with a constant comes out otherwise."""
    match test:
        case Apply(op=op, operands=(left, Const(value=constant))) if left == value:
            yield from _steps(op, constant)
        case Apply(op=op, operands=(Const(value=constant), right)) if right == value:
            yield from _steps(TURNED.get(op, op), constant)


TURNED = {Op.LESS: Op.GREATER, Op.GREATER: Op.LESS, Op.AT_MOST: Op.AT_LEAST, Op.AT_LEAST: Op.AT_MOST}


def _steps(op: Op, constant: int) -> Iterator[int]:
    if op in {Op.LESS, Op.AT_LEAST, Op.EQUAL, Op.UNEQUAL}:
        yield constant
    if op in {Op.GREATER, Op.AT_MOST, Op.EQUAL, Op.UNEQUAL}:
        yield constant + 1
