"""Settling as circuits: one round, what a tick counts, what clocks do at rest; the meaning is that of `model.semantics`."""

from collections.abc import Mapping

from msgspec import Struct

from seqcheck.model.expression import Expression
from seqcheck.model.model import Clock, Model, Observer, Program, Reaction, Step, Timer, TimerKind
from seqcheck.proof.circuits import FALSE, Circuits, Literal, inverse
from seqcheck.proof.encode import Encoder, Moment, Outcome, Values
from seqcheck.proof.numbers import Number, constant, within
from seqcheck.proof.source import Source


class Move(Struct, frozen=True, kw_only=True):
    """A step, or a tick, before settling.

    *ready*: it is possible and has not failed; *failed*: it fails before anything settles. *accepted* as for `forbid`.
    """

    ready: Literal
    failed: Literal
    accepted: Literal
    values: Values
    counted: Mapping[int, Literal]


class Rested(Struct, frozen=True, kw_only=True):
    """A state at rest; whether a clock failed in it, and whether an observer, without a value to note, has not seen it."""

    values: Values
    failed: Literal
    unseen: Literal


def replaced(values: Values, place: int, value: Number) -> Values:
    """Return a state with one value replaced."""
    return (*values[:place], value, *values[place + 1 :])


class Rounds:
    """Builds settling from states that differ from *base* here and there.

    If *calm*, it has been proved that in *base* no timer, reaction, clock or observer by itself changes anything or fails, so
    that those are left out which neither read nor write anything that differs.
    """

    def __init__(self, model: Model, encoder: Encoder, circuits: Circuits, base: Values) -> None:
        self._model = model
        self._encoder = encoder
        self._c = circuits
        self._base = base
        self.calm = False
        source = Source(model)
        self._concerns = {
            **{id(timer): source.rests_on(timer.input.test) | {timer.variable} for timer in model.timers},
            **{id(clock): source.rests_on(clock.when) | {clock.variable} for clock in model.clocks},
            **{id(r): _concern(source, r.program, r.when.test) for r in model.reactions},
            **{id(observer): _concern(source, observer.program) for observer in model.observers},
        }

    def _is_idle(self, rule: Timer | Clock | Reaction | Observer, values: Values) -> bool:
        return self.calm and all(values[place] == self._base[place] for place in self._concerns[id(rule)])

    def round(self, values: Values, counted: Mapping[int, Literal]) -> Outcome:
        """Do one round; *counted*: whether the timer in a variable counts a tick."""
        failed = FALSE
        for timer in self._model.timers:
            if timer.variable in counted or not self._is_idle(timer, values):
                fresh, missing = self._timer(timer, values, counted.get(timer.variable, FALSE))
                values, failed = replaced(values, timer.variable, fresh), self._c.either(failed, missing)
        for reaction in self._model.reactions:
            if not self._is_idle(reaction, values):
                outcome = self._react(reaction, values)
                values, failed = outcome.values, self._c.either(failed, outcome.failed)
        return Outcome(values=values, failed=failed)

    def _timer(self, timer: Timer, values: Values, counts: Literal) -> tuple[Number, Literal]:
        a = self._encoder.arithmetic
        in_, missing = self._encoder.holds(timer.input.test, Moment(values))
        highest, now = self._model.variables[timer.variable].highest, values[timer.variable]
        more = within(a.plus(now, constant(1)).bits, now.lowest, min(now.highest + 1, highest))
        now = a.choose(counts, more, now)
        match timer.kind:
            case TimerKind.TON:
                return a.choose(in_, now, constant(0)), missing
            case TimerKind.TOF:
                return a.choose(in_, constant(0), now), missing
            case TimerKind.TP:
                begins = self._c.both(a.equal(now, constant(0)), in_)
                ends = self._c.both(a.equal(now, constant(timer.pt + 1)), inverse(in_))
                return a.choose(begins, constant(1), a.choose(ends, constant(0), now)), missing

    def _react(self, reaction: Reaction, values: Values) -> Outcome:
        when, missing = self._encoder.holds(reaction.when.test, Moment(values))
        outcome = self._encoder.run(reaction.program, values)
        choose = self._encoder.arithmetic.choose
        after = tuple(choose(when, new, old) for new, old in zip(outcome.values, values, strict=True))
        return Outcome(values=after, failed=self._c.either(missing, self._c.both(when, outcome.failed)))

    def rest(self, values: Values) -> Rested:
        """Set the clocks of rules that are not waiting to zero, in a state at rest; then let observers note it."""
        failed, at = FALSE, Moment(values)
        fresh = values
        for clock in self._model.clocks:
            if not self._is_idle(clock, values):
                when, missing = self._encoder.holds(clock.when, at)
                zeroed = self._encoder.arithmetic.choose(when, values[clock.variable], constant(0))
                fresh, failed = replaced(fresh, clock.variable, zeroed), self._c.either(failed, missing)
        unseen = FALSE
        for observer in self._model.observers:
            if not self._is_idle(observer, fresh):
                noted = self._encoder.run(observer.program, fresh)
                fresh, unseen = noted.values, self._c.either(unseen, noted.failed)
        return Rested(values=fresh, failed=failed, unseen=unseen)

    def stirred(self) -> Literal:
        """Return whether in *base* some timer, reaction, clock or observer by itself changes something or fails."""
        base, rested = self._base, self.rest(self._base)
        found = self._c.any((rested.failed, rested.unseen, inverse(self._encoder.same(rested.values, base))))
        for timer in self._model.timers:
            fresh, missing = self._timer(timer, base, FALSE)
            same = self._encoder.arithmetic.equal(fresh, base[timer.variable])
            found = self._c.any((found, missing, inverse(same)))
        for reaction in self._model.reactions:
            outcome = self._react(reaction, base)
            found = self._c.any((found, outcome.failed, inverse(self._encoder.same(outcome.values, base))))
        return found

    def step(self, step: Step) -> Move:
        """Return a step taken in *base*."""
        at = Moment(self._base)
        ready, _ = self._encoder.holds(step.ready, at)
        guards = [self._encoder.holds(guard.test, at) for guard in step.guards]
        missing = self._c.both(ready, self._c.any(missing for _, missing in guards))
        accepted = self._c.all((ready, inverse(missing), *(held for held, _ in guards)))
        outcome = self._encoder.run(step.program, self._base)
        return Move(
            ready=self._c.both(accepted, inverse(outcome.failed)),
            failed=self._c.either(missing, self._c.both(accepted, outcome.failed)),
            accepted=accepted,
            values=outcome.values,
            counted={},
        )

    def tick(self) -> Move:
        """Return a tick that passes in *base*."""
        c, a, at, values = self._c, self._encoder.arithmetic, Moment(self._base), self._base
        failed = blocked = FALSE
        missing_later = FALSE
        for clock in self._model.clocks:
            now = self._base[clock.variable]
            when, missing = self._encoder.holds(clock.when, at)
            if clock.latest is not None:
                latest = a.equal(now, constant(clock.latest))
                failed = c.either(failed, c.both(latest, missing))
                blocked = c.either(blocked, c.both(latest, when))
            missing_later = c.either(missing_later, missing)
            more = within(a.plus(now, constant(1)).bits, now.lowest, now.highest)
            counts = c.both(when, a.less(now, constant(clock.most)))
            values = replaced(values, clock.variable, a.choose(counts, more, now))
        counted = {}
        for timer in self._model.timers:
            counts, missing = self._counts(timer, at)
            counted[timer.variable] = counts
            missing_later = c.either(missing_later, missing)
        passes = c.both(inverse(blocked), inverse(failed))
        failed = c.either(failed, c.both(passes, missing_later))
        ready = c.both(passes, inverse(missing_later))
        return Move(ready=ready, failed=failed, accepted=FALSE, values=values, counted=counted)

    def _counts(self, timer: Timer, at: Moment) -> tuple[Literal, Literal]:
        a, now = self._encoder.arithmetic, at.values[timer.variable]
        inside = a.less(now, constant(timer.pt))
        if timer.kind is TimerKind.TP:
            return self._c.both(a.less(constant(0), now), a.less(now, constant(timer.pt + 1))), FALSE
        in_, missing = self._encoder.holds(timer.input.test, at)
        return self._c.both(inside, in_ if timer.kind is TimerKind.TON else inverse(in_)), missing


def _concern(source: Source, program: Program, *tests: Expression) -> frozenset[int]:
    values: list[Expression] = [value for assign in program for value in assign.values]
    targets = {target for assign in program for target in assign.targets}
    return source.rests_on(*tests, *values) | targets
