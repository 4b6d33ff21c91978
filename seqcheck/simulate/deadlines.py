"""Follows requirements on time and order while a machine is stepped: which deadline runs, and what has been violated.

It reads the checked tree by its own code, in the words of the definition; observers that are compiled into a model are not
used.
"""

from collections.abc import Callable
from typing import TypeAlias

from msgspec import Struct

from seqcheck.check.machine import Condition, Machine, Precedence, Requirement, Response
from seqcheck.check.typed import Expression
from seqcheck.simulate.errors import NoValueError

Holds: TypeAlias = Callable[[Condition], bool]
"""Tells whether a condition is true now. Raises `NoValueError`."""


class Deadline(Struct, frozen=True, kw_only=True):
    """What has been called for and is still to come: in so many ticks at the latest."""

    requirement: Requirement
    answer: Condition
    left_ticks: int


class Breach(Struct, frozen=True, kw_only=True):
    """A violated requirement. *problem*: why it can't be told whether it is, empty if it is."""

    requirement: Requirement
    problem: str = ""


class Noted(Struct, frozen=True, kw_only=True):
    """What must be known of the past for one requirement.

    *called_at*: the time of the earliest call that is not answered. *was_true*: the condition that calls, a moment ago.
    *prepared*: what must come first has come. *violated*: by a deadline that has passed, or in this state. *lost*: why what
    came before is not known.
    """

    called_at: int | None = None
    was_true: bool = False
    prepared: bool = False
    violated: bool = False
    problem: str = ""
    lost: str = ""


Followed: TypeAlias = tuple[Noted, ...]


class Deadlines:
    """Follows the responses and precedences of one machine. What it notes is a value, so that it can be put back."""

    def __init__(self, machine: Machine) -> None:
        self._requirements = [r for r in machine.requirements if isinstance(r.rule, Response | Precedence)]

    def begin(self) -> Followed:
        """Return what is known before the start."""
        return tuple(Noted() for _ in self._requirements)

    def conditions(self) -> tuple[Expression, ...]:
        """Return all that is asked of a state."""
        return tuple(condition.expression for r in self._requirements for condition in _conditions(r))

    def note(self, before: Followed, now_ticks: int, holds: Holds) -> Followed:
        """Return what is known once a state has been entered."""
        return tuple(_noted(r, noted, now_ticks, holds) for r, noted in zip(self._requirements, before, strict=True))

    def running(self, followed: Followed, now_ticks: int) -> tuple[Deadline, ...]:
        """Return the deadlines that run, in file order."""
        return tuple(
            Deadline(requirement=r, answer=r.rule.then, left_ticks=noted.called_at + r.rule.within_ticks - now_ticks)
            for r, noted in zip(self._requirements, followed, strict=True)
            if isinstance(r.rule, Response) and noted.called_at is not None and not noted.violated
        )

    def breaches(self, followed: Followed) -> tuple[Breach, ...]:
        """Return what is violated, or can't be told, in file order."""
        return tuple(
            Breach(requirement=r, problem="" if noted.violated else noted.problem)
            for r, noted in zip(self._requirements, followed, strict=True)
            if noted.violated or noted.problem
        )


def _conditions(requirement: Requirement) -> tuple[Condition, ...]:
    match requirement.rule:
        case Response(when=when, then=then, unless=unless):
            return (when, then) if unless is None else (when, then, unless)
        case Precedence(before=before, first=first, since=since):
            return (before, first) if since is None else (before, first, since)
        case _:
            return ()


def _noted(requirement: Requirement, noted: Noted, now_ticks: int, holds: Holds) -> Noted:
    if noted.lost:
        return noted
    match requirement.rule:
        case Response() as rule:
            return _response(rule, noted, now_ticks, holds)
        case Precedence() as rule:
            return _precedence(rule, noted, holds)
        case _:
            raise ValueError(requirement)


def _response(rule: Response, noted: Noted, now_ticks: int, holds: Holds) -> Noted:
    """A call is let off in the state in which it is made too; a deadline once passed stays passed."""
    violated = noted.violated or (noted.called_at is not None and now_ticks - noted.called_at > rule.within_ticks)
    try:
        calls, answered = holds(rule.when), holds(rule.then)
        let_off = rule.unless is not None and holds(rule.unless)
    except NoValueError as error:
        return Noted(violated=noted.violated, problem=error.problem, lost=error.problem)
    called_at = noted.called_at
    if answered or let_off:
        called_at = None
    elif calls and not noted.was_true and called_at is None:
        called_at = now_ticks
    return Noted(called_at=called_at, was_true=calls, violated=violated)


def _precedence(rule: Precedence, noted: Noted, holds: Holds) -> Noted:
    try:
        comes = holds(rule.first)
        forgotten = rule.since is not None and holds(rule.since)
    except NoValueError as error:
        return Noted(problem=error.problem, lost=error.problem)
    prepared = comes or (noted.prepared and not forgotten)
    try:
        return Noted(prepared=prepared, violated=holds(rule.before) and not prepared)
    except NoValueError as error:
        return Noted(prepared=prepared, problem=error.problem)
