"""Turns a way into a recorded run by taking its steps again with the plain definition."""

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.procedures.records import Way
from seqcheck.analyse.record import Disagreement, Memory, Recorder, changes, declared, snapshot, visible
from seqcheck.analyse.verdict import StepAccount
from seqcheck.model import semantics
from seqcheck.model.model import Model, State
from seqcheck.model.run import Run, StepKind
from seqcheck.search.engine import Trace


class Taken(Struct, frozen=True, kw_only=True):
    """The run of a way, what stands behind each step, the state *stuck* in which it gets stuck, if it does, and the *end*."""

    run: Run
    accounts: tuple[StepAccount, ...]
    stuck: State | None
    end: State


def take(model: Model, way: Way, memory: Memory | None = None) -> Taken:
    """Take a way with the plain definition. Raises `Disagreement` if it is no run of the machine.

    *memory* is filled with what came of each step tried; ways that have much in common can share it.
    """
    return _Taking(model, memory={} if memory is None else memory).take(way)


class _Taking(Recorder):
    """Takes the steps of one way."""

    def take(self, way: Way) -> Taken:
        """Take the steps of a way."""
        if way.start_fails:
            run, accounts = self.record(Trace(raw_start=way.raw_start, states=()))
            return Taken(run=run, accounts=accounts, stuck=None, end=way.raw_start)
        state = semantics.settle(self.model, way.raw_start)
        states = [state]
        last = len(way.moves) - 1
        failure = None
        for place, move in enumerate(way.moves):
            if way.fails and place == last:
                _, failure = self._attempt(state, None if move < 0 else move)
                if failure is None:
                    raise Disagreement(f"the last move of {way} does not fail")
            elif move < 0:
                state = self._pass(state, -move)
            else:
                state = self._step(state, move)
            states.append(state)
        run = Run(
            start=declared(self.model, way.raw_start),
            steps=tuple(self.steps),
            end=snapshot(self.model, state),
            faults=self.model.faults,
            failure=failure,
        )
        stuck = None if way.stuck is None else states[way.stuck]
        return Taken(run=run, accounts=tuple(self.accounts), stuck=stuck, end=state)

    def _step(self, state: State, number: int | None) -> State:
        acted: list[str] = []
        after = self._outcome(state, number, acted)
        if not isinstance(after, tuple):
            raise Disagreement(f"step {number} is not possible in {state}")
        changed = changes(visible(self.model, state), visible(self.model, after)) if after != state else ()
        self._note(after, number, acted, changed)
        return after

    def _pass(self, state: State, ticks: int) -> State:
        """Let so many ticks pass; where a tick changes nothing, neither do those that follow."""
        for passed in range(ticks):
            after = self._step(state, None)
            last, left = self.steps[-1], ticks - passed - 1
            if after == state and left and not last.acted and last.by.kind is StepKind.WAIT:
                self.steps[-1] = replace(last, ticks=last.ticks + left)
                self.now_ticks += left
                return after
            state = after
        return state
