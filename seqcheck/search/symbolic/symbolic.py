"""The `symbolic` engine: sets of states as decision diagrams, for machines with up to some 10^50 states.

It finds all reachable states by taking steps in whatever order is quick; layers by number of steps are made only where a run
is to be shown, and only as far as it goes.
"""

import time
from dataclasses import dataclass

from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.search.engine import NO_EXTRAS, Exploration, Extras, Limits, Observer, Progress, Stop, Unfit
from seqcheck.search.symbolic.answering import Answering, Parts
from seqcheck.search.symbolic.diagrams import Node, OutOfNodes, Space
from seqcheck.search.symbolic.moves import Moves
from seqcheck.search.symbolic.ordering import ordered
from seqcheck.search.symbolic.reaching import Halt, Reached, Reaching
from seqcheck.search.symbolic.runs import Runs
from seqcheck.search.symbolic.timing import Clockwork
from seqcheck.search.symbolic.valuing import Facts
from seqcheck.search.symbolic.waiting import Waiting

WIDEST = 1 << 14
"""Values of a single variable that are worth telling apart one by one."""

NODES = 1 << 21
BYTES_A_NODE = 24
"""Diagram, its table and the memory of operations, for each node of room."""


class SymbolicEngine:
    """Decision diagrams; one move for each step, over the bits that the step touches."""

    name = "symbolic"

    def explore(  # noqa: PLR0913, PLR0917 - the one door
        self,
        model: Model,
        watches: tuple[Expression, ...],
        limits: Limits,
        observer: Observer,
        extras: Extras = NO_EXTRAS,
    ) -> Exploration:
        """Search every reachable state of *model*, or as far as *limits* allow.

        Raises `Unfit` for a model with a variable of very many values, or whose settling takes very many rounds.
        """
        for v in model.variables:
            if v.highest - v.lowest >= WIDEST:
                raise Unfit(f"{v.name} has {v.highest - v.lowest + 1:,} values, which is too many to tell apart in a diagram")
        return Search(model, limits, observer, extras).run(watches)


@dataclass(slots=True)
class Budget:
    """Looks at the limits while a search goes on."""

    space: Space
    limits: Limits
    observer: Observer
    began: float
    stopped: Stop | None = None

    def check(self, reached: Reached) -> None:
        """Report progress and raise `Halt` where a limit is reached."""
        limits = self.limits
        if limits.seconds is not None and time.monotonic() - self.began > limits.seconds:
            self.halt(Stop.SECONDS)
        self.observer(Progress(states=0, transitions=0, layer=max(0, len(reached.layers) - 1), waiting=0))

    def halt(self, why: Stop) -> None:
        """End the search."""
        self.stopped = why
        raise Halt


class Search:
    """One search of one model."""

    def __init__(self, model: Model, limits: Limits, observer: Observer, extras: Extras) -> None:
        self._model = model
        self._extras = extras
        facts = Facts(model)
        self._space = Space(model, ordered(facts), NODES)
        self._budget = Budget(self._space, limits, observer, time.monotonic())
        self._moves = Moves(self._space, facts)
        self._moves.settling.care = self._moves.at_rest()
        steps = [self._moves.step(number) for number in range(len(model.steps))]
        tick = self._moves.tick()
        self._moves.settling.care = self._space.true
        start = self._moves.start()
        self._waiting = Waiting(self._space, model, self._moves, tick)
        reaching = Reaching(self._space, steps, self._waiting, start.image(start.possible), self._budget.check)
        self._parts = Parts(
            model=model,
            space=self._space,
            facts=facts,
            moves=self._moves,
            steps=steps,
            every=[*steps, *([tick] if tick is not None else [])],
            start=start,
            reaching=reaching,
        )

    def run(self, watches: tuple[Expression, ...]) -> Exploration:
        """Search, then answer."""
        reaching = self._parts.reaching
        states = reaching.all()
        return self._answer(states, watches)

    def _answer(self, states: Node, watches: tuple[Expression, ...]) -> Exploration:
        parts = self._parts
        runs = Runs(self._space, parts.steps, self._waiting, parts.reaching, parts.start, Clockwork(parts.facts, parts.moves))
        answering = Answering(parts, states, runs)
        ways = ((number, runs.shortest(aims)) for number, aims in answering.found())
        lacking = ((number, runs.shortest([aim])) for number, aim in answering.unjudged())
        return Exploration(
            states=self._space.count(states),
            transitions=answering.transitions(),
            stopped=None,
            complete_steps=None,
            found={number: way.trace for number, way in ways if way is not None},
            failures=answering.failures(),
            unjudged={number: way.trace for number, way in lacking if way is not None},
            never=answering.never(watches),
            entered=answering.entered(),
            acted=answering.acted(),
            passing=answering.passing(),
            dead_ends=answering.dead_ends(),
            time_stuck=answering.time_stuck(),
            engine=SymbolicEngine.name,
        )
