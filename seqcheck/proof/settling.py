"""Unrolls settling round by round until a solver says that nothing changes any more, from any of the states assumed."""

from collections.abc import Callable, Mapping, Sequence

from msgspec import Struct

from seqcheck.proof.circuits import FALSE, Circuits, Literal, inverse
from seqcheck.proof.encode import Encoder, Values
from seqcheck.proof.rounds import Rounds
from seqcheck.proof.solver import Questions

MOST_ROUNDS = 64
"""Rounds of settling that are unrolled before the checker gives up."""


class Rest(Struct, frozen=True, kw_only=True):
    """Where settling comes to rest: whether it does, in which state, whether it fails on the way.

    *unseen*: it settles where an observer has no value to note.
    """

    arrives: Literal
    values: Values
    fails: Literal
    unseen: Literal


class Settling(Struct, frozen=True):
    """Settles under assumptions. *claimed*: it is claimed that settling always ends, so that no cycle is looked for."""

    circuits: Circuits
    encoder: Encoder
    questions: Questions
    assumed: tuple[Literal, ...]
    claimed: bool

    def settle(
        self,
        rounds: Rounds,
        values: Values,
        ready: Literal,
        counted: Mapping[int, Literal],
        examine: Callable[[frozenset[Literal]], None],
    ) -> Rest | None:
        """Return where *values* come to rest if *ready*; None if that takes too many rounds.

        *examine* looks at each state from which something still moves, and raises if that is a reason to refuse.
        """
        c, failed, passed = self.circuits, FALSE, [values]
        while len(passed) <= MOST_ROUNDS:
            outcome = rounds.round(passed[-1], counted)
            failed = c.either(failed, outcome.failed)
            still = FALSE if counted else self.encoder.same(passed[-1], outcome.values)
            passed, counted = [*passed, outcome.values], {}
            moving = c.all((ready, inverse(failed), inverse(still)))
            answer = self.questions.ask(*self.assumed, moving)
            if answer is None:
                return self._rest(rounds, passed[-2], c.both(ready, inverse(failed)), c.both(ready, failed))
            examine(answer)
            if not self.claimed and self._always_repeats(passed[1:], moving):
                left = c.all((ready, inverse(failed), inverse(moving)))
                return self._rest(rounds, passed[-2], left, c.both(ready, failed))
        return None

    def _rest(self, rounds: Rounds, values: Values, settles: Literal, failed: Literal) -> Rest:
        rest = rounds.rest(values)
        seen = self.circuits.both(settles, inverse(rest.failed))
        fails = self.circuits.either(failed, self.circuits.both(settles, rest.failed))
        arrives, unseen = self.circuits.both(seen, inverse(rest.unseen)), self.circuits.both(seen, rest.unseen)
        return Rest(arrives=arrives, values=rest.values, fails=fails, unseen=unseen)

    def _always_repeats(self, passed: Sequence[Values], moving: Literal) -> bool:
        """Tell whether what still moves has come back to where it was, so that it never settles."""
        repeats = self.circuits.any(self.encoder.same(passed[-1], earlier) for earlier in passed[:-1])
        return self.questions.ask(*self.assumed, moving, inverse(repeats)) is None
