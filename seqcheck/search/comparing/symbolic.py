"""Compares two machines by sets: both are searched in one space of decision diagrams, so that a set of one can be taken from a
set of the other. What both have in common is found once.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import TypeAlias

from msgspec import Struct, field
from msgspec.structs import replace

from seqcheck.model.expression import TRUE, Apply, Load, Op
from seqcheck.model.model import Assign, Model, Step
from seqcheck.model.run import StepKind
from seqcheck.search.comparing.machine import Machine
from seqcheck.search.comparing.pair import Compared, Difference, Label, Level, Moved, Pair, Searched, Side, Way
from seqcheck.search.engine import Limits, Observer, Stop, Trace, Unfit
from seqcheck.search.limits import Allowance
from seqcheck.search.symbolic.budget import Budget, cache_for, nodes_for
from seqcheck.search.symbolic.diagrams import Node, OutOfNodes, Space
from seqcheck.search.symbolic.moves import Move
from seqcheck.search.symbolic.ordering import ordered
from seqcheck.search.symbolic.reaching import Halt
from seqcheck.search.symbolic.runs import Aim
from seqcheck.search.symbolic.symbolic import WIDEST
from seqcheck.search.symbolic.valuing import Facts

Functions: TypeAlias = dict[int, Node]


def compare_sets(pair: Pair, limits: Limits, observer: Observer) -> Compared:
    """Compare two machines, or as far as *limits* allow. Raises `Unfit` if a variable has too many values to be told apart."""
    for v in pair.old.variables:
        if v.highest - v.lowest >= WIDEST:
            raise Unfit(f"{v.name} has {v.highest - v.lowest + 1:,} values, which is too many to tell apart in a diagram")
    with Allowance(limits) as allowance:
        try:
            return Comparing(pair, Budget(allowance, limits, observer)).compared()
        except OutOfNodes:
            return nothing_found(Stop.MEMORY)
        except Halt as halt:
            return nothing_found(halt.why)


def nothing_found(why: Stop) -> Compared:
    """Return the answer of a comparison that found nothing out."""
    nothing = Searched(states=0, situations=0, asked=frozenset(), found={}, unjudged={}, failures=())
    return Compared(
        old=nothing,
        new=nothing,
        common=0,
        stopped=why,
        gone=None,
        come=None,
        starts_gone=None,
        starts_come=None,
        accepted={},
        moved={},
        judged={},
        unclear=0,
    )


def together(pair: Pair) -> Model:
    """Return a machine that has to do with all that either of two has to do with, to choose an order of bits by."""
    codes = [
        Step(
            kind=StepKind.PLANT,
            name="",
            to=None,
            ready=TRUE,
            guards=(),
            program=(Assign(targets=(one.place,), values=(Apply(Op.PLUS, (Load(one.old), Load(one.new))),), bounded=True),),
            line=1,
        )
        for one in pair.coded
    ]
    old, new = pair.old, pair.new
    return replace(old, steps=(*old.steps, *new.steps, *codes), reactions=(*old.reactions, *new.reactions),
                   timers=(*old.timers, *new.timers), clocks=(*old.clocks, *new.clocks))  # fmt: skip


class Comparing:
    """One comparison."""

    def __init__(self, pair: Pair, budget: Budget) -> None:
        self._pair = pair
        self._budget = budget
        order = ordered(Facts(together(pair)))
        cache = cache_for(len(order))
        self._space = Space(pair.old, order, nodes_for(budget.room_mb(), cache), cache)
        budget.space = self._space
        self._old = Machine(pair, Side.OLD, self._space, budget)
        self._new = Machine(pair, Side.NEW, self._space, budget)
        self._shared = frozenset(pair.shared)
        told = [*pair.shared, *(coded.place for coded in pair.coded)]
        self._width = sum(len(self._space.now[variable]) for variable in told)
        self._is_simple = not (pair.coded or pair.old_only or pair.new_only)
        self._stopped: Stop | None = None
        self._out_of_time = False
        self._unclear = 0
        self._open = self._space.false
        self._common = self._space.false

    def _machine(self, side: Side) -> Machine:
        return self._old if side is Side.OLD else self._new

    def compared(self) -> Compared:
        """Search both, then tell them apart."""
        self._search()
        old, new = self._old, self._new
        complete = self._stopped is None
        may_have_further_states = not complete and bool(self._pair.old_only or self._pair.new_only)
        self._common = self._space.false if may_have_further_states else old.situations & new.situations
        answers = self._searched()
        accepted = {place: level for place in sorted(self._pair.commands) if (level := self._accepted(place)) is not None}
        moved = {p: moved for p, label in enumerate(self._pair.labels) if (moved := self._moved(p, label)) is not None}
        judged = {place: level for place in range(len(self._pair.conditions)) if (level := self._judged(place)) is not None}
        return Compared(
            old=answers[0],
            new=answers[1],
            common=self._count(self._common),
            stopped=self._stopped,
            gone=self._only(Side.OLD, old.situations & ~new.situations) if complete else None,
            come=self._only(Side.NEW, new.situations & ~old.situations) if complete else None,
            starts_gone=self._only(Side.OLD, old.starts() & ~new.starts()),
            starts_come=self._only(Side.NEW, new.starts() & ~old.starts()),
            accepted=accepted,
            moved=moved,
            judged=judged,
            unclear=self._unclear,
        )

    def _search(self) -> None:
        """Find the states of both. If one is stopped, the starts and the layers that are complete are taken of both."""
        for machine in (self._old, self._new):
            try:
                if self._stopped is None:
                    machine.search()
            except (Halt, OutOfNodes) as ended:
                self._stop(ended)
        if self._stopped is not None:
            for machine in (self._old, self._new):
                machine.settle_for(machine.reaching.covered | machine.reaching.starts)

    def _stop(self, ended: Halt | OutOfNodes) -> None:
        """Look at the limits no more: what is known is to be told."""
        self._budget.lift()
        self._stopped = ended.why if isinstance(ended, Halt) else Stop.MEMORY

    def _shortest(self, side: Side, aims: Sequence[Aim]) -> Trace | None:
        """Return a shortest way to some aims; None if the limits do not leave the time to find it."""
        if self._out_of_time:
            return None
        try:
            shown = self._machine(side).runs.shortest(aims)
        except (Halt, OutOfNodes):
            self._budget.lift()
            self._out_of_time = True
            return None
        if shown is None:
            raise ValueError(side)
        return shown.trace

    def _count(self, states: Node, primed: int = 0) -> int:
        """Return the number of situations, or of pairs of one and of some bits of another."""
        bits = 2 * len(self._space.order)
        return int(states.sat_count(bits)) >> bits - self._width - primed

    def _only(self, side: Side, situations: Node) -> Difference | None:
        return self._difference(side, situations, situations)

    def _difference(
        self, side: Side, situations: Node, among: Node, last: int | None = None, *, attempts: bool = False
    ) -> Difference | None:
        """Return how many situations there are, and a way to a state of one that is *among* some."""
        if not situations.satisfiable():
            return None
        machine = self._machine(side)
        aim = Aim(states=machine.lifted(machine.known & situations & among), attempts=attempts, last=last)
        return Difference(count=self._count(situations), way=self._way(side, aim))

    def _way(self, side: Side, aim: Aim) -> Way | None:
        trace = self._shortest(side, [aim])
        return None if trace is None else Way(side=side, trace=trace)

    # --- truths of a situation: commands and conditions -------------------------------------------------------------
    def _levels(self, old: Node, new: Node) -> tuple[Node, Node]:
        """Return the common situations in which a truth of the new machine is more, and those in which it is less."""
        some_old, some_new = (self._some(m, t) for m, t in ((self._old, old), (self._new, new)))
        lacks_old, lacks_new = (self._some(m, ~t) for m, t in ((self._old, old), (self._new, new)))
        more = (some_new & ~some_old) | (lacks_old & ~lacks_new)
        less = (some_old & ~some_new) | (lacks_new & ~lacks_old)
        self._open = self._common & some_old & some_new & lacks_old & lacks_new
        return self._common & more, self._common & less

    def _some(self, machine: Machine, truth: Node) -> Node:
        return machine.forgotten(machine.known & truth)

    def _accepted(self, place: int) -> Level | None:
        label = self._pair.labels[place]
        old, new = self._old.accepted(label.old), self._new.accepted(label.new)
        more, less = self._levels(old, new)
        self._unclear += self._count(self._open)
        if not (more | less).satisfiable():
            return None
        if label.new is None:
            lost = self._difference(Side.OLD, less, old, label.old, attempts=True)
        else:
            lost = self._difference(Side.NEW, less, ~new)
        return Level(more=self._difference(Side.NEW, more, new, label.new, attempts=True), less=lost)

    def _judged(self, place: int) -> Level | None:
        first, second = self._pair.conditions[place]
        old, new = self._old.truth(first), self._new.truth(second)
        more, less = self._levels(old, new)
        if not (more | less).satisfiable():
            return None
        return Level(more=self._difference(Side.NEW, more, new), less=self._difference(Side.NEW, less, ~new))

    # --- transitions ------------------------------------------------------------------------------------------------
    def _moved(self, place: int, label: Label) -> Moved | None:
        olds, news = (machine.move(number, waits=label.is_wait) for machine, number in
                      ((self._old, label.old), (self._new, label.new)))  # fmt: skip
        if olds is not None and news is not None and are_equal(olds, news):
            return None
        where = self._common
        if place in self._pair.commands:
            more, less = self._levels(self._old.accepted(label.old), self._new.accepted(label.new))
            where &= ~more & ~less
        if not where.satisfiable():
            return None
        ways = Transitions(self._machine(Side.OLD), olds, self._machine(Side.NEW), news, self._shared)
        moved = self._moved_simply(ways, where, label) if self._is_simple else self._moved_within(ways, where, label)
        return None if moved.gone is None and moved.come is None else moved

    def _moved_simply(self, ways: "Transitions", where: Node, label: Label) -> Moved:
        """Compare functions of the situation: each machine has one transition of a name from each, or none."""
        alike = ways.alike()
        failing = [machine.failing(move) for machine, move in ways.sides]
        changing = [self._space.false if move is None else move.changing for _, move in ways.sides]
        possible = [self._space.false if move is None else move.possible for _, move in ways.sides]
        gone = where & ((changing[0] & ~(possible[1] & alike)) | (failing[0] & ~failing[1]))
        come = where & ((changing[1] & ~(possible[0] & alike)) | (failing[1] & ~failing[0]))
        shown = self._difference(Side.NEW, come, come, label.new, attempts=True)
        if shown is not None and gone.satisfiable():
            return Moved(gone=Difference(count=self._count(gone), way=None), come=shown)
        return Moved(gone=self._difference(Side.OLD, gone, gone, label.old, attempts=True), come=shown)

    def _moved_within(self, ways: "Transitions", where: Node, label: Label) -> Moved:
        """Compare relations between situations: what is hidden can make a transition possible sometimes."""
        relations = [ways.relation(side) for side in (0, 1)]
        some = [m.forgotten(m.known & r) & where & ways.differs for (m, _), r in zip(ways.sides, relations, strict=True)]
        lacks = [m.forgotten(m.known & ~r) & where for (m, _), r in zip(ways.sides, relations, strict=True)]
        fails = [m.failing(move) for m, move in ways.sides]
        more_fail, less_fail = (states & where for states in self._levels(*fails))
        self._unclear += self._count(self._open & where)
        self._unclear += self._count(some[0] & some[1] & lacks[0] & lacks[1], ways.primed)
        gone = (some[0] & ~some[1]) | (some[0] & lacks[1] & ~lacks[0])
        come = (some[1] & ~some[0]) | (some[1] & lacks[0] & ~lacks[1])
        counts = [self._count(pairs, ways.primed) + self._count(f) for pairs, f in ((gone, less_fail), (come, more_fail))]
        froms = [
            (relation & pairs).exists(ways.after) | (fail & also)
            for relation, pairs, fail, also in zip(relations, (gone, come), fails, (less_fail, more_fail), strict=True)
        ]
        shown = self._transition(Side.NEW, counts[1], froms[1], label.new)
        if shown is not None and counts[0]:
            return Moved(gone=Difference(count=counts[0], way=None), come=shown)
        return Moved(gone=self._transition(Side.OLD, counts[0], froms[0], label.old), come=shown)

    def _transition(self, side: Side, count: int, states: Node, number: int | None) -> Difference | None:
        """Return how many transitions there are, and a way that ends with one from some states."""
        if not count:
            return None
        machine = self._machine(side)
        aim = Aim(states=machine.lifted(machine.known & states), attempts=True, last=number)
        return Difference(count=count, way=self._way(side, aim))

    # --- properties -------------------------------------------------------------------------------------------------
    def _searched(self) -> tuple[Searched, Searched]:
        """Return what is to be told of each machine; runs are looked for only where the two come out differently."""
        sides = (Side.OLD, Side.NEW)
        outcomes = [self._outcomes(side) for side in sides] if self._stopped is None else [Outcomes(), Outcomes()]
        differing = [pair for pair in self._pair.properties if self._stopped is None and self._differ(pair, outcomes)]
        old, new = (
            self._told(side, outcomes[n], [number for pair in differing if (number := pair[n]) is not None])
            for n, side in enumerate(sides)
        )
        return old, new

    def _outcomes(self, side: Side) -> "Outcomes":
        answering = self._machine(side).answering()
        return Outcomes(
            found=dict(answering.found(complete=True)),
            lacking={number: [aim] for number, aim in answering.unjudged()},
        )

    def _told(self, side: Side, outcomes: "Outcomes", asked: Sequence[int]) -> Searched:
        machine = self._machine(side)
        found = {number: self._shortest(side, outcomes.found[number]) for number in asked if number in outcomes.found}
        lacking = {number: self._shortest(side, aims) for number, aims in outcomes.lacking.items()}
        lost = {number for ways in (found, lacking) for number, trace in ways.items() if trace is None}
        return Searched(
            states=self._space.count(machine.states),
            situations=self._count(machine.situations),
            asked=frozenset(asked) - lost,
            found={number: trace for number, trace in found.items() if trace is not None},
            unjudged={number: trace for number, trace in lacking.items() if trace is not None},
            failures=machine.answering().failures() if self._stopped is None else (),
        )

    def _differ(self, pair: tuple[int | None, int | None], outcomes: Sequence["Outcomes"]) -> bool:
        """Tell whether two properties of one id may come out differently."""
        a, b = pair
        if a is None or b is None:
            return True
        old, new = outcomes
        rules = self._pair.old.properties[a].rule, self._pair.new.properties[b].rule
        unlike = (a in old.found) != (b in new.found) or (a in old.lacking) != (b in new.lacking)
        return unlike or type(rules[0]) is not type(rules[1])


class Outcomes(Struct, frozen=True):
    """What settles each property of one machine, and where its condition lacks a value."""

    found: Mapping[int, Sequence[Aim]] = field(default_factory=dict)
    lacking: Mapping[int, Sequence[Aim]] = field(default_factory=dict)


def are_equal(one: Move, two: Move) -> bool:
    """Tell whether two moves are the same functions. Then they depend on nothing that only one machine has."""
    return (
        one.possible == two.possible
        and dict(one.becoming) == dict(two.becoming)
        and [states for _, states in one.failing] == [states for _, states in two.failing]
    )


class Transitions:
    """The transitions of one name in both machines, over the bits of a situation that either writes."""

    def __init__(self, old: Machine, first: Move | None, new: Machine, second: Move | None, shared: frozenset[int]) -> None:
        self.sides = ((old, first), (new, second))
        self._space = old.space
        self._becoming: Sequence[Functions] = [machine.becoming(move, shared) for machine, move in self.sides]
        self._touched = sorted(set(self._becoming[0]) | set(self._becoming[1]), reverse=True)
        self.primed = len(self._touched)
        self.after = self._space.cube(bit + 1 for bit in self._touched)

    def _functions(self, side: int) -> Iterable[tuple[int, Node]]:
        return ((bit, self._becoming[side].get(bit, self._space.literal(bit))) for bit in self._touched)

    def alike(self) -> Node:
        """Return the states from which both lead to the same situation, if both are possible."""
        pairs = zip(self._functions(0), self._functions(1), strict=True)
        return self._space.all(one.equiv(two) for (_, one), (_, two) in pairs if one != two)

    @property
    def differs(self) -> Node:
        """The pairs of a situation and another."""
        return self._space.any(self._space.literal(bit) ^ self._space.literal(bit + 1) for bit in self._touched)

    def relation(self, side: int) -> Node:
        """Return the pairs of a state and the situation that it leads to."""
        move = self.sides[side][1]
        if move is None:
            return self._space.false
        found = move.possible
        for bit, function in self._functions(side):
            found &= self._space.literal(bit + 1).equiv(function)
        return found
