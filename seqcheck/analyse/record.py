"""Turns an engine's trace into a recorded run by taking its steps again with the plain definition.

An engine whose trace is no run of the machine is caught here (`Disagreement`).
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from typing import TypeAlias

from msgspec import Struct, field
from msgspec.structs import replace

from seqcheck.analyse.verdict import StepAccount
from seqcheck.model import semantics
from seqcheck.model.expression import Const, Sense
from seqcheck.model.idling import elapsed_matters, idle_ticks
from seqcheck.model.model import Model, State, VariableKind
from seqcheck.model.run import By, Failure, Run, RunStep, StepKind, Value, Values
from seqcheck.search.engine import Trace

SHOWN = (VariableKind.PART, VariableKind.PANEL, VariableKind.OUTPUT, VariableKind.MEMORY)


class Disagreement(Exception):  # noqa: N818 - named for what it is
    """An engine, the plain definition and the simulator do not agree: a fault of this program, not of the file."""


def declared(model: Model, state: State) -> Values:
    """Return parts, panel, outputs and memory of a state, as the file names them."""
    return tuple((v.name, v.shown(raw)) for v, raw in zip(model.variables, state, strict=True) if v.kind in SHOWN)


def sensed(model: Model, state: State) -> Values:
    """Return what the sensors read; those whose value does not exist are left out."""
    return tuple(_sensed(model, state))


def _sensed(model: Model, state: State) -> Iterator[tuple[str, Value]]:
    for number, sensor in enumerate(model.sensors):
        try:
            yield sensor.name, sensor.shown(semantics.evaluate(model, Sense(number), state))
        except semantics.Impossible:
            continue


def visible(model: Model, state: State) -> Values:
    """Return what a run's changes speak of: declared variables, sensors, `TIMER.Q`."""
    timers = tuple((f"{t.name}.Q", bool(semantics.evaluate(model, t.q, state))) for t in model.timers)
    return (*declared(model, state), *sensed(model, state), *timers)


def snapshot(model: Model, state: State) -> Values:
    """Return all that a run's end shows."""
    elapsed = tuple((f"{t.name}.ET", semantics.evaluate(model, t.et, state)) for t in model.timers)
    return (*visible(model, state), *elapsed)


def really(model: Model, state: State) -> Values:
    """Return what outputs really do where that is not what they are commanded to do."""
    does = [(place, semantics.evaluate(model, actual, state)) for place, actual in model.actual]
    return tuple((model.variables[p].name, model.variables[p].shown(raw)) for p, raw in does if raw != state[p])


def changes(before: Values, after: Values) -> Values:
    """Return the values of *after* that differ from *before*."""
    known = dict(before)
    return tuple((name, value) for name, value in after if name not in known or known[name] != value)


Memory: TypeAlias = dict[tuple[State, int | None], tuple[State | Failure | None, list[str]]]
"""What comes of a step, or a tick, in a state, and which reactions act."""


