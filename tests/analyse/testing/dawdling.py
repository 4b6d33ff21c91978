"""Follows a test as an unlucky tester does, by the plain definition: the machine moves as chance has it, rows are done late."""

import random
from collections.abc import Callable, Sequence

from seqcheck.analyse.testing.records import Row, SheetTest, Timing
from seqcheck.analyse.testing.windows import waits
from seqcheck.model import semantics
from seqcheck.model.model import Model, State
from seqcheck.model.run import StepKind, Values
from tests.analyse.testing.making import number_of, refusing, start_of

SURE = (Timing.ANY, Timing.WITHIN, Timing.PROMPT)
LONGEST = 6
"""Ticks that somebody dawdles who may take any time."""


class Broken(Exception):  # noqa: N818 - it is what a test looks for
    """A row did not come out as the sheet says."""


def machine_moves(model: Model, state: State, chance: random.Random) -> State:
    """Let the machine do by itself what it may at this moment, or some of it."""
    for _ in range(chance.randrange(4)):
        steps = [s for s in model.steps if s.kind is StepKind.PLANT and semantics.possible(model, s, state)]
        if steps:
            state = semantics.take(model, chance.choice(steps), state)
    return state


def later(model: Model, state: State, chance: random.Random) -> State | None:
    """Let a tick pass, the machine moving before it as it must; None if no time can pass."""
    ticked = semantics.tick(model, state)
    for _ in range(8):
        if ticked is not None:
            break
        steps = [s for s in model.steps if s.kind is StepKind.PLANT and semantics.possible(model, s, state)]
        if not steps:
            return None
        state = semantics.take(model, chance.choice(steps), state)
        ticked = semantics.tick(model, state)
    return None if ticked is None else machine_moves(model, ticked, chance)


def unwatched(_row: Row, _state: State) -> None:
    """Take no note."""


def follow(model: Model, test: SheetTest, chance: random.Random, watch: Callable[[Row, State], None] = unwatched) -> int:
    """Follow a test up to the first row that is said to depend on timing; return how many rows were done. Raises `Broken`.

    *watch* is told the states in which a row is done, and in which it is done with.
    """
    state, since = start_of(model, test), 0
    for done, row in enumerate(test.rows):
        if row.timing not in SURE:
            return done
        if row.tried is None and waits(row):
            state, since = waited(model, state, row, since, chance), 0
            watch(row, state)
            continue
        state, since = dawdled(model, state, test.rows, done, since, chance)
        state = machine_moves(model, state, chance)
        watch(row, state)
        if row.tried is None:
            state, since = acted(model, state, row), 0
            watch(row, state)
        elif refusing(model, state, row.tried) != [row.refused_by]:
            raise Broken(row.id)
    return len(test.rows)


def dawdled(model: Model, state: State, rows: Sequence[Row], at: int, since: int, chance: random.Random) -> tuple[State, int]:
    """Do nothing for as long as a row allows, or less; *since* is how long ago something was done. A tester keeps watching."""
    row = rows[at]
    most = LONGEST if row.within_ticks is None else row.within_ticks - since
    if row.tried is None and row.timing is Timing.PROMPT:
        most = 0
    awaited = next((later for later in rows[at:] if later.tried is None), None)
    seen = awaited.steps[-1].changes if awaited is not None and waits(awaited) else ()
    for _ in range(chance.randint(0, max(0, most))):
        if seen and stands(model, state, seen):
            break
        after = later(model, state, chance)
        if after is None:
            break
        state, since = after, since + 1
    return state, since


def acted(model: Model, state: State, row: Row) -> State:
    """Take the tester's step of a row."""
    (step,) = row.steps
    number = number_of(model, step.by)
    if not semantics.possible(model, model.steps[number], state):
        raise Broken(row.id)
    state = semantics.take(model, model.steps[number], state)
    if not stands(model, state, row.effects):
        raise Broken(row.id)
    return state


def stands(model: Model, state: State, wanted: Values) -> bool:
    """Tell whether variables and timers stand as wanted; sensors follow from them."""
    standing = {v.name: v.shown(x) for v, x in zip(model.variables, state, strict=True)}
    standing |= {f"{t.name}.Q": bool(semantics.evaluate(model, t.q, state)) for t in model.timers}
    return all(standing[name] == value for name, value in wanted if name in standing)


def waited(model: Model, state: State, row: Row, ticks: int, chance: random.Random) -> State:
    """Wait until what the row waits for is seen, not longer than it says; *ticks* have passed since something was done."""
    wanted = row.steps[-1].changes
    if not wanted:
        for _ in range(row.least_ticks - ticks):
            state = later(model, state, chance) or state
        return state
    while not stands(model, state, wanted):
        if row.most_ticks is not None and ticks > row.most_ticks:
            raise Broken(row.id)
        state = one_move(model, state, wanted, chance)
        if stands(model, state, wanted):
            break
        after = semantics.tick(model, state)
        state, ticks = (state, ticks) if after is None else (after, ticks + 1)
        if ticks > 1_000:
            raise Broken(row.id)
    if row.most_ticks is not None and not row.least_ticks <= ticks <= row.most_ticks:
        raise Broken(row.id)
    return state


def one_move(model: Model, state: State, wanted: Values, chance: random.Random) -> State:
    """Let the machine make a few moves at this moment, and stop as soon as what is waited for is seen."""
    for _ in range(chance.randrange(4)):
        steps = [s for s in model.steps if s.kind is StepKind.PLANT and semantics.possible(model, s, state)]
        if not steps or stands(model, state, wanted):
            break
        state = semantics.take(model, chance.choice(steps), state)
    return state
