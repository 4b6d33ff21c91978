"""The plain definition of what a machine does: how a state settles and which steps lead where. Obviously right, slow.

Engines are tested against this page; nothing else may define it again.
"""

from collections.abc import Callable, Collection, Iterator
from itertools import product
from typing import TypeAlias

from seqcheck.model.expression import Apply, Const, Expression, Load, Op
from seqcheck.model.model import MOST_ROUNDS, Clock, Model, Program, State, Step, Timer, TimerKind
from seqcheck.model.run import Beyond, Endless, Failure

OPERATIONS: dict[Op, Callable[..., int]] = {
    Op.NOT: lambda a: int(not a),
    Op.NEG: lambda a: -a,
    Op.TIMES: lambda a, b: a * b,
    Op.PLUS: lambda a, b: a + b,
    Op.MINUS: lambda a, b: a - b,
    Op.LESS: lambda a, b: int(a < b),
    Op.GREATER: lambda a, b: int(a > b),
    Op.AT_MOST: lambda a, b: int(a <= b),
    Op.AT_LEAST: lambda a, b: int(a >= b),
    Op.EQUAL: lambda a, b: int(a == b),
    Op.UNEQUAL: lambda a, b: int(a != b),
    Op.AND: lambda *a: int(all(a)),
    Op.OR: lambda *a: int(any(a)),
    Op.XOR: lambda a, b: int(a != b),
    Op.SEL: lambda g, a, b: b if g else a,
    Op.MIN: min,
    Op.MAX: max,
    Op.LIMIT: lambda low, a, high: min(max(a, low), high),
    Op.ABS: abs,
}


class Impossible(Exception):  # noqa: N818 - it is no error of the program
    """A division by zero, a negative exponent, or a MUX index that selects nothing."""


class Failed(Exception):  # noqa: N818
    """A step that never settles, leaves a range or divides by zero."""

    def __init__(self, failure: Failure) -> None:
        super().__init__(failure)
        self.failure = failure


def divide(a: int, b: int) -> int:
    """Divide, dropping the remainder towards zero (IEC 61131-3)."""
    if b == 0:
        raise Impossible("divides by zero")
    return abs(a) // abs(b) * (1 if (a < 0) == (b < 0) else -1)


def modulo(a: int, b: int) -> int:
    """Return the remainder with the sign of *a*."""
    if b == 0:
        raise Impossible("takes MOD of zero")
    return a - divide(a, b) * b


def power(a: int, b: int) -> int:
    """Raise to a whole power."""
    if b < 0:
        raise Impossible("raises to a negative power")
    return int(a**b)


def select(index: int, *choices: int) -> int:
    """Return the choice at *index*, counting from 0."""
    if not 0 <= index < len(choices):
        raise Impossible(f"selects input {index} of a MUX that has inputs 0 to {len(choices) - 1}")
    return choices[index]


OPERATIONS |= {Op.DIVIDE: divide, Op.MOD: modulo, Op.POWER: power, Op.MUX: select}


def evaluate(model: Model, expression: Expression, state: State | list[int]) -> int:
    """Return the value of an expression. Raises `Impossible`."""
    if isinstance(expression, Const):
        return expression.value
    if isinstance(expression, Load):
        return state[expression.variable]
    if isinstance(expression, Apply):
        return OPERATIONS[expression.op](*[evaluate(model, operand, state) for operand in expression.operands])
    sensor = model.sensors[expression.sensor]
    for flag, reading in sensor.stuck:
        if state[flag]:
            return reading
    return evaluate(model, sensor.value, state)


def judge(model: Model, rule: str, expression: Expression, state: State | list[int]) -> int:
    """Evaluate on behalf of *rule*. Raises `Failed` where no value exists."""
    try:
        return evaluate(model, expression, state)
    except Impossible as impossible:
        raise Failed(Beyond(rule=rule, variable=None, problem=str(impossible))) from None


def apply(model: Model, rule: str, program: Program, values: list[int]) -> bool:
    """Run a program on *values*; tell whether any of them changed. Raises `Failed`."""
    before = list(values)
    for assign in program:
        results = [judge(model, rule, value, values) for value in assign.values]
        for target, result in zip(assign.targets, results, strict=True):
            variable = model.variables[target]
            if not variable.lowest <= result <= variable.highest:
                problem = f"{variable.name} would become {result}, its range is {variable.lowest}..{variable.highest}"
                raise Failed(Beyond(rule=rule, variable=variable.name, problem=problem))
            values[target] = result
    return values != before


def update_timer(timer: Timer, now: int, in_: int) -> int:
    """Bring a timer's value up to date with its input, no time passing."""
    if timer.kind is TimerKind.TON:
        return now if in_ else 0
    if timer.kind is TimerKind.TOF:
        return 0 if in_ else now
    if now == 0 and in_:
        return 1
    return 0 if now == timer.pt + 1 and not in_ else now


