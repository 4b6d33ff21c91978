"""Finds the shortest runs to all situations in which something can be shown: one search, many goals."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import islice, pairwise

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.procedures.moving import FAILED, NOT_YET, Moves
from seqcheck.analyse.record import SHOWN, Disagreement
from seqcheck.analyse.testing.goals import COMMAND, PERMISSIVE, Goal, goals
from seqcheck.analyse.testing.records import Item
from seqcheck.model import semantics
from seqcheck.model.expression import FALSE, Apply, Const, Expression, Load, Op, conjunction, negation
from seqcheck.model.model import Guard, Model, Property, Reachable, Recoverable, Rule, State
from seqcheck.model.run import StepKind
from seqcheck.search.engine import Engine, Evidence, Extras, Limits, Observer, Stop, Trace
from seqcheck.search.engines import engine

FEW_STATES = 60_000
"""With no more states than that, `plain` searches; else `symbolic` does."""

TICK = -1
"""A move on which time passes."""

MOST_STARTS = 32
"""With more starts than that the way back to one of them is not looked for."""


class Trail(Struct, frozen=True, kw_only=True):
    """A run through settled states, by their numbers: *moves* lead from one to the next, a step's number or TICK."""

    raw_start: State
    states: tuple[int, ...]
    moves: tuple[int, ...]


class Found(Struct, frozen=True, kw_only=True):
    """What the search found: trails, each once; what never holds, and which reactions act.

    *never_fails* are the permissives that hold in every state, *never_without* pairs of permissives of which the first never
    fails without the second. *starts* are the starts, before and after settling. *back* is the number of the property about the
    way back in *evidence*.
    """

    trails: tuple[Trail, ...]
    never_fails: frozenset[Item]
    never_without: Mapping[Item, tuple[int, ...]]
    acted: frozenset[int]
    starts: tuple[tuple[State, int], ...]
    engine: str
    states: int
    stopped: Stop | None
    evidence: Evidence | None
    back: int


def searched(model: Model, moves: Moves, limits: Limits, observer: Observer) -> Found:
    """Search a machine without faults for all situations in which something can be shown.

    Which engine searches hangs on the machine alone, not on which is faster today: sheets that were filled in are compared with
    sheets made anew, and engines may come to different runs that are equally short.
    """
    few = FEW_STATES if limits.states is None else min(FEW_STATES, limits.states)
    got = found(model, moves, engine("plain"), replace(limits, states=few), observer)
    if got.stopped is not Stop.STATES or limits.states == few:
        return got
    from seqcheck.search.planner.planner import Alone

    return found(model, moves, Alone("symbolic"), limits, observer)


def found(model: Model, moves: Moves, searching: Engine, limits: Limits, observer: Observer) -> Found:
    """Search with one engine."""
    wanted = goals(model)
    watched = tuple(_watched(model))
    asked = replace(model, properties=tuple(_properties(model, wanted)), procedures=())
    tests = tuple(test for _, _, test in watched)
    got = searching.explore(asked, tests, limits, observer, Extras(evidence=True))
    never = [watched[number][:2] for number in sorted(got.never)]
    without: dict[Item, tuple[int, ...]] = {}
    for item, other in never:
        if other is not None:
            without[item] = (*without.get(item, ()), other)
    return Found(
        trails=_trails(moves, wanted, got.found),
        never_fails=frozenset(item for item, other in never if other is None),
        never_without=without,
        acted=got.acted,
        starts=tuple(_starts(model, moves)) if got.stopped is None and got.states <= FEW_STATES else (),
        engine=got.engine,
        states=got.states,
        stopped=got.stopped,
        evidence=got.evidence,
        back=len(wanted),
    )


def _properties(model: Model, wanted: Sequence[Goal]) -> list[Property]:
    rules: list[Rule] = [Reachable(goal=Guard(name="", test=goal.test, text="")) for goal in wanted]
    rules.append(Recoverable(goal=Guard(name="", test=as_at_start(model), text="")))
    return [Property(id=str(n), text="", rule=rule, risk="", source="", line=1) for n, rule in enumerate(rules)]


