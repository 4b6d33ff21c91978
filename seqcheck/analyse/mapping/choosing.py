"""Chooses the axes of a map where the reader names none: what hazards read, so that it tells of many whether they are met."""

from collections.abc import Iterator, Sequence, Set
from itertools import combinations, islice

from msgspec import Struct

from seqcheck.analyse.mapping.axes import DECLARED, Sortable, Sorting, sortables, sorting
from seqcheck.model.expression import Load, reads
from seqcheck.model.model import Guard, Hazard, Model, condition_of
from seqcheck.search.symbolic.mapping import Quotient

LEAST_SITUATIONS, MOST_SITUATIONS = 5, 9
"""How many situations a map has that is chosen, if the machine allows it: what can be taken in at a glance."""

MOST_AXES = 4
MOST_READ = 12
"""Variables, those read most, that are combined."""

MOST_TRIED = 200
"""Choices whose situations are counted."""


class Choice(Struct, frozen=True, kw_only=True):
    """Some axes and why they were taken."""

    axes: tuple[Sorting, ...]
    why: str


class Reads(Struct, frozen=True, kw_only=True):
    """What a condition that matters reads, under its name."""

    name: str
    places: frozenset[int]


def choose(model: Model, quotient: Quotient, bad: str = "") -> Choice:
    """Choose up to four variables, with five to nine situations.

    First come those that the property with the id *bad* reads, whose run is to be shown; then those that tell whether most
    hazards are met, then those that most hazards read.
    """
    about, sort = _what_matters(model)
    first = [Reads(name=p.id, places=_reads(model, condition_of(p.rule))) for p in model.properties if p.id == bad]
    offered = [one for one in sortables(model) if _place(one) is not None and len(quotient.values(one.value)) > 1]
    counted = {one.name: sum(_place(one) in each.places for each in about) for one in offered}
    shown = {one.name: any(_place(one) in each.places for each in first) for one in offered}
    most_read = sorted(offered, key=lambda one: (-shown[one.name], -counted[one.name]))[:MOST_READ]
    scales = {one.name: sorting(model, quotient, one) for one in most_read}
    best: tuple[int, tuple[Sortable, ...]] = (0, ())
    for names in islice(_in_order(most_read, first, about), MOST_TRIED):
        situations = quotient.count([scales[one.name].scale for one in names], MOST_SITUATIONS + 1)
        if LEAST_SITUATIONS <= situations <= MOST_SITUATIONS:
            best = (situations, names)
            break
        if best[0] < situations <= MOST_SITUATIONS:
            best = (situations, names)
    return Choice(axes=tuple(scales[one.name] for one in best[1]), why=_why(best[1], first, about, sort))


def _place(what: Sortable) -> int | None:
    """Return the variable that something is, if it is one that the file declares."""
    is_declared = what.kind in {kind.value for kind in DECLARED}
    return what.value.variable if is_declared and isinstance(what.value, Load) else None


def _what_matters(model: Model) -> tuple[list[Reads], str]:
    """Return the hazards with what they read; without any the requirements; without those the conditions of steps."""
    hazards: list[tuple[str, Guard]] = [(p.id, p.rule.must_not_be) for p in model.properties if isinstance(p.rule, Hazard)]
    asked: list[tuple[str, Guard]] = [(p.id, condition_of(p.rule)) for p in model.properties]
    steps = [(step.name, guard) for step in model.steps for guard in step.guards]
    named, sort = (hazards, "hazard") if hazards else (asked, "requirement") if asked else (steps, "condition")
    return [Reads(name=name, places=_reads(model, guard)) for name, guard in named], sort


def _reads(model: Model, guard: Guard) -> frozenset[int]:
    return reads(guard.test, model.sensor_values)


def _read(about: Sequence[Reads], places: Set[int | None]) -> int:
    """Return how often some conditions read some variables."""
    return sum(len(each.places & places) for each in about)


def _in_order(offered: Sequence[Sortable], first: Sequence[Reads], about: Sequence[Reads]) -> Iterator[tuple[Sortable, ...]]:
    """Yield all choices of a few variables, the best first."""
    choices = [chosen for size in range(1, MOST_AXES + 1) for chosen in combinations(offered, size)]

    def rank(chosen: tuple[Sortable, ...]) -> tuple[int, int, int]:
        places = {_place(one) for one in chosen}
        told = sum(each.places <= places for each in about)
        return -_read(first, places), -told, -_read(about, places)

    yield from sorted(choices, key=rank)


def _why(chosen: Sequence[Sortable], first: Sequence[Reads], about: Sequence[Reads], sort: str) -> str:
    if not chosen:
        return "nothing was chosen: no variable that the file declares has more than one value"
    places = {_place(one) for one in chosen}
    told = [each.name for each in about if each.places <= places]
    names = ", ".join(told)
    run = "".join(f"{each.name}, whose run is shown, reads them" for each in first if each.places & places)
    if not told or sort == "condition":
        return f"chosen because {run or f'{sort}s read these variables more than others'}"
    only = f"{sort} {names} reads nothing else" if len(told) == 1 else f"{sort}s {names} read nothing else"
    return f"chosen because {run}{' and ' if run else ''}{only}"
