"""Compares two machines: first word for word, then by searching both."""

import time
from collections.abc import Iterator, Sequence

from msgspec import Struct, field
from msgspec.structs import replace

from seqcheck.analyse.comparing.alike import Forms, Numbers, spelling
from seqcheck.analyse.comparing.comparison import (
    AskedChange,
    Change,
    CommandChange,
    Comparison,
    Outcome,
    Part,
    Shown,
    StepChange,
    VerdictChange,
)
from seqcheck.analyse.comparing.joining import join
from seqcheck.analyse.comparing.naming import Naming
from seqcheck.analyse.comparing.notes import notes
from seqcheck.analyse.comparing.verdicts import Subject, broken, verdict_changes, verdict_of
from seqcheck.analyse.observed import limits_left, observe
from seqcheck.analyse.record import Memory, record
from seqcheck.analyse.verdict import Result, Verdict
from seqcheck.analyse.verify import verify_case
from seqcheck.model import semantics
from seqcheck.model.expression import Expression
from seqcheck.model.model import Elsewhere, Model, State
from seqcheck.model.run import By, StepKind
from seqcheck.search.comparing.compare import compare_pair
from seqcheck.search.comparing.pair import Compared, Difference, Label, Side
from seqcheck.search.engine import Engine, Limits, Observer

WAIT = By(kind=StepKind.WAIT)


class DifferentTicksError(Exception):
    """The two machines have different ticks, so that time passes otherwise in each."""


class Search(Struct, frozen=True, kw_only=True):
    """How to search. *engine* is for the requirements on order and time, which take a search each."""

    engine: Engine
    limits: Limits
    observer: Observer
    began: float = field(default_factory=time.monotonic)


def compare(old: Subject, new: Subject, renames: Sequence[str], search: Search) -> Comparison:
    """Tell what sets two machines apart. Raises `RenameError`, `DifferentTicksError`, and `Disagreement`."""
    if old.model.tick_s != new.model.tick_s:
        raise DifferentTicksError
    naming = Naming(old.model, new.model, renames)
    return Comparing(old, new, naming, search).comparison()


