"""Searches many machines at once, told apart by some variables of one model: flags of faults, or what is left out of the logic.

For each property it finds the values of these variables with which the property is violated, and for those that are chosen a
shortest run each. A variable that tells machines apart keeps its start value, or is set to a constant by steps that are faults.
"""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from typing import TypeAlias

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.model.expression import Const, Expression
from seqcheck.model.model import Elsewhere, Model, Reachable
from seqcheck.model.run import StepKind
from seqcheck.search.engine import NO_EXTRAS, Limits, Observer, Stop, Trace
from seqcheck.search.limits import Allowance
from seqcheck.search.symbolic.answering import Answering
from seqcheck.search.symbolic.budget import Budget
from seqcheck.search.symbolic.diagrams import Node, OutOfNodes
from seqcheck.search.symbolic.moves import Move
from seqcheck.search.symbolic.reaching import Halt
from seqcheck.search.symbolic.runs import Aim, Runs
from seqcheck.search.symbolic.symbolic import Search

Values: TypeAlias = tuple[int, ...]
"""A value for each of the variables that tell machines apart."""

Choose: TypeAlias = Callable[[Collection[Values]], Collection[Values]]
"""Chooses the values that are to be shown among all with which something is violated."""

Shown: TypeAlias = tuple[tuple[Values, Trace | None], ...]


class Sorted(Struct, frozen=True, kw_only=True):
    """What was found: for the number of each violated property, the chosen values, each with a run (None: no run can show it).

    *states* counts those of all machines together. *stopped*: the search did not come to its end, and nothing is known. *never*
    are the watches that no state of the machine has where nothing differs from 0, *acted* the reactions that act in it.
    *unjudged* are properties whose condition has no value somewhere, *fails* tells that some step cannot be completed.
    *left_out* are the values with which either is so, where they were to be left out of all the rest.
    """

    states: int
    stopped: Stop | None
    found: Mapping[int, tuple[tuple[Values, Trace | None], ...]]
    unjudged: frozenset[int] = frozenset()
    never: frozenset[int] = frozenset()
    acted: frozenset[int] = frozenset()
    fails: bool = False
    left_out: frozenset[Values] = frozenset()


class Apart(Struct, frozen=True, kw_only=True):
    """What tells machines apart: the variables *by*, no more than *at_most* of which begin with another value than 0.

    *watches* are conditions to be looked for in the machine where all of them are 0. *only_sound*: machines in which something
    fails, or a property cannot be judged, are left out of the answer.
    """

    by: tuple[int, ...]
    at_most: int | None = None
    watches: tuple[Expression, ...] = ()
    only_sound: bool = False


def sort(model: Model, apart: Apart, choose: Choose | None, limits: Limits, observer: Observer) -> Sorted:
    """Search all machines that are told apart. Raises `Unfit`.

    Without *choose* the variables have but two values, and the least sets of those that are 1 are shown, none being part of
    another.
    """
    with Allowance(limits) as allowance:
        budget = Budget(allowance, limits, observer, is_long=True)
        try:
            return Sorting(model, apart, choose, budget).sorted()
        except OutOfNodes:
            return Sorted(states=0, stopped=Stop.MEMORY, found={})
        except Halt as halt:
            return Sorted(states=0, stopped=halt.why, found={})


