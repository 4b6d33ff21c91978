"""Turns what the generated functions noted into shortest traces."""

from seqcheck.model.model import Forbid, Hazard, Model, Observed, State
from seqcheck.model.run import Failure
from seqcheck.search.engine import Trace
from seqcheck.search.failing import Cause, cause, failure_of
from seqcheck.search.plain.expanding import TICK
from seqcheck.search.plain.program import NEVER, Board


class Tracer:
    """Follows parents back to the start."""

    def __init__(self, model: Model, board: Board) -> None:
        self._model = model
        self._board = board
        self.failed_starts: dict[Cause, State] = {}
        self.raw_of: dict[State, State] = {}

    def note_failed_start(self, raw: State, failure: Failure) -> None:
        """Note a start that does not settle."""
        self.failed_starts.setdefault(cause(failure), raw)

    def trace(self, state: State, *, attempts: bool = False, last: int | None = None) -> Trace:
        """Return the way to *state*, and what is attempted there."""
        way = [state]
        while (parent := self._board.seen[way[-1]]) is not None:
            way.append(parent)
        way.reverse()
        return Trace(raw_start=self.raw_of[way[0]], states=tuple(way), attempts=attempts, last=last)

    def found(self) -> dict[int, Trace]:
        """Return the traces of the properties that the search itself settles."""
        traces = {number: self._shown(number, state) for number, (state, _) in self._board.found.items()}
        for number, (state, step) in self._board.made.items():
            traces[number] = self.attempt(state, step)
        return traces

    def violates(self) -> bool:
        """Tell whether a hazard, a requirement on steps or a built-in check was seen to be violated."""
        board, properties = self._board, self._model.properties
        settled = any(isinstance(properties[number].rule, Hazard | Observed | Forbid) for number in board.found)
        return settled or bool(board.made or board.unjudged or self.failures())

    def _shown(self, number: int, state: State) -> Trace:
        """Return the way to a state that settles a property; a command accepted against `forbid` is a step of the run."""
        rule = self._model.properties[number].rule
        return self.attempt(state, rule.step) if isinstance(rule, Forbid) else self.trace(state)

    def attempt(self, state: State, step: int) -> Trace:
        """Return the way to *state* and a step, or a tick, attempted there."""
        return self.trace(state, attempts=True, last=None if step == TICK else step)

    def failures(self) -> tuple[Trace, ...]:
        """Return a shortest trace for each failure that was met: starts first, then by cost."""
        kept: dict[Cause, tuple[int, Trace]] = {
            cause: (-1, Trace(raw_start=raw, states=())) for cause, raw in self.failed_starts.items()
        }
        for (step, _), (state, cost) in self._board.troubles.items():
            failure = failure_of(self._model, state, None if step == TICK else step)
            if failure is not None and cost < kept.get(cause(failure), (NEVER,))[0]:
                kept[cause(failure)] = (cost, self.attempt(state, step))
        return tuple(trace for _, trace in sorted(kept.values(), key=lambda pair: pair[0]))
