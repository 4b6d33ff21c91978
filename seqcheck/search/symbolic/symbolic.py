"""The `symbolic` engine: sets of states as decision diagrams, for machines with up to some 10^50 states.

It finds all reachable states by taking steps in whatever order is quick. Layers by number of steps are made where a run is to
be shown, and in long searches beside the rest, so that one that is stopped can say what it has covered.
"""

from seqcheck.model.expression import Expression
from seqcheck.model.model import Model, Recoverable
from seqcheck.search.engine import NO_EXTRAS, Drawn, Exploration, Extras, Limits, Observer, Stop, Unfit
from seqcheck.search.limits import Allowance
from seqcheck.search.symbolic.answering import Answering, Parts
from seqcheck.search.symbolic.budget import BYTES_A_NODE, SMALL_CACHE, Budget, cache_for, nodes_for
from seqcheck.search.symbolic.cone import Cones
from seqcheck.search.symbolic.diagrams import Node, OutOfNodes, Space, lay_out
from seqcheck.search.symbolic.exporting import drawn
from seqcheck.search.symbolic.keeping import recalled, remember
from seqcheck.search.symbolic.moves import Moves
from seqcheck.search.symbolic.ordering import grouped, ordered
from seqcheck.search.symbolic.reaching import Halt, Reached, Reaching
from seqcheck.search.symbolic.runs import Runs, Shown
from seqcheck.search.symbolic.timing import Clockwork
from seqcheck.search.symbolic.valuing import Facts
from seqcheck.search.symbolic.waiting import Waiting

WIDEST = 1 << 14
"""Values of a single variable that are worth telling apart one by one."""


class SymbolicEngine:
    """Decision diagrams; one move for each step, over the bits that the step touches."""

    name = "symbolic"

    def prepare(self) -> None:
        """Make room for the diagrams of a search of a small model without limits."""
        lay_out(nodes_for(float("inf"), SMALL_CACHE), SMALL_CACHE)

    def explore(
        self,
        model: Model,
        watches: tuple[Expression, ...],
        limits: Limits,
        observer: Observer,
        extras: Extras = NO_EXTRAS,
    ) -> Exploration:
        """Search every reachable state of *model*, or as far as *limits* allow.

        Raises `Unfit` for a model with a variable of very many values, or whose settling takes very many rounds. Memory: some
        30 bytes a node of the diagrams on the way, which has little to do with the number of states.
        """
        with Allowance(limits) as allowance:
            try:
                return Search(model, Budget(allowance, limits, observer), extras).run(watches)
            except OutOfNodes:
                return nothing_found(model, Stop.MEMORY)
            except Halt as halt:
                return nothing_found(model, halt.why)


def nothing_found(model: Model, why: Stop) -> Exploration:
    """Return the answer of a search that could not even begin, or had no room to tell what it found."""
    return Exploration(
        states=0,
        transitions=0,
        stopped=why,
        complete_steps=-1,
        found={},
        failures=(),
        unjudged={},
        never=frozenset(),
        entered=tuple(frozenset[int]() for _ in model.variables),
        acted=frozenset(),
        passing=frozenset(),
        dead_ends=None,
        time_stuck=None,
        engine=SymbolicEngine.name,
    )


