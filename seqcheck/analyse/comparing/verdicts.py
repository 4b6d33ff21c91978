"""Finds out which hazards, requirements and built-in checks come out otherwise in one of two machines."""

from collections.abc import Callable, Iterator

from msgspec import Struct

from seqcheck.analyse.comparing.comparison import VerdictChange
from seqcheck.analyse.comparing.joining import Joined
from seqcheck.analyse.comparing.naming import Naming
from seqcheck.analyse.judge import BUILT_IN, Judge
from seqcheck.analyse.verdict import Result, Verdict
from seqcheck.model.model import Elsewhere, Model, Property
from seqcheck.model.run import Beyond, Endless
from seqcheck.search.comparing.pair import Compared, Side
from seqcheck.search.engine import Exploration

Key = tuple[str, ...]


class Subject(Struct, frozen=True, kw_only=True):
    """A machine to be compared. *observing* gives the model that judges one of its requirements on order or time, by its id."""

    model: Model
    observing: Callable[[str], Model] | None = None

    def has_observer(self, p: Property) -> bool:
        """Tell whether a property is judged with a model of its own."""
        return self.observing is not None and isinstance(p.rule, Elsewhere)

    def observed(self, p: Property) -> Model:
        """Return the model that judges a property. Raises `ValueError` if there is none."""
        if self.observing is None:
            raise ValueError(p.id)
        return self.observing(p.id)


def verdict_changes(old: Model, new: Model, joined: Joined, compared: Compared, naming: Naming) -> Iterator[VerdictChange]:
    """Yield the verdicts that differ, but for those that take an observer. Raises `Disagreement`."""
    first, second = (results(m, joined, compared, side) for m, side in ((old, Side.OLD), (new, Side.NEW)))
    for a, b in joined.pair.properties:
        if a not in compared.old.asked and b not in compared.new.asked:
            continue
        ones = None if a is None else first[a], None if b is None else second[b]
        if any(one is not None and isinstance(model.properties[n or 0].rule, Elsewhere)
               for one, model, n in zip(ones, (old, new), (a, b), strict=True)):  # fmt: skip
            continue
        if verdict_of(ones[0]) != verdict_of(ones[1]):
            yield VerdictChange(id=id_of(*ones), old=ones[0], new=ones[1])
    yield from broken(first, second, naming)


def broken(first: list[Result], second: list[Result], naming: Naming) -> Iterator[VerdictChange]:
    """Yield the built-in checks that only one machine breaks."""
    olds = {key_of(one, naming.across): one for one in first if is_broken(one)}
    news = {key_of(one, naming.in_new): one for one in second if is_broken(one)}
    for key in dict.fromkeys((*news, *olds)):
        ones = olds.get(key), news.get(key)
        if None in ones:
            yield VerdictChange(id=id_of(*ones), old=ones[0], new=ones[1], is_built_in=True)


def id_of(old: Result | None, new: Result | None) -> str:
    """Return the id that one of two results has, that of the new file if it can."""
    return next(one.id for one in (new, old) if one is not None)


def verdict_of(result: Result | None) -> Verdict | None:
    """Return the verdict of a result; None where there is none."""
    return None if result is None else result.verdict


def is_broken(result: Result) -> bool:
    """Tell whether a result is that of a built-in check that is violated."""
    return result.kind in BUILT_IN and result.verdict is Verdict.VIOLATED


def key_of(result: Result, name: Callable[[str], str]) -> Key:
    """Return what a broken check is told by in both files: who fails, and on which variable."""
    match result.run.failure if result.run is not None else None:
        case Endless(names=names):
            return (result.kind, *sorted(map(name, names)))
        case Beyond(rule=rule, variable=variable):
            return (result.kind, name(rule), "" if variable is None else name(variable))
        case _:
            return (result.kind, name(result.id.partition(": ")[2]))


def results(model: Model, joined: Joined, compared: Compared, side: Side) -> list[Result]:
    """Return the verdicts on one machine; those on properties that were not asked for mean nothing."""
    searched = compared.searched(side)
    exploration = Exploration(
        states=searched.states,
        transitions=0,
        stopped=compared.stopped,
        complete_steps=None,
        found={number: joined.own(side, trace) for number, trace in searched.found.items()},
        failures=tuple(joined.own(side, trace) for trace in searched.failures),
        unjudged={number: joined.own(side, trace) for number, trace in searched.unjudged.items()},
        never=frozenset(),
        entered=(),
        acted=frozenset(),
        passing=frozenset(),
        dead_ends=None,
        time_stuck=None,
        engine="",
    )
    return list(Judge(model, exploration).results())