class Recorder(Struct):
    """Takes the steps of one trace. *memory* keeps what came of each step, for other traces of the same model."""

    model: Model
    steps: list[RunStep] = field(default_factory=list)
    accounts: list[StepAccount] = field(default_factory=list)
    now_ticks: int = 0
    memory: Memory = field(default_factory=dict)
    _settled: frozenset[int] = frozenset()
    _seen: tuple[State, Values] | None = None

    def __post_init__(self) -> None:
        self._settled = written_while_settling(self.model)

    def record(self, trace: Trace) -> tuple[Run, tuple[StepAccount, ...]]:
        """Return the run of a trace, with what stands behind each step."""
        state, failure = self._start(trace)
        place, idle = 0, not elapsed_matters(self.model)
        while place + 1 < len(trace.states):
            self._advance(state, trace.states[place + 1])
            place += 1
            if idle:
                place += self._stay_idle(trace.states, place)
            state = trace.states[place]
        if failure is None and trace.attempts:
            state, failure = self._attempt(state, trace.last)
        run = Run(
            start=declared(self.model, trace.raw_start),
            steps=tuple(self.steps),
            end=snapshot(self.model, state),
            faults=self.model.faults,
            failure=failure,
        )
        return run, tuple(self.accounts)

    def _start(self, trace: Trace) -> tuple[State, Failure | None]:
        try:
            state = semantics.settle(self.model, trace.raw_start)
        except semantics.Failed as failed:
            return trace.raw_start, failed.failure
        if not trace.states or trace.states[0] != state:
            raise Disagreement(f"the engine starts in {trace.states[:1]}, the definition in {state}")
        return state, None

    def _advance(self, state: State, following: State) -> None:
        """Record whatever leads from one state to the next: a tick where one does, else the first step that does."""
        for number in self._candidates(state, following):
            acted: list[str] = []
            if self._outcome(state, number, acted) == following:
                self._note(following, number, acted, changes(self._visible(state), self._visible(following)))
                return
        raise Disagreement(f"no step of the definition leads from {state} to {following}")

    def _visible(self, state: State) -> Values:
        """Return what changes speak of; each state is asked for twice, after one step and before the next."""
        if self._seen is None or self._seen[0] != state:
            self._seen = (state, visible(self.model, state))
        return self._seen[1]

    def _candidates(self, state: State, following: State) -> Iterator[int | None]:
        """Yield the tick and the steps, in this order, that may lead from one state to the next.

        What nothing writes while a state settles is as the step itself leaves it: the others need not be tried.
        """
        moved = {place for place, (one, two) in enumerate(zip(state, following, strict=True)) if one != two}
        moved -= self._settled
        if not moved:
            yield None
        for number, step in enumerate(self.model.steps):
            left = dict(pair for assign in step.program for pair in zip(assign.targets, assign.values, strict=True))
            fixed = ((place, value.value) for place, value in left.items() if isinstance(value, Const))
            if moved <= left.keys() and all(following[place] == value or place in self._settled for place, value in fixed):
                yield number

    def _stay_idle(self, states: Sequence[State], place: int) -> int:
        """Record how many ticks follow on which nothing happens; return their number.

        What that leads to is calculated here, and an engine's states must be those.
        """
        before, after = states[place - 1], states[place]
        last = self.steps[-1]
        if last.by.kind is not StepKind.WAIT or last.changes or last.acted:
            return 0
        moving = [variable for variable, (one, other) in enumerate(zip(before, after, strict=True)) if one != other]
        expected = list(after)
        ticks = 0
        for following in states[place + 1 : place + 1 + idle_ticks(self.model, before, after)]:
            for variable in moving:
                expected[variable] += 1
            if list(following) != expected:
                break
            ticks += 1
        if ticks:
            self.steps[-1] = replace(last, ticks=last.ticks + ticks)
            self.now_ticks += ticks
        return ticks

    def _attempt(self, state: State, number: int | None) -> tuple[State, Failure | None]:
        acted: list[str] = []
        outcome = self._outcome(state, number, acted)
        if outcome is None:
            raise Disagreement(f"step {number} is not possible in {state}")
        if not isinstance(outcome, tuple):
            self._note(state, number, [], ())
            return state, outcome
        self._note(outcome, number, acted, changes(self._visible(state), self._visible(outcome)))
        return outcome, None

    def _outcome(self, state: State, number: int | None, acted: list[str]) -> State | Failure | None:
        known = self.memory.get((state, number))
        if known is None:
            known = self.memory[state, number] = self._attempted(state, number)
        acted += known[1]
        return known[0]

    def _attempted(self, state: State, number: int | None) -> tuple[State | Failure | None, list[str]]:
        acted: list[str] = []

        def watch(reactions: list[str], _values: State) -> None:
            acted.extend(name for name in reactions if name not in acted)

        try:
            if number is None:
                return semantics.tick(self.model, state, watch), acted
            step = self.model.steps[number]
            possible = semantics.possible(self.model, step, state)
            return semantics.take(self.model, step, state, watch) if possible else None, acted
        except semantics.Failed as failed:
            return failed.failure, acted

    def _note(self, after: State, number: int | None, acted: list[str], changed: Values) -> None:
        """Record a step, or a tick, that leads to *after* (a step that fails: the state it is attempted in)."""
        if number is None:
            self._wait(after, acted, changed)
            return
        step = self.model.steps[number]
        by = By(kind=step.kind, name=step.name, to=step.to)
        written = [self.model.variables[target].name for assign in step.program for target in assign.targets]
        guards = tuple(guard.name or guard.text for guard in step.guards)
        self._add(RunStep(by=by, changes=changed, acted=tuple(acted)), after, guards, tuple(written))

    def _add(self, step: RunStep, after: State, guards: tuple[str, ...] = (), writes: tuple[str, ...] = ()) -> None:
        at = self.now_ticks
        self.steps.append(step)
        self.accounts.append(StepAccount(guards=guards, writes=writes, really=really(self.model, after), at_ticks=at))

    def _wait(self, after: State, acted: list[str], changed: Values) -> None:
        """Add a tick, joined to the wait before it unless something happened at that wait's end."""
        ticks = 1
        last = self.steps[-1] if self.steps else None
        if last is not None and last.by.kind is StepKind.WAIT and not last.changes and not last.acted:
            ticks += self.steps.pop().ticks
            self.now_ticks = self.accounts.pop().at_ticks
        self._add(RunStep(by=By(kind=StepKind.WAIT), ticks=ticks, changes=changed, acted=tuple(acted)), after)
        self.now_ticks += ticks


def written_while_settling(model: Model) -> frozenset[int]:
    """Return the variables that may be written while a state settles, or by a tick."""
    programs = [*(reaction.program for reaction in model.reactions), *(observer.program for observer in model.observers)]
    written = {target for program in programs for assign in program for target in assign.targets}
    written |= {timer.variable for timer in model.timers} | {clock.variable for clock in model.clocks}
    return frozenset(written)


class Records(Struct):
    """The runs of the traces of one model, each recorded once.

    *then* is told of each run that is recorded before the answer is there.
    """

    model: Model
    then: Callable[[Run], None] | None = None
    _known: dict[Trace, tuple[Run, tuple[StepAccount, ...]]] = field(default_factory=dict)

    def of(self, trace: Trace) -> tuple[Run, tuple[StepAccount, ...]]:
        """Return the run of a trace, with what stands behind each step. Raises `Disagreement`."""
        if trace not in self._known:
            self._known[trace] = record(self.model, trace)
        return self._known[trace]

    def ahead(self, trace: Trace) -> None:
        """Record a trace that an engine will answer with; if it is no run, that is found when it has answered."""
        with suppress(Disagreement):
            run, _ = self.of(trace)
            if self.then is not None:
                self.then(run)


def record(model: Model, trace: Trace, memory: Memory | None = None) -> tuple[Run, tuple[StepAccount, ...]]:
    """Return the run of a trace, with what stands behind each step. Raises `Disagreement`.

    *memory* is filled with what came of each step tried; traces of the same model that have much in common can share it.
    """
    return Recorder(model, memory={} if memory is None else memory).record(trace)
