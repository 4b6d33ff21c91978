"""Writes down, as conditions on a settled state, that a step sets something going there that then goes on by itself.

Such a step is a command, or a person's act that makes a trip act. What it sets going is a plant rule whose `when` begins to
hold, or a timer that begins to count. It is asked of the values that the step, and up to two reactions after it, would write;
the definition then says what really comes of it.
"""

from collections.abc import Iterator, Mapping, Sequence

from msgspec import Struct

from seqcheck.model.expression import FALLIBLE, Apply, Const, Expression, Load, Op, Sense, conjunction, negation, reads, walk
from seqcheck.model.model import Model, Program, Reaction, Step, TimerKind, VariableKind
from seqcheck.model.run import StepKind

Written = Mapping[int, Expression]
"""What variables hold after some programs, by the values before them."""

DEEPEST = 2
"""Reactions in a row that are looked at between the step and what it sets going."""

MOST_CHAINS = 60
"""Chains of reactions after one step that are looked at."""

ACTING = (StepKind.PERSON, StepKind.PANEL)


class Goal(Struct, frozen=True, kw_only=True):
    """A situation to be reached: there *command* (a step's number), or some person's act that makes *trip* act, sets off."""

    command: int | None
    trip: int | None
    test: Expression


class Chain(Struct, frozen=True, kw_only=True):
    """A step and the reactions after it: *test* says where they act, *written* what they leave."""

    test: Expression
    written: Written
    first: int | None = None


class Beginnings:
    """What one machine can set going, and the conditions for it. *is_cut*: some chains of reactions were left out."""

    def __init__(self, model: Model) -> None:
        self._model = model
        self._sensors = model.sensor_values
        self._starting = tuple(self._all_starting())
        self._read = [reads(one, self._sensors) for one in self._starting]
        self._waited_by = [reads(one.when.test, self._sensors) for one in model.reactions]
        self.is_cut = False

    def goals(self) -> Iterator[Goal]:
        """Yield all goals: commands in file order, then trips; then commands with each value of what only people set."""
        plain = list(self._plain())
        yield from plain
        for command in dict.fromkeys(goal.command for goal in plain if goal.command is not None):
            accepted = self._accepted(self._model.steps[command])
            for value in self._set_by_people():
                goal = conjunction(accepted, value)
                if self._always_has_a_value(goal):
                    yield Goal(command=command, trip=None, test=goal)

    def _accepted(self, step: Step) -> Expression:
        """Return where a command is accepted and changes something."""
        changed = [
            Apply(Op.UNEQUAL, (Load(t), v)) for one in step.program for t, v in zip(one.targets, one.values, strict=True)
        ]
        return conjunction(step.ready, *(guard.test for guard in step.guards), either(changed))

    def _set_by_people(self) -> Iterator[Expression]:
        """Yield each value of each variable that only people set and that what goes on by itself may depend on."""
        model = self._model
        by_itself = [step.program for step in model.steps if step.kind not in ACTING]
        by_itself += [reaction.program for reaction in model.reactions]
        moved = {target for program in by_itself for assign in program for target in assign.targets}
        matters = frozenset().union(*self._read, *self._waited_by)
        for place, variable in enumerate(model.variables):
            if place in matters - moved and variable.kind in {VariableKind.PART, VariableKind.PANEL}:
                for value in range(variable.lowest, variable.highest + 1):
                    yield Apply(Op.EQUAL, (Load(place), Const(value)))

    def _plain(self) -> Iterator[Goal]:
        by_trip: dict[tuple[int, int], list[Expression]] = {}
        for number, step in enumerate(self._model.steps):
            if step.kind is StepKind.COMMAND:
                tests = {goal: None for chain in self._chains(step) for _, goal in self._set_off(chain)}
                yield from (Goal(command=number, trip=None, test=test) for test in tests)
            elif step.kind in ACTING:
                for chain in self._chains(step):
                    if chain.first is not None and self._model.reactions[chain.first].is_trip:
                        for what, test in self._set_off(chain):
                            by_trip.setdefault((chain.first, what), []).append(test)
        for (trip, _), found in sorted(by_trip.items()):
            yield Goal(command=None, trip=trip, test=either(found))

    def _all_starting(self) -> Iterator[Expression]:
        for step in self._model.steps:
            if step.kind is StepKind.PLANT:
                yield conjunction(*(guard.test for guard in step.guards))
        for timer in self._model.timers:
            yield negation(timer.input.test) if timer.kind is TimerKind.TOF else timer.input.test

    def _chains(self, step: Step) -> Iterator[Chain]:
        """Yield a step alone, then with the reactions that it may set off."""
        guards = conjunction(step.ready, *(guard.test for guard in step.guards))
        written = self._after({}, step.program)
        pending = [(Chain(test=guards, written=written), 0)]
        for chain, depth in pending:
            yield chain
            if depth < DEEPEST:
                for longer in self._longer(chain):
                    if len(pending) == MOST_CHAINS:
                        self.is_cut = True
                        break
                    pending.append((longer, depth + 1))

    def _longer(self, chain: Chain) -> Iterator[Chain]:
        for number, (reaction, read) in enumerate(zip(self._model.reactions, self._waited_by, strict=True)):
            if not read.isdisjoint(chain.written):
                yield self._with(chain, number, reaction)

    def _with(self, chain: Chain, number: int, reaction: Reaction) -> Chain:
        when = self._as_left(reaction.when.test, chain.written)
        begins = conjunction(when, negation(reaction.when.test))
        return Chain(
            test=conjunction(chain.test, begins),
            written=self._after(chain.written, reaction.program),
            first=number if chain.first is None else chain.first,
        )

    def _set_off(self, chain: Chain) -> Iterator[tuple[int, Expression]]:
        """Yield what a chain sets going, and where."""
        for number, (test, read) in enumerate(zip(self._starting, self._read, strict=True)):
            if not read.isdisjoint(chain.written):
                goal = conjunction(chain.test, negation(test), self._as_left(test, chain.written))
                if self._always_has_a_value(goal) and not _is_false(goal):
                    yield number, goal

    def _after(self, before: Written, program: Program) -> Written:
        written = dict(before)
        for assign in program:
            written |= {t: self._as_left(v, written) for t, v in zip(assign.targets, assign.values, strict=True)}
        return written

    def _as_left(self, expression: Expression, written: Written) -> Expression:
        """Return an expression as it is read once *written* has been written."""
        match expression:
            case Load(variable=place):
                return written.get(place, expression)
            case Sense(sensor=number):
                inside = self._sensors[number]
                return expression if reads(inside, self._sensors).isdisjoint(written) else self._as_left(inside, written)
            case Apply(op=op, operands=operands):
                return simplified(op, tuple(self._as_left(operand, written) for operand in operands))
            case Const():
                return expression

    def _always_has_a_value(self, expression: Expression) -> bool:
        pending, entered = [expression], set()
        while pending:
            for part in walk(pending.pop()):
                if isinstance(part, Apply) and part.op in FALLIBLE:
                    return False
                if isinstance(part, Sense) and part.sensor not in entered:
                    entered.add(part.sensor)
                    pending.append(self._sensors[part.sensor])
        return True