def counts(model: Model, timer: Timer, state: State) -> bool:
    """Tell whether a timer counts the tick that follows a settled state. Raises `Failed`."""
    now = state[timer.variable]
    if timer.kind is TimerKind.TP:
        return 1 <= now <= timer.pt
    in_ = judge(model, timer.name, timer.input.test, state)
    return now < timer.pt and bool(in_) == (timer.kind is TimerKind.TON)


def settle_round(model: Model, values: list[int], counted: Collection[str] = ()) -> tuple[list[str], list[str]]:
    """Do one round of settling on *values*; return the reactions and the timers that changed something.

    The timers named in *counted* count a tick as they are brought up to date. Until its turn a timer shows what it showed
    before, so that a timer may read its own Q, as on a controller.
    """
    timers = []
    for timer in model.timers:
        in_ = judge(model, timer.name, timer.input.test, values)
        now = values[timer.variable]
        fresh = update_timer(timer, now + 1 if timer.name in counted else now, in_)
        if fresh != now:
            timers.append(timer.name)
        values[timer.variable] = fresh
    reactions = [
        reaction.name
        for reaction in model.reactions
        if judge(model, reaction.name, reaction.when.test, values) and apply(model, reaction.name, reaction.program, values)
    ]
    return reactions, timers


Watch: TypeAlias = Callable[[list[str], State], None]
"""Is told, after each round of settling, which reactions changed something and what the values are now."""


def ignore(_reactions: list[str], _values: State) -> None:
    """Watch nothing."""


def settle(
    model: Model,
    state: State,
    watch: Watch = ignore,
    *,
    counted: Collection[str] = (),
    most_rounds: int = MOST_ROUNDS,
) -> State:
    """Return the settled state that *state* comes to; the timers named in *counted* count a tick in the first round.

    Raises `Failed` when a range is left, a value does not exist, or no rest is reached in *most_rounds*.
    """
    values = list(state)
    rounds: dict[State, int] = {}
    acted: list[tuple[list[str], list[str]]] = []
    while (before := tuple(values)) not in rounds and len(acted) < most_rounds:
        if not counted:
            rounds[before] = len(acted)
        acted.append(settle_round(model, values, counted))
        watch(acted[-1][0], tuple(values))
        if tuple(values) == before and not counted:
            return at_rest(model, values)
        counted = ()
    repeating = acted[rounds.get(tuple(values), 0) :]
    chasing = [r.name for r in model.reactions if any(r.name in reactions for reactions, _ in repeating)]
    chasing += [t.name for t in model.timers if any(t.name in timers for _, timers in repeating)]
    raise Failed(Endless(names=tuple(chasing)))


def at_rest(model: Model, values: list[int]) -> State:
    """Return the settled state: the clocks of rules that are not waiting are set to zero, then observers note it."""
    for clock in model.clocks:
        if not judge(model, clock.rule, clock.when, values):
            values[clock.variable] = 0
    for observer in model.observers:
        apply(model, observer.rule, observer.program, values)
    return tuple(values)


def possible(model: Model, step: Step, state: State) -> bool:
    """Tell whether a step can be taken in a settled state. Raises `Failed`."""
    if not evaluate(model, step.ready, state):
        return False
    return all([judge(model, step.name, guard.test, state) for guard in step.guards])


def take(model: Model, step: Step, state: State, watch: Watch = ignore) -> State:
    """Return the settled state after a possible step. Raises `Failed`."""
    values = list(state)
    apply(model, step.name, step.program, values)
    return settle(model, tuple(values), watch)


def blocks_time(model: Model, clock: Clock, state: State) -> bool:
    """Tell whether a plant rule must happen before time can pass."""
    return state[clock.variable] == clock.latest and bool(judge(model, clock.rule, clock.when, state))


def tick(model: Model, state: State, watch: Watch = ignore) -> State | None:
    """Return the settled state one tick later; None where time cannot pass. Raises `Failed`."""
    if any([blocks_time(model, clock, state) for clock in model.clocks]):
        return None
    values = list(state)
    counted = [timer.name for timer in model.timers if counts(model, timer, state)]
    for clock in model.clocks:
        if judge(model, clock.rule, clock.when, state):
            values[clock.variable] = min(state[clock.variable] + 1, clock.most)
    return settle(model, tuple(values), watch, counted=counted)


def raw_starts(model: Model) -> Iterator[State]:
    """Yield every combination of start values, not settled yet."""
    yield from product(*(variable.starts for variable in model.variables))


def steps(model: Model, state: State) -> Iterator[tuple[int | None, State | Failure]]:
    """Yield what can happen in a settled state, in file order: the step's number (None: a tick) and where it leads.

    Steps that change nothing are yielded too; they count as no transition.
    """
    for number, step in enumerate(model.steps):
        try:
            if possible(model, step, state):
                yield number, take(model, step, state)
        except Failed as failed:
            yield number, failed.failure
    try:
        later = tick(model, state)
    except Failed as failed:
        yield None, failed.failure
    else:
        if later is not None:
            yield None, later