class Comparing:
    """One comparison."""

    def __init__(self, old: Subject, new: Subject, naming: Naming, search: Search) -> None:
        self._old, self._new = old, new
        self._naming = naming
        self._search = search
        self._joined = join(old.model, new.model, naming)
        numbers = Numbers()
        self._forms = tuple(
            Forms(one.model, spelling(self._joined, one.model, side), numbers)
            for one, side in ((old, Side.OLD), (new, Side.NEW))
        )
        self._numbers = numbers
        self._memories: dict[Side, Memory] = {Side.OLD: {}, Side.NEW: {}}

    def comparison(self) -> Comparison:
        """Compare word for word, then by searching."""
        asked = tuple(self._asked_by_form())
        if not asked and self._forms[0].behaviour() == self._forms[1].behaviour() and self._same_ids():
            return self._told(None, (), asked, ())
        limits = limits_left(self._search.limits, self._search.began)
        compared = compare_pair(self._joined.pair, limits, self._search.observer)
        verdicts: list[VerdictChange] = []
        if compared.stopped is None:
            verdicts += verdict_changes(self._old.model, self._new.model, self._joined, compared, self._naming)
        undecided: list[str] = []
        verdicts += self._observed(compared, asked, undecided)
        return self._told(compared, tuple(verdicts), (*asked, *self._asked_by_search(compared)), tuple(undecided))

    # --- what is asked ----------------------------------------------------------------------------------------------
    def _same_ids(self) -> bool:
        """Tell whether both have the same properties, with the same words in their conditions."""
        return all(a is not None and b is not None and self._same_condition(a, b) for a, b in self._joined.pair.properties)

    def _same_condition(self, a: int, b: int) -> bool:
        rules = self._old.model.properties[a].rule, self._new.model.properties[b].rule
        return self._forms[0].condition(rules[0]) == self._forms[1].condition(rules[1])

    def _asked_by_form(self) -> Iterator[AskedChange]:
        """Yield the properties that ask something else, as far as that is seen without a search."""
        for a, b in self._joined.pair.properties:
            if a is None or b is None:
                continue
            one, two = self._old.model.properties[a], self._new.model.properties[b]
            if type(one.rule) is not type(two.rule):
                yield AskedChange(id=two.id, how="it is of another kind")
            elif self._forms[0].rule(one.rule) != self._forms[1].rule(two.rule):
                yield AskedChange(id=two.id, how="it is about another command")
            elif self._old.has_observer(one) and not self._same_observer(a, b):
                yield AskedChange(id=two.id, how="its conditions or its time are not the same")

    def _same_observer(self, a: int, b: int) -> bool:
        forms = []
        for one, place, side in ((self._old, a, Side.OLD), (self._new, b, Side.NEW)):
            model = one.observed(one.model.properties[place])
            forms.append(Forms(model, spelling(self._joined, model, side), self._numbers).observed())
        return forms[0] == forms[1]

    def _asked_by_search(self, compared: Compared) -> Iterator[AskedChange]:
        """Yield the properties whose condition is true in other situations."""
        both = [(a, b) for a, b in self._joined.pair.properties if a is not None and b is not None]
        for place, level in compared.judged.items():
            a, b = both[place]
            if self._same_condition(a, b) or isinstance(self._new.model.properties[b].rule, Elsewhere):
                continue
            more, less = self._change(level.more), self._change(level.less)
            yield AskedChange(id=self._new.model.properties[b].id, how="its condition is not the same", more=more, less=less)

    # --- requirements on order and time -----------------------------------------------------------------------------
    def _observed(self, compared: Compared, asked: Sequence[AskedChange], undecided: list[str]) -> Iterator[VerdictChange]:
        """Yield the verdicts that differ among those that take an observer; note those that no search decided."""
        for a, b in self._joined.pair.properties:
            one = None if a is None else self._old.model.properties[a]
            two = None if b is None else self._new.model.properties[b]
            rules = [p.rule for p in (one, two) if p is not None]
            if not any(isinstance(rule, Elsewhere) for rule in rules):
                continue
            id_ = next(p.id for p in (two, one) if p is not None)
            if None not in {a, b} and id_ not in {change.id for change in asked} and is_same(compared):
                continue
            if compared.stopped is not None:
                undecided.append(id_)
                continue
            (before, *beside), (now, *besides) = self._judged(self._old, a), self._judged(self._new, b)
            ones = before, now
            if any(verdict_of(result) is Verdict.UNDECIDED for result in ones) and not (beside or besides):
                undecided.append(id_)
            elif verdict_of(ones[0]) != verdict_of(ones[1]):
                yield VerdictChange(id=id_, old=ones[0], new=ones[1])
            yield from broken([one for one in beside if one], [one for one in besides if one], self._naming)

    def _judged(self, subject: Subject, number: int | None) -> list[Result | None]:
        """Return the verdict on one property by a search of its own, and what is to be reported beside it."""
        if number is None:
            return [None]
        p = subject.model.properties[number]
        search = self._search
        limits = limits_left(search.limits, search.began)
        if subject.has_observer(p):
            found = observe(subject.model, subject.observed(p), search.engine, limits, search.observer)
            return [found.result, *found.beside]
        alone = replace(subject.model, properties=(p,))
        return [verify_case(alone, search.engine, limits, search.observer).results[0]]

    # --- telling ----------------------------------------------------------------------------------------------------
    def _told(
        self,
        compared: Compared | None,
        verdicts: tuple[VerdictChange, ...],
        asked: tuple[AskedChange, ...],
        undecided: tuple[str, ...],
    ) -> Comparison:
        old_names, new_names = self._naming.unmatched()
        told = Comparison(
            old=part(self._old.model, compared, Side.OLD),
            new=part(self._new.model, compared, Side.NEW),
            tick_s=self._new.model.tick_s,
            outcome=Outcome.SAME,
            quick=compared is None,
            verdicts=verdicts,
            asked=asked,
            old_names=old_names,
            new_names=new_names,
            notes=tuple(notes(self._old.model, self._new.model, self._joined)),
            undecided=undecided,
            seconds=time.monotonic() - self._search.began,
        )
        return told if compared is None else self._with(told, compared)

    def _with(self, told: Comparison, compared: Compared) -> Comparison:
        """Return a comparison with what was searched."""
        told = replace(
            told,
            stopped=compared.stopped,
            common=compared.common,
            commands=tuple(self._commands(compared)),
            gone=self._change(compared.gone),
            come=self._change(compared.come),
            starts_gone=self._change(compared.starts_gone),
            starts_come=self._change(compared.starts_come),
            steps=tuple(self._steps(compared)),
            unclear=compared.unclear,
        )
        return replace(told, outcome=self._outcome(told, compared), seconds=time.monotonic() - self._search.began)

    def _outcome(self, told: Comparison, compared: Compared) -> Outcome:
        if told.verdicts or told.asked or not is_same(compared):
            return Outcome.DIFFERS
        if any(None in pair for pair in self._joined.pair.properties):
            return Outcome.DIFFERS
        open_ = compared.stopped is not None or compared.unclear or told.undecided
        return Outcome.UNDECIDED if open_ else Outcome.SAME

    def _change(self, difference: Difference | None) -> Change | None:
        """Return a difference with its run, taken again with the plain definition."""
        if difference is None:
            return None
        if difference.way is None:
            return Change(count=difference.count, shown=None)
        side = difference.way.side
        run, accounts = record(self._model(side), self._joined.own(side, difference.way.trace), self._memories[side])
        return Change(count=difference.count, shown=Shown(side=side, run=run, accounts=accounts))

    def _model(self, side: Side) -> Model:
        return self._old.model if side is Side.OLD else self._new.model

    def _commands(self, compared: Compared) -> Iterator[CommandChange]:
        for place, level in compared.accepted.items():
            label = self._joined.pair.labels[place]
            yield CommandChange(
                name=self._by(label).name,
                accepted=self._change(level.more),
                refused=self._change(level.less),
                refused_by=self._refusing(label, level.less),
                only=only(label),
            )

    def _refusing(self, label: Label, refused: Difference | None) -> tuple[str, ...]:
        """Return the permissives that refuse a command at the end of the way to where it is refused."""
        if refused is None or refused.way is None or label.new is None:
            return ()
        state = self._joined.own(Side.NEW, refused.way.trace).states[-1]
        guards = self._new.model.steps[label.new].guards
        return tuple(guard.name for guard in guards if not holds(self._new.model, guard.test, state))

    def _steps(self, compared: Compared) -> Iterator[StepChange]:
        for place, moved in compared.moved.items():
            label = self._joined.pair.labels[place]
            gone, come = self._change(moved.gone), self._change(moved.come)
            yield StepChange(by=self._by(label), gone=gone, come=come, only=only(label))

    def _by(self, label: Label) -> By:
        if label.is_wait:
            return WAIT
        model, number = (self._new.model, label.new) if label.new is not None else (self._old.model, label.old)
        step = model.steps[number or 0]
        return By(kind=step.kind, name=step.name, to=step.to)


def holds(model: Model, test: Expression, state: State) -> bool:
    """Tell whether a condition has a value and is true."""
    try:
        return bool(semantics.evaluate(model, test, state))
    except semantics.Impossible:
        return False


def only(label: Label) -> Side | None:
    """Return the one file that has a step; None if both have it."""
    if label.is_wait or (label.old is not None and label.new is not None):
        return None
    return Side.OLD if label.new is None else Side.NEW


def part(model: Model, compared: Compared | None, side: Side) -> Part:
    """Return what is told of one file."""
    searched = None if compared is None else compared.searched(side)
    return Part(
        machine=model.name,
        revision=model.revision,
        states=None if searched is None else searched.states,
        situations=None if searched is None else searched.situations,
    )


def is_same(compared: Compared) -> bool:
    """Tell whether nothing that two machines do was found to differ."""
    situations = (compared.gone, compared.come, compared.starts_gone, compared.starts_come)
    return situations == (None,) * 4 and not compared.accepted and not compared.moved
