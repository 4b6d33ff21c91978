"""Confirms the claims on a closed set by visiting every state of it with generated code."""

from collections.abc import Callable, Mapping, Sequence
from typing import NewType, TypeAlias

from msgspec import Struct

from seqcheck.model import semantics
from seqcheck.model.model import Elsewhere, Forbid, Hazard, Model, Observed, Only, Reachable, Recoverable, State
from seqcheck.model.run import StepKind
from seqcheck.proof.form import Kind
from seqcheck.proof.generate import TICK, Behaviour, Mark
from seqcheck.proof.wording import Refuser

Place = NewType("Place", int)
Observer: TypeAlias = Callable[[int, int, str], None]
"""Is told how many of how many things have been confirmed, and what they are."""

CHUNK = 512


class Task(Struct, frozen=True, kw_only=True):
    """What is to be confirmed of a set: claims by the number of the property; *ranks* go with `reachable` and `recoverable`."""

    claimed: frozenset[int]
    built_in: frozenset[Kind]
    ranks: Mapping[int, Sequence[int]]


class Disagreement(Exception):  # noqa: N818 - named for what it is
    """The checker's own code and the definition do not agree: a fault of this program, not of the file."""


class Listing:
    """The examination of one listed set."""

    def __init__(self, model: Model, behaves: Behaviour, states: Sequence[State], task: Task) -> None:
        self._model = model
        self._states = states
        self._task = task
        self._behaviour = behaves
        self._index = {state: place for place, state in enumerate(states)}
        self._refuse = Refuser(model)
        self._judged: list[tuple[int | None, ...]] = []
        self._flags = model.fault_variables
        rules = [(number, model.properties[number].rule) for number in sorted(task.claimed)]
        self._forbids = [(number, rule.step) for number, rule in rules if isinstance(rule, Forbid)]
        self._onlys = [(number, rule.steps) for number, rule in rules if isinstance(rule, Only)]
        self._is_fault = [step.kind is StepKind.FAULT for step in model.steps]

    def confirm(self, observer: Observer) -> None:
        """Confirm everything. Raises `RefusedError`."""
        self._confirm_starts()
        total = len(self._states)
        for first in range(0, total, CHUNK):
            self._judged += map(self._behaviour.judge, self._states[first : first + CHUNK])
        for place in range(total):
            self._confirm_conditions(place)
        for place in range(total):
            if place % CHUNK == 0:
                observer(place, total, "states")
            self._confirm_steps(place)

    def confirm_first(self) -> None:
        """Confirm what is said of the first state alone; the others are states that it leads to."""
        self._judged += map(self._behaviour.judge, self._states)
        self._confirm_conditions(0)
        self._confirm_steps(0)

    def _confirm_starts(self) -> None:
        for raw in semantics.raw_starts(self._model):
            state = self._behaviour.settled(raw)
            if isinstance(state, tuple):
                if state not in self._index:
                    raise self._refuse.start_outside(state)
            elif self._is_claimed(state):
                self._refuse_start(raw)

    def _refuse_start(self, raw: State) -> None:
        try:
            semantics.settle(self._model, raw)
        except semantics.Failed as failed:
            raise self._refuse.start_fails(raw, failed.failure) from None
        raise Disagreement("about a start")

    def _is_claimed(self, mark: Mark) -> bool:
        """Tell whether it is claimed that nothing fails in this way: of an observer, if anything is claimed at all."""
        if mark is Mark.UNSEEN:
            return bool(self._task.claimed)
        return (Kind.SETTLING if mark is Mark.ENDLESS else Kind.RANGE) in self._task.built_in

    def _confirm_conditions(self, place: int) -> None:
        """Confirm what is said of a state by itself."""
        state, judged = self._states[place], self._judged[place]
        for number, p in enumerate(self._model.properties):
            value = judged[number]
            claimed = number in self._task.claimed
            if value is None:
                if (claimed or Kind.RANGE in self._task.built_in) and not isinstance(p.rule, Elsewhere):
                    raise self._refuse.no_value(p.id, state)
            elif value and claimed and isinstance(p.rule, Hazard):
                raise self._refuse.has(p.id, state)
            elif value and claimed and isinstance(p.rule, Observed):
                raise self._refuse.breaks(p.id, state)
            elif claimed and number in self._task.ranks and not value and self._task.ranks[number][place] == 0:
                raise self._refuse.no_goal(Kind.REACHABLE if isinstance(p.rule, Reachable) else Kind.RECOVERABLE, p.id, state)

    def _confirm_steps(self, place: int) -> None:
        """Confirm what is said of every step from a state."""
        state = self._states[place]
        inside: list[tuple[int, int]] = []
        accepted: set[int] = set()
        for number, after in self._behaviour.visit(state):
            if after is not Mark.GUARD:
                accepted.add(number)
            if isinstance(after, Mark):
                if self._is_claimed(after):
                    raise self._refuse.fails(state, number)
                continue
            target = self._index.get(after)
            if target is None:
                raise self._refuse.leaves(state, number, after)
            inside.append((number, target))
        self._confirm_forbidden(place, accepted)
        self._confirm_only(place, inside)
        self._confirm_ranks(place, inside)

    def _confirm_forbidden(self, place: int, accepted: set[int]) -> None:
        for number, step in self._forbids:
            if step in accepted and self._judged[place][number]:
                raise self._refuse.accepts(self._model.properties[number].id, self._states[place], step)

    def _confirm_only(self, place: int, inside: Sequence[tuple[int, int]]) -> None:
        for number, allowed in self._onlys:
            if self._judged[place][number]:
                continue
            for step, target in inside:
                if self._judged[target][number] and step not in allowed:
                    raise self._refuse.makes(self._model.properties[number].id, self._states[place], step)

    def _confirm_ranks(self, place: int, inside: Sequence[tuple[int, int]]) -> None:
        for number, ranks in self._task.ranks.items():
            p, rank = self._model.properties[number], ranks[place]
            if isinstance(p.rule, Recoverable) and rank < 0:
                raise self._refuse.no_layer(Kind.RECOVERABLE, p.id, self._states[place])
            if isinstance(p.rule, Reachable):
                self._confirm_entries(number, inside)
            if rank > 0 and not any(0 <= ranks[target] < rank and not self._is_new_fault(step) for step, target in inside):
                kind = Kind.REACHABLE if isinstance(p.rule, Reachable) else Kind.RECOVERABLE
                raise self._refuse.no_way(kind, p.id, self._states[place])

    def _is_new_fault(self, step: int) -> bool:
        return step != TICK and self._is_fault[step]

    def _confirm_entries(self, number: int, inside: Sequence[tuple[int, int]]) -> None:
        """Confirm that each state just after the last fault is in some layer."""
        for step, target in inside:
            after = self._states[target]
            if self._is_new_fault(step) and all(after[flag] for flag in self._flags) and self._task.ranks[number][target] < 0:
                raise self._refuse.no_layer(Kind.REACHABLE, self._model.properties[number].id, after)