class Sorting:
    """One such search."""

    def __init__(self, model: Model, apart: Apart, choose: Choose | None, budget: Budget) -> None:
        self._model = model
        self._apart = apart
        self._by = by = apart.by
        self._choose = choose
        self._search = Search(model, budget, NO_EXTRAS)
        self._parts = self._search.parts
        self._space = self._parts.space
        own = {bit for variable in by for bit in self._space.now[variable]}
        self._rest = self._space.cube(bit for bits in self._space.now for bit in bits if bit not in own)
        self._written = {number: self._constants(number) for number in range(len(model.steps))}
        self._starts = self._parts.reaching.starts
        if apart.at_most is not None:
            self._starts &= self._few(apart.at_most)
        self._answering: Answering
        self._runs: dict[tuple[int | None, ...], Runs] = {}

    def sorted(self) -> Sorted:
        """Search, then sort what is violated."""
        states = every = self._all()
        self._answering = Answering(self._parts, states, self._search.runs)
        unsound = self._unsound(states)
        if self._apart.only_sound and unsound.satisfiable():
            states &= ~unsound
            self._answering = Answering(self._parts, states, self._search.runs)
        found: dict[int, Shown] = {}
        for number, p in enumerate(self._model.properties):
            shown = tuple(self._shown(p.rule, states))
            if shown:
                found[number] = shown
        plain = Answering(self._parts, states & self._plain(), self._search.runs)
        return Sorted(
            states=self._space.count(every),
            stopped=None,
            found=found,
            never=plain.never(self._apart.watches),
            acted=plain.acted(states & self._plain(), self._plain()),
            unjudged=frozenset(number for number, _ in self._answering.unjudged()),
            fails=self._failing(every).satisfiable(),
            left_out=frozenset(self._listed(unsound)) if self._apart.only_sound else frozenset(),
        )

    def _failing(self, states: Node) -> Node:
        """Return the states in which a step fails, and the starts, not settled yet, that do not come to rest."""
        starts = self._space.any(raw for _, raw in self._parts.start.failing)
        if self._apart.at_most is not None:
            starts &= self._few(self._apart.at_most)
        return starts | states & self._space.any(failing for move in self._parts.every for _, failing in move.failing)

    def _unsound(self, states: Node) -> Node:
        """Return the values with which something fails, or a property cannot be judged somewhere, as a set over all states."""
        unjudged = self._space.any(aim.states for _, aim in self._answering.unjudged())
        return self._project(self._failing(states) | unjudged)

    def _plain(self) -> Node:
        return self._space.all(self._space.has(variable, 0) for variable in self._by)

    def _all(self) -> Node:
        """Return all reachable states, those with fewer faults before those with more."""
        faults = [move for move in self._parts.steps if self._is_fault(move)]
        new = found = self._closed(self._starts)
        while True:
            begun = self._space.any(move.image(new) for move in faults) & ~found
            if not begun.satisfiable():
                return found
            new = self._closed(begun) & ~found
            found |= new

    def _closed(self, states: Node) -> Node:
        """Return all states that some lead to without faults."""
        steps = [move for move in self._parts.steps if not self._is_fault(move)]
        reaching = self._parts.reaching.from_(states, steps, apart=True)
        if len(steps) == len(self._parts.steps):
            self._runs[tuple(move.number for move in steps)] = self._search.runs.among(steps, reaching)
        return reaching.all()

    def _few(self, most: int) -> Node:
        """Return the states in which no more than so many of the variables that tell machines apart differ from 0."""
        counted = [self._space.true] * (most + 1)
        for variable in reversed(self._by):
            zero = self._space.has(variable, 0)
            counted = [zero.ite(counted[n], counted[n - 1] if n else self._space.false) for n in range(most + 1)]
        return counted[most]

    def _is_fault(self, move: Move) -> bool:
        return move.number is not None and self._model.steps[move.number].kind is StepKind.FAULT

    def _constants(self, number: int) -> Mapping[int, int]:
        """Return what a step sets of the variables that tell machines apart."""
        program = self._model.steps[number].program
        pairs = ((t, v) for assign in program for t, v in zip(assign.targets, assign.values, strict=True))
        return {t: v.value for t, v in pairs if t in self._by and isinstance(v, Const)}

    def _shown(self, rule: object, states: Node) -> Iterator[tuple[Values, Trace | None]]:
        """Yield the chosen values with which a rule is violated, each with a shortest run."""
        match rule:
            case Elsewhere():
                return
            case Reachable(goal=guard):
                aims = list(self._answering.cut_off_after_faults(guard.test))
                lacking = self._project(states) & ~self._project(states & self._parts.moves.truth(guard.test))
                unreached = lacking & self._project(self._starts)
            case _:
                aims, unreached = list(self._answering.aims(rule)), self._space.false
        violated = self._space.any([unreached, *(self._values(aim) for aim in aims)])
        for values in self._chosen(violated):
            hopeless = (unreached & self._with(values)).satisfiable()
            yield values, None if hopeless else self._shortest(aims, values)

    def _chosen(self, violated: Node) -> Collection[Values]:
        if not violated.satisfiable():
            return ()
        return list(self._least(violated)) if self._choose is None else self._choose(set(self._listed(violated)))

    def _least(self, violated: Node) -> Iterator[Values]:
        """Yield the least sets of variables that are 1 in a set over all states: none is part of another."""
        ones = {variable: self._space.has(variable, 1) for variable in self._by}
        left = violated
        while left.satisfiable():
            some = left
            for variable in self._by:
                smaller = some & ~ones[variable]
                if smaller.satisfiable():
                    some = smaller
            values = next(self._listed(some))
            yield values
            left &= ~self._space.all(ones[variable] for variable, value in zip(self._by, values, strict=True) if value)

    def _with(self, values: Values) -> Node:
        return self._space.all(self._space.has(variable, value) for variable, value in zip(self._by, values, strict=True))

    def _project(self, states: Node) -> Node:
        """Return the values that tell machines apart which some of *states* have, as a set over all states."""
        return states.exists(self._rest)

    def _values(self, aim: Aim) -> Node:
        """Return the values that tell apart the machines in which an aim can be met, the step attempted at its end counted."""
        states = self._project(aim.states)
        for variable, value in self._written_at_last(aim).items():
            states = states.exists(self._space.cube(self._space.now[variable])) & self._space.has(variable, value)
        return states

    def _written_at_last(self, aim: Aim) -> Mapping[int, int]:
        return self._written[aim.last] if aim.attempts and aim.last is not None else {}

    def _listed(self, projected: Node, place: int = 0, found: Values = ()) -> Iterator[Values]:
        """Yield the values of the states of a set."""
        if not projected.satisfiable():
            return
        if place == len(self._by):
            yield found
            return
        v = self._model.variables[self._by[place]]
        for raw in range(v.lowest, v.highest + 1):
            yield from self._listed(projected & self._space.has(self._by[place], raw), place + 1, (*found, raw))

    def _shortest(self, aims: Sequence[Aim], values: Values) -> Trace | None:
        """Return a shortest run of the machine that some values tell apart to any of the aims."""
        wanted = [replace(aim, states=aim.states & self._before(aim, values), reads=None) for aim in aims]
        shown = self._runs_of(values).shortest([aim for aim in wanted if aim.states.satisfiable()])
        return None if shown is None else shown.trace

    def _before(self, aim: Aim, values: Values) -> Node:
        """Return the states from which an aim's last step, if it has one, leads to some values."""
        written = self._written_at_last(aim)
        pairs = list(zip(self._by, values, strict=True))
        if any(written.get(variable, value) != value for variable, value in pairs):
            return self._space.false
        return self._space.all(self._space.has(variable, value) for variable, value in pairs if variable not in written)

    def _runs_of(self, values: Values) -> Runs:
        """Return who finds runs in one machine: no other with other faults can be come to by the steps that are left."""
        wanted = dict(zip(self._by, values, strict=True))
        steps = tuple(
            move
            for move in self._parts.steps
            if move.number is None or all(wanted[v] == value for v, value in self._written[move.number].items())
        )
        taken = tuple(move.number for move in steps)
        if taken not in self._runs:
            self._runs[taken] = self._search.runs.among(steps, self._parts.reaching.from_(self._starts, steps))
        return self._runs[taken]