def simplified(op: Op, operands: tuple[Expression, ...]) -> Expression:
    """Return an operation, worked out where constants decide it."""
    if op is Op.EQUAL and all(isinstance(operand, Const) for operand in operands):
        return Const(int(operands[0] == operands[1]))
    if op is Op.UNEQUAL and all(isinstance(operand, Const) for operand in operands):
        return Const(int(operands[0] != operands[1]))
    if op is Op.NOT and isinstance(operands[0], Const):
        return Const(int(not operands[0].value))
    if op in {Op.AND, Op.OR}:
        deciding = int(op is Op.OR)
        if any(isinstance(part, Const) and bool(part.value) == bool(deciding) for part in operands):
            return Const(deciding)
        kept = tuple(part for part in operands if not isinstance(part, Const))
        if len(kept) < 2:
            return kept[0] if kept else Const(1 - deciding)
        return Apply(op, kept)
    return Apply(op, operands)


def _is_false(goal: Expression) -> bool:
    """Tell whether a conjunction can be seen never to hold."""
    parts = goal.operands if isinstance(goal, Apply) and goal.op is Op.AND else (goal,)
    return any(part == Const(0) for part in parts) or any(negation(part) in parts for part in parts)


def either(parts: Sequence[Expression]) -> Expression:
    """Join truths by OR."""
    distinct = tuple(dict.fromkeys(parts))
    return distinct[0] if len(distinct) == 1 else Apply(Op.OR, distinct)