class Search:
    """One search of one model. Raises `Unfit` for a variable of very many values."""

    def __init__(self, model: Model, budget: Budget, extras: Extras) -> None:
        for v in model.variables:
            if v.highest - v.lowest >= WIDEST:
                raise Unfit(f"{v.name} has {v.highest - v.lowest + 1:,} values, which is too many to tell apart in a diagram")
        self._model = model
        self._extras = extras
        self._budget = budget
        facts = Facts(model)
        order = ordered(facts)
        cache = cache_for(len(order), is_long=budget.is_long)
        self._space = Space(model, order, nodes_for(budget.room_mb(), cache), cache)
        budget.space = self._space
        moves = Moves(self._space, facts)
        moves.settling.care = moves.at_rest()
        steps = []
        for number in range(len(model.steps)):
            steps.append(moves.step(number))
            budget.check(Reached(states=self._space.false))
        tick = moves.tick()
        budget.check(Reached(states=self._space.false))
        moves.settling.care = self._space.true
        start = moves.start()
        waiting = Waiting(self._space, model, moves, tick)
        groups = grouped(facts, [self._space.owners(bit for bit, _ in move.becoming) for move in steps])
        reaching = Reaching(self._space, steps, waiting, start.image(start.possible), self._check, groups)
        self.parts = Parts(
            model=model,
            space=self._space,
            facts=facts,
            moves=moves,
            steps=steps,
            every=[*steps, *([tick] if tick is not None else [])],
            start=start,
            reaching=reaching,
        )
        cones = Cones(facts, self._space, self.parts.every)
        self.runs = Runs(self._space, steps, waiting, reaching, start, Clockwork(facts, moves), cones)

    def run(self, watches: tuple[Expression, ...]) -> Exploration:
        """Search, then answer. What is stopped answers for the layers that are complete."""
        reaching = self.parts.reaching
        keeper = self._extras.keeper
        try:
            if keeper is not None and (snapshot := keeper.kept(SymbolicEngine.name)) is not None:
                recalled(self._space, reaching, snapshot)
            if self._extras.first:
                self._to_the_first()
            return self._answer(reaching.all(), watches)
        except (Halt, OutOfNodes) as ended:
            self._budget.lift()
            if isinstance(ended, OutOfNodes):
                self._budget.stopped = Stop.MEMORY
                reaching.give_up_all_but_layers()
            if keeper is not None:
                keeper.save(remember(self._space, reaching, SymbolicEngine.name))
            return self._answer(reaching.covered, watches)

    def _to_the_first(self) -> None:
        """Make layer after layer. Raises `Halt` when one has a violation."""
        number = 0
        while (layer := self.parts.reaching.layer(number)).satisfiable():
            if Answering(self.parts, layer, self.runs).violates():
                self._budget.stopped = Stop.FIRST
                raise Halt(Stop.FIRST)
            number += 1

    def _check(self, reached: Reached) -> None:
        """Look at the limits, report progress, and keep a snapshot if it is time to."""
        self._budget.check(reached)
        keeper = self._extras.keeper
        if keeper is not None and keeper.due():
            keeper.save(remember(self._space, self.parts.reaching, SymbolicEngine.name))

    def _answer(self, states: Node, watches: tuple[Expression, ...]) -> Exploration:
        answering = Answering(self.parts, states, self.runs)
        runs, stopped = self.runs, self._budget.stopped
        ways = [(number, self._told(runs.shortest(aims))) for number, aims in answering.found(complete=stopped is None)]
        lacking = [(number, runs.shortest([aim])) for number, aim in answering.unjudged()]
        reached = states if stopped is None else states | self.parts.reaching.reached.states
        count = self._space.count(reached)
        return Exploration(
            states=count,
            transitions=answering.transitions(reached),
            stopped=stopped,
            complete_steps=None if stopped is None else len(self.parts.reaching.reached.layers) - 1,
            found={number: way.trace for number, way in ways if way is not None},
            failures=answering.failures(),
            unjudged={number: way.trace for number, way in lacking if way is not None},
            never=answering.never(watches) if stopped is None else frozenset(),
            entered=answering.entered(reached),
            acted=answering.acted(reached),
            passing=answering.passing(reached),
            dead_ends=answering.dead_ends(),
            time_stuck=answering.time_stuck(),
            engine=SymbolicEngine.name,
            bytes_per_state=reached.node_count() * BYTES_A_NODE / count if count else None,
            evidence=self._evidence(states, answering) if self._extras.evidence and stopped is None else None,
        )

    def _told(self, way: Shown | None) -> Shown | None:
        """Tell of a way whoever can make use of it while the rest is worked out."""
        if way is not None and self._extras.ahead is not None:
            self._extras.ahead(way.trace)
        return way

    def _evidence(self, states: Node, answering: Answering) -> Drawn:
        """Return the reachable states as a diagram, and how each `recoverable` comes to its goal."""
        ranks = {}
        for number, p in enumerate(self._model.properties):
            if isinstance(p.rule, Recoverable):
                ranked = answering.ranked(p.rule.goal.test)
                if ranked is not None:
                    ranks[number] = tuple(drawn(self._space, rank) for rank in ranked)
        return Drawn(states=drawn(self._space, states), ranks=ranks)
