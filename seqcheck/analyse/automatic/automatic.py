"""Finds the automatic sequences of a machine: for each command, and each trip that people set off, what then runs by itself.

One search asks for the shortest run to each situation in which something is set going; the sequences are followed from there,
and of several for one command or trip those few are kept that together show all that happens by itself.
"""

import time
from collections.abc import Iterator, Mapping
from collections.abc import Sequence as Several
from itertools import islice
from typing import TypeAlias

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.automatic.following import Acting, Alone
from seqcheck.analyse.automatic.records import Automatic, Sequence, Situation
from seqcheck.analyse.automatic.setting_off import ACTING, Beginnings, Goal
from seqcheck.analyse.procedures.moving import Moves
from seqcheck.analyse.record import SHOWN, Memory, record
from seqcheck.model.model import Guard, Model, Property, Reachable
from seqcheck.search.engine import Engine, Limits, Observer, Trace

MOST_OF_ONE = 3
"""Sequences that are kept for one command or trip."""

MOST_GOALS = 600
"""Situations asked for in one search; a larger machine has more, and then the sequences are not complete."""


About: TypeAlias = tuple[int | None, int | None]
"""The command or the trip that a sequence is about."""


class Candidate(Struct, frozen=True, kw_only=True):
    """One way in which a sequence can begin. Its situations do not tell which reactions act later."""

    trace: Trace
    step: int
    acted: tuple[str, ...]
    situations: tuple[Situation, ...]


def automatic_sequences(model: Model, engine: Engine, limits: Limits, observer: Observer) -> Automatic:
    """Return the automatic sequences of a machine. The model must be without faults.

    The runs are taken again by the definition; they are to be replayed before they are shown.
    """
    shown = tuple(place for place, variable in enumerate(model.variables) if variable.kind in SHOWN)
    began = time.monotonic()
    beginnings = Beginnings(model)
    goals = tuple(islice(beginnings.goals(), MOST_GOALS + 1))
    asked = goals[:MOST_GOALS]
    if not asked:
        return Automatic(shown=shown, sequences=(), complete=True)
    exploration = engine.explore(_asking(model, asked), (), limits, observer)
    finding = Finding(model, shown)
    found: dict[About, list[Candidate]] = {}
    for number, goal in enumerate(asked):
        trace = exploration.found.get(number)
        if trace is not None and not _is_over(limits, began):
            found.setdefault((goal.command, goal.trip), []).extend(finding.candidates(goal, trace))
    sequences = tuple(finding.sequence(trip, one) for (_, trip), one in _apart(found))
    cut = beginnings.is_cut or len(asked) < len(goals)
    complete = exploration.stopped is None and not cut and not _is_over(limits, began)
    return Automatic(shown=shown, sequences=sequences, complete=complete)


def _is_over(limits: Limits, began: float) -> bool:
    return limits.seconds is not None and time.monotonic() - began > limits.seconds


def _apart(found: Mapping[About, Several[Candidate]]) -> Iterator[tuple[About, Candidate]]:
    """Yield the sequences to be shown; what one step sets off in one situation is one, whatever trips it makes act."""
    met: set[tuple[int, Trace]] = set()
    for about, candidates in found.items():
        for one in telling(candidates):
            if (one.step, one.trace) not in met:
                yield about, one
            met.add((one.step, one.trace))


def telling(candidates: Several[Candidate]) -> list[Candidate]:
    """Return few of some candidates, which show all that happens in any of them; of equal ones that after the shortest way."""
    shows = [_happens(one.situations) for one in candidates]
    left = frozenset().union(*shows)
    chosen: list[Candidate] = []
    while left and len(chosen) < MOST_OF_ONE:
        best = max(range(len(candidates)), key=lambda n: (len(shows[n] & left), *_plainness(candidates[n]), -n))
        chosen.append(candidates[best])
        left -= shows[best]
    return chosen


def _plainness(one: Candidate) -> tuple[int, int]:
    return -len(one.situations), -len(one.trace.states)


def _happens(situations: Several[Situation]) -> frozenset[int | tuple[int, int]]:
    """Return what happens somewhere: plant rules by their numbers; what time brings, by what changes and to which value."""
    found: set[int | tuple[int, int]] = set()
    for before in situations:
        for happening in before.happenings:
            after = situations[happening.to].values
            if happening.step is not None:
                found.add(happening.step)
            else:
                found.update((n, value) for n, value in enumerate(after) if value != before.values[n])
    return frozenset(found)


def _asking(model: Model, goals: Several[Goal]) -> Model:
    """Return the machine with the question whether each goal is reachable in place of its own."""
    asked = [
        Property(id=str(n), text="", rule=Reachable(goal=Guard(name="", test=goal.test, text="")), risk="", source="", line=1)
        for n, goal in enumerate(goals)
    ]
    return replace(model, properties=tuple(asked), procedures=())


class Finding:
    """Follows sequences of one model; states are numbered once for all of them."""

    def __init__(self, model: Model, shown: tuple[int, ...]) -> None:
        self._model = model
        self._moves = Moves(model)
        self._acting = Acting(self._moves)
        self._alone = Alone(self._moves, shown, self._acting)
        self._shortly = Alone(self._moves, shown, self._acting, told=False)
        self._followed: dict[int, tuple[Situation, ...]] = {}
        self._memory: Memory = {}

    def candidates(self, goal: Goal, trace: Trace) -> Iterator[Candidate]:
        """Yield the sequences that begin in the last state of a trace: those in which something happens."""
        state = self._moves.number(trace.states[-1])
        for step in self._causes(goal):
            after = self._moves.step(step, state)
            if after < 0 or after == state:
                continue
            names = self._acting.names(state, step)
            if goal.trip is not None and self._model.reactions[goal.trip].name not in names:
                continue
            if after not in self._followed:
                self._followed[after] = self._shortly.follow(after)
            situations = self._followed[after]
            if situations[0].happenings:
                yield Candidate(trace=trace, step=step, acted=names, situations=situations)

    def _causes(self, goal: Goal) -> Iterator[int]:
        if goal.command is not None:
            yield goal.command
        else:
            yield from (number for number, step in enumerate(self._model.steps) if step.kind in ACTING)

    def sequence(self, trip: int | None, candidate: Candidate) -> Sequence:
        """Return a sequence with its run."""
        before = self._moves.number(candidate.trace.states[-1])
        after = self._moves.step(candidate.step, before)
        whole = replace(candidate.trace, states=(*candidate.trace.states, self._moves.states[after]))
        run, accounts = record(self._model, whole, self._memory)
        return Sequence(
            step=candidate.step,
            trip="" if trip is None else self._model.reactions[trip].name,
            before=self._alone.values(before),
            acted=candidate.acted,
            situations=self._alone.follow(after),
            run=run,
            accounts=accounts,
        )
