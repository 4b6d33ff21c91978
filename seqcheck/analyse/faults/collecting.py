"""Collects, set of faults by set of faults, by which each hazard and requirement is reached; keeps the minimal sets only.

A set that holds another by which a hazard is reached already need not be looked at for it: the other faults are not needed.
"""

from collections.abc import Iterable, Mapping, Sequence

from msgspec import Struct

from seqcheck.analyse.faults.sets import FaultSet
from seqcheck.analyse.judge import BUILT_IN, KIND_NAMES, NAMED_BY_RULE
from seqcheck.analyse.verdict import Result, Verdict
from seqcheck.model.model import Model, condition_of


class Subject(Struct, frozen=True, kw_only=True):
    """A hazard, a requirement or a built-in check, that sets of faults may bring about. *risk* is like `S2 F1 P2`, or empty."""

    id: str
    kind: str
    text: str
    condition: str
    risk: str
    source: str
    line: int


class Reached(Struct, frozen=True, kw_only=True):
    """A minimal set of faults with which something is reached; *result* has the shortest run."""

    faults: FaultSet
    result: Result


class Open(Struct, frozen=True, kw_only=True):
    """A set of faults with which it is not known whether something is reached, and why."""

    faults: FaultSet
    reason: str


class Row(Struct, frozen=True, kw_only=True):
    """What is known of one subject: its minimal sets, and the sets that are open."""

    subject: Subject
    reached: tuple[Reached, ...]
    open: tuple[Open, ...]


def subjects(model: Model) -> tuple[Subject, ...]:
    """Return all that can be reached in a model: hazards, requirements, then the built-in checks."""
    asked = [
        Subject(
            id=p.id,
            kind=p.rule.kind if isinstance(p.rule, NAMED_BY_RULE) else KIND_NAMES[type(p.rule)],
            text=p.text,
            condition=condition_of(p.rule).text,
            risk=p.risk,
            source=p.source,
            line=p.line,
        )
        for p in model.properties
    ]
    built_in = [
        Subject(id=kind, kind=kind, text=text, condition="", risk="", source="", line=1) for kind, text in BUILT_IN.items()
    ]
    return (*asked, *built_in)


class Collector:
    """What is known of every subject so far."""

    def __init__(self, asked: Sequence[Subject], faults: Sequence[str]) -> None:
        self._order = {fault: place for place, fault in enumerate(faults)}
        self._subjects = asked
        self._reached: dict[str, list[Reached]] = {subject.id: [] for subject in asked}
        self._open: dict[str, list[Open]] = {subject.id: [] for subject in asked}
        self._settled: set[str] = set()

    def wanted(self, faults: FaultSet) -> frozenset[str]:
        """Return the ids of the subjects that no part of a set brings about as far as is known, and that are not settled."""
        chosen = set(faults)
        return frozenset(
            id_
            for id_, reached in self._reached.items()
            if id_ not in self._settled and not any(chosen.issuperset(known.faults) for known in reached)
        )

    def settle(self, ids: Iterable[str]) -> None:
        """Note that all minimal sets of some subjects are known."""
        self._settled.update(ids)

    def add(self, faults: FaultSet, ids: frozenset[str], results: Iterable[Result]) -> tuple[Reached, ...]:
        """Take in the results with a set of faults; return what is reached by it and by no part of it."""
        new = []
        noted: set[str] = set()
        for result in results:
            id_ = result.kind if result.kind in BUILT_IN else result.id
            if id_ not in ids or id_ in noted:
                continue
            if result.verdict is Verdict.VIOLATED:
                noted.add(id_)
                new.append(Reached(faults=faults, result=result))
                self._reached[id_].append(new[-1])
            elif result.verdict is Verdict.UNDECIDED:
                noted.add(id_)
                self._open[id_].append(Open(faults=faults, reason=result.reason))
        return tuple(new)

    def leave_open(self, faults: FaultSet, reason: str) -> None:
        """Note that a set was not looked at, or not to its end."""
        for id_ in self.wanted(faults):
            self._open[id_].append(Open(faults=faults, reason=reason))

    def rows(self) -> tuple[Row, ...]:
        """Return what is known, each subject's sets by their size."""
        return tuple(
            Row(
                subject=subject,
                reached=tuple(sorted(self._reached[subject.id], key=lambda one: self._place(one.faults))),
                open=tuple(sorted(self._open[subject.id], key=lambda one: self._place(one.faults))),
            )
            for subject in self._subjects
        )

    def _place(self, faults: FaultSet) -> tuple[int, ...]:
        """Return the place of a set among others: by size, then in file order."""
        return (len(faults), *(self._order[fault] for fault in faults))

    @property
    def minimal(self) -> Mapping[str, tuple[FaultSet, ...]]:
        """The minimal sets of each subject."""
        return {id_: tuple(one.faults for one in reached) for id_, reached in self._reached.items()}
