"""Confirms the claims on a closed set by asking a solver whether any state of it breaks them: for sets of any size."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from msgspec import Struct

from seqcheck.model import semantics
from seqcheck.model.model import Elsewhere, Forbid, Model, Only, Recoverable, State, condition_of, never
from seqcheck.model.run import Endless, Failure, StepKind
from seqcheck.proof.circuits import FALSE, TRUE, Circuits, Literal, inverse
from seqcheck.proof.diagram import contains
from seqcheck.proof.drawn import FreeState, Membership
from seqcheck.proof.encode import Encoder, Moment, Values
from seqcheck.proof.form import CaseProof, Drawn, Kind, UndecidedError
from seqcheck.proof.generate import TICK, behaviour
from seqcheck.proof.listing import Disagreement, Listing, Observer, Task
from seqcheck.proof.numbers import constant
from seqcheck.proof.rounds import Move, Rounds
from seqcheck.proof.settling import MOST_ROUNDS, Rest, Settling
from seqcheck.proof.solver import Questions
from seqcheck.proof.wording import Refuser, said_step


class Sets(Struct, frozen=True, kw_only=True):
    """The closed set, and the layers of each `reachable` and `recoverable` claimed, by the number of the property."""

    case: CaseProof
    states: Drawn
    layers: Mapping[int, Sequence[Drawn]]

    def inside(self, drawn: Drawn, state: State) -> bool:
        """Tell whether a state is in a set."""
        return contains(self.case.tables[drawn.table], drawn.root, state, self.case.domains)

    def rank(self, number: int, state: State) -> int:
        """Return the lowest layer that a state is in, -1 if it is in none."""
        return next((rank for rank, layer in enumerate(self.layers[number]) if self.inside(layer, state)), -1)


class Arrival(Struct, frozen=True, kw_only=True):
    """A step that has settled: whether it arrives, where, whether it fails on the way or an observer has no value there."""

    number: int
    arrives: Literal
    values: Values
    fails: Literal
    unseen: Literal


class Solving:
    """The examination of one drawn set."""

    def __init__(self, model: Model, sets: Sets, task: Task, observer: Observer) -> None:
        self._model = model
        self._sets = sets
        self._task = task
        self._observer = observer
        self._behaviour = behaviour(model)
        self._c = Circuits()
        self._free = FreeState(model, self._c)
        self._encoder = Encoder(model, self._c)
        self._membership = Membership(model, self._c, self._free, sets.case.tables)
        self._questions = Questions(self._c)
        self._rounds = Rounds(model, self._encoder, self._c, self._free.values)
        self._inside = self._c.both(self._free.sound, self._contains(self._free.values))
        self._conditions = self._evaluated(self._free.values)

    def confirm(self) -> None:
        """Confirm everything. Raises `RefusedError` or `UndecidedError`."""
        total = len(self._model.steps) + 1
        self._confirm_starts()
        self._confirm_conditions()
        self._rounds.calm = self._questions.ask(self._inside, self._rounds.stirred()) is None
        moves = [*map(self._rounds.step, self._model.steps), self._rounds.tick()]
        self._confirm_forbidden(moves)
        arrivals = []
        for number, move in enumerate(moves):
            self._observer(number, total, "steps")
            arrivals.append(self._arrive(number if number < len(self._model.steps) else TICK, move))
            self._confirm_arrival(arrivals[-1])
        for number, layers in self._sets.layers.items():
            self._confirm_layers(number, layers, arrivals)

    def _contains(self, values: Values) -> Literal:
        return self._membership.contains(values, self._sets.states)

    def _evaluated(self, values: Values) -> dict[int, tuple[Literal, Literal]]:
        """Return the condition of each property that is judged, and whether it has no value."""
        at = Moment(values)
        judged = [(n, p.rule) for n, p in enumerate(self._model.properties) if not isinstance(p.rule, Elsewhere)]
        return {number: self._encoder.holds(condition_of(rule).test, at) for number, rule in judged}

    def _confirm_starts(self) -> None:
        begin, possible = self._start()
        rounds = Rounds(self._model, self._encoder, self._c, begin)
        assumed = (self._free.sound, possible)
        settling = Settling(self._c, self._encoder, self._questions, assumed, Kind.SETTLING in self._task.built_in)
        rest = settling.settle(rounds, begin, TRUE, {}, self._refuse_start)
        if rest is None:
            raise UndecidedError(f"the starts have not settled after {MOST_ROUNDS} rounds")
        outside = self._c.both(rest.arrives, inverse(self._contains(rest.values)))
        wrong = self._c.either(outside, self._failing(rest))
        answer = self._questions.ask(*assumed, wrong)
        if answer is not None:
            self._refuse_start(answer)
            raise Disagreement("about a start")

    def _failing(self, rest: Rest | Arrival) -> Literal:
        """Return whether what has settled fails in a way that is claimed not to be."""
        fails = rest.fails if Kind.RANGE in self._task.built_in else FALSE
        return self._c.either(fails, rest.unseen if self._task.claimed else FALSE)

    def _start(self) -> tuple[Values, Literal]:
        """Return the start before settling (a free state, or what is the same in every start), and that it is one."""
        a, values, possible = self._encoder.arithmetic, [], TRUE
        for variable, free in zip(self._model.variables, self._free.values, strict=True):
            every = len(set(variable.starts)) == variable.highest - variable.lowest + 1
            one_of = TRUE if every else self._c.any(a.equal(free, constant(start)) for start in variable.starts)
            values.append(constant(variable.starts[0]) if len(variable.starts) == 1 else free)
            possible = self._c.both(possible, one_of)
        return tuple(values), possible

    def _refuse_start(self, true: frozenset[Literal]) -> None:
        """Refuse a start that fails or is outside. Does nothing if the definition says that it is neither."""
        raw, refuse = self._free.state(true), Refuser(self._model)
        if any(value not in v.starts for value, v in zip(raw, self._model.variables, strict=True)):
            raise Disagreement("about a start")
        try:
            state = semantics.settle(self._model, raw)
        except semantics.Failed as failed:
            if self._is_claimed(failed.failure):
                raise refuse.start_fails(raw, failed.failure) from None
            return
        if not self._sets.inside(self._sets.states, state):
            raise refuse.start_outside(state)

    def _is_claimed(self, failure: Failure) -> bool:
        """Tell whether it is claimed that nothing fails in such a way."""
        if isinstance(failure, Endless):
            return Kind.SETTLING in self._task.built_in
        if failure.rule in {observer.rule for observer in self._model.observers}:
            return bool(self._task.claimed)
        return Kind.RANGE in self._task.built_in

    def _refuse(self, true: frozenset[Literal], about: str) -> None:
        """Refuse what the definition says is wrong in a state; it must find something."""
        self._try_to_refuse(true)
        raise Disagreement(about)

    def _try_to_refuse(self, true: frozenset[Literal]) -> None:
        state = self._free.state(true)
        if not self._sets.inside(self._sets.states, state):
            raise Disagreement("about a state of the set")
        after = [s for _, s in semantics.steps(self._model, state) if isinstance(s, tuple)]
        near = list(dict.fromkeys([state, *(s for s in after if self._sets.inside(self._sets.states, s))]))
        ranks = {number: [self._sets.rank(number, s) for s in near] for number in self._sets.layers}
        task = Task(claimed=self._task.claimed, built_in=self._task.built_in, ranks=ranks)
        Listing(self._model, self._behaviour, near, task).confirm_first()

    def _confirm_conditions(self) -> None:
        wrong = FALSE
        for number, (holds, missing) in self._conditions.items():
            claimed = number in self._task.claimed
            if claimed or Kind.RANGE in self._task.built_in:
                wrong = self._c.either(wrong, missing)
            if claimed and never(self._model.properties[number].rule) is not None:
                wrong = self._c.either(wrong, holds)
        answer = self._questions.ask(self._inside, wrong)
        if answer is not None:
            self._refuse(answer, "about a condition")

    def _confirm_forbidden(self, moves: Sequence[Move]) -> None:
        wrong = FALSE
        for number in self._task.claimed:
            rule = self._model.properties[number].rule
            if isinstance(rule, Forbid):
                wrong = self._c.either(wrong, self._c.both(self._conditions[number][0], moves[rule.step].accepted))
        answer = self._questions.ask(self._inside, wrong)
        if answer is not None:
            self._refuse(answer, "about a command")

    def _arrive(self, number: int, move: Move) -> Arrival:
        """Settle a step from every state of the set."""
        settling = Settling(self._c, self._encoder, self._questions, (self._inside,), Kind.SETTLING in self._task.built_in)
        rest = settling.settle(self._rounds, move.values, move.ready, move.counted, self._try_to_refuse)
        if rest is None:
            step = None if number == TICK else self._model.steps[number]
            raise UndecidedError(f"after {said_step(step)}, settling takes more than {MOST_ROUNDS} rounds")
        fails = self._c.either(move.failed, rest.fails)
        return Arrival(number=number, arrives=rest.arrives, values=rest.values, fails=fails, unseen=rest.unseen)

    def _confirm_arrival(self, arrival: Arrival) -> None:
        """Confirm that a step leads into the set, does not fail, and makes nothing true that it must not."""
        wrong = self._failing(arrival)
        outside = inverse(self._contains(arrival.values))
        made = [outside, *self._made(arrival)]
        wrong = self._c.either(wrong, self._c.both(arrival.arrives, self._c.any(made)))
        answer = self._questions.ask(self._inside, wrong)
        if answer is not None:
            self._refuse(answer, "about a step")

    def _made(self, arrival: Arrival) -> Iterator[Literal]:
        after = self._evaluated(arrival.values)
        for number in sorted(self._task.claimed):
            rule = self._model.properties[number].rule
            if isinstance(rule, Only) and arrival.number not in rule.steps:
                yield self._c.both(inverse(self._conditions[number][0]), after[number][0])

    def _confirm_layers(self, number: int, layers: Sequence[Drawn], arrivals: Sequence[Arrival]) -> None:
        rule = self._model.properties[number].rule
        goal = self._conditions[number][0]
        here = [self._membership.contains(self._free.values, layer) for layer in layers]
        ways = [arrival for arrival in arrivals if not self._is_fault(arrival)]
        into: list[Literal] = [goal]
        for rank, layer in enumerate(layers):
            self._observer(rank, len(layers), f"layers of {self._model.properties[number].id}")
            self._confirm_layer(here[: rank + 1], into)
            into.append(self._leads_into(layer, ways))
        covered = self._c.any(here)
        if isinstance(rule, Recoverable):
            missing = inverse(covered)
        else:
            missing = self._c.any(self._uncovered_entry(arrival, layers) for arrival in arrivals if self._is_fault(arrival))
        answer = self._questions.ask(self._inside, missing)
        if answer is not None:
            self._refuse(answer, "about what the layers cover")

    def _confirm_layer(self, here: Sequence[Literal], into: Sequence[Literal]) -> None:
        """Confirm that each state of the last layer *here*, and of none before, has a step into a lower one, or the goal.

        The layer right below is asked about first, and alone: mostly it is enough, and it is the smaller question.
        """
        if self._questions.ask(self._inside, here[-1], inverse(into[-1])) is None:
            return
        first = self._c.both(here[-1], inverse(self._c.any(here[:-1])))
        wanted = into[0] if len(here) == 1 else self._c.any(into[1:])
        answer = self._questions.ask(self._inside, first, inverse(wanted))
        if answer is not None:
            self._refuse(answer, "about a layer")

    def _leads_into(self, layer: Drawn, ways: Iterable[Arrival]) -> Literal:
        contains = self._membership.contains
        return self._c.any(self._c.both(way.arrives, contains(way.values, layer)) for way in ways)

    def _is_fault(self, arrival: Arrival) -> bool:
        return arrival.number != TICK and self._model.steps[arrival.number].kind is StepKind.FAULT

    def _uncovered_entry(self, arrival: Arrival, layers: Sequence[Drawn]) -> Literal:
        """Return whether a fault is the last of all and leads to a state in no layer."""
        last = self._c.all(self._encoder.is_true(arrival.values[flag]) for flag in self._model.fault_variables)
        covered = self._c.any(self._membership.contains(arrival.values, layer) for layer in layers)
        return self._c.all((arrival.arrives, last, inverse(covered)))