def as_at_start(model: Model) -> Expression:
    """Return when parts, panel, outputs and memory are as in a settled start; never, if there are very many starts."""
    raw = list(islice(semantics.raw_starts(model), MOST_STARTS + 1))
    starts = [] if len(raw) > MOST_STARTS else [state for one in raw if (state := settled(model, one)) is not None]
    tests = [stands_as(model, start) for start in dict.fromkeys(starts)]
    if not tests:
        return FALSE
    return tests[0] if len(tests) == 1 else Apply(Op.OR, tuple(tests))


def _starts(model: Model, moves: Moves) -> Iterator[tuple[State, int]]:
    for raw in semantics.raw_starts(model):
        state = settled(model, raw)
        if state is not None:
            yield raw, moves.number(state)


def settled(model: Model, raw: State) -> State | None:
    """Return the settled state of a start; None if it never settles."""
    try:
        return semantics.settle(model, raw)
    except semantics.Failed:
        return None


def stands_as(model: Model, state: State) -> Expression:
    """Return when parts, panel, outputs and memory are as in a state."""
    pairs = zip(model.variables, state, strict=True)
    return conjunction(
        *(Apply(Op.EQUAL, (Load(n), Const(value))) for n, (variable, value) in enumerate(pairs) if variable.kind in SHOWN)
    )


def _watched(model: Model) -> list[tuple[Item, int | None, Expression]]:
    """Return what may never be: that a permissive fails, and that it fails while another one holds."""
    watched: list[tuple[Item, int | None, Expression]] = []
    for number, step in enumerate(model.steps):
        for place, guard in enumerate(step.guards if step.kind is StepKind.COMMAND else ()):
            item, fails = Item(PERMISSIVE, number, place), negation(guard.test)
            watched.append((item, None, fails))
            watched += [(item, n, conjunction(fails, other.test)) for n, other in enumerate(step.guards) if n != place]
    return watched


def _trails(moves: Moves, wanted: Sequence[Goal], traces: Mapping[int, Trace]) -> tuple[Trail, ...]:
    """Return the trails to all goals found; where a step is to be tried there, one trail for each that does something."""
    trails: dict[tuple[tuple[int, ...], tuple[int, ...]], Trail] = {}
    for number, goal in enumerate(wanted):
        if number in traces:
            trace = traces[number]
            states = tuple(moves.number(state) for state in trace.states)
            before = Trail(raw_start=trace.raw_start, states=states, moves=moves_along(moves, states))
            for trail in _endings(moves, goal, before):
                trails.setdefault((trail.states, trail.moves), trail)
    return tuple(trails.values())


def _endings(moves: Moves, goal: Goal, before: Trail) -> list[Trail]:
    """Return a trail with what follows the situation that a goal describes: nothing, the command, or what sets off a trip."""
    item, last = goal.item, before.states[-1]
    if item.sort == PERMISSIVE:
        return [before]
    if item.sort == COMMAND:
        after = moves.step(item.number, last)
        return [with_move(before, item.number, after)] if after >= 0 and after != last else []
    was = moves.states[last][item.place]
    changing = [(move, after) for move, after in moves_from(moves, last) if moves.states[after][item.place] != was]
    return [with_move(before, move, after) for move, after in changing]


def with_move(before: Trail, move: int, after: int) -> Trail:
    """Return a trail that goes on with one more move."""
    return Trail(raw_start=before.raw_start, states=(*before.states, after), moves=(*before.moves, move))


def moves_from(moves: Moves, state: int) -> list[tuple[int, int]]:
    """Return what can happen in a state and changes it, the tick first, and the state after it."""
    ticked = moves.tick(state)
    first = [] if ticked in {FAILED, NOT_YET, state} else [(TICK, ticked)]
    return [*first, *moves.everything(state)]


def moves_along(moves: Moves, states: Sequence[int]) -> tuple[int, ...]:
    """Return what leads from each state to the next: a tick where one does, else the first step that does."""
    return tuple(_move(moves, one, other) for one, other in pairwise(states))


def _move(moves: Moves, state: int, following: int) -> int:
    if moves.tick(state) == following:
        return TICK
    for number, after in moves.everything(state):
        if after == following:
            return number
    raise Disagreement(f"no step leads from {moves.states[state]} to {moves.states[following]}")
