"""A machine that can be stepped: says what may be done, does it, lets time pass, takes it back, keeps the run."""

from collections.abc import Callable, Collection, Mapping

from msgspec import Struct

from seqcheck.check.machine import Condition, Hazard, Machine
from seqcheck.check.typed import Value
from seqcheck.model.run import By, Failure, Run, RunStep, StepKind, Values
from seqcheck.simulate.acting import Actors
from seqcheck.simulate.deadlines import Breach, Deadline, Deadlines, Followed
from seqcheck.simulate.errors import NoValueError, SetupError, StepFailsError
from seqcheck.simulate.evaluate import evaluate
from seqcheck.simulate.idling import idle_away, idle_ticks, is_ever_idle
from seqcheck.simulate.settle import let_a_tick_pass, settle, what_must_happen_first
from seqcheck.simulate.situation import Situation, Snapshot, in_order
from seqcheck.simulate.timeline import WAIT, differences, with_step

NO_START = "the machine does not come through its start"


class Choice(Struct, frozen=True, kw_only=True):
    """A step that the file knows. *failure*: its guard has no value here, so that trying it is what fails."""

    by: By
    possible: bool
    refused_by: tuple[str, ...] = ()
    failure: Failure | None = None


class Outcome(Struct, frozen=True, kw_only=True):
    """What came of a step or of waiting.

    *refused_by*: why nothing (of a wait: no more) happened; of a command, the permissives that failed. *steps*: what is
    now in the run that was not, a stretch of waiting for each moment at which something happened.
    """

    changes: Values = ()
    acted: tuple[str, ...] = ()
    refused_by: tuple[str, ...] = ()
    failure: Failure | None = None
    ticks: int = 0
    steps: tuple[RunStep, ...] = ()


class _Moment(Struct, frozen=True, kw_only=True):
    """Where `undo` goes back to."""

    snapshot: Snapshot
    followed: Followed
    elapsed_ticks: int
    steps: tuple[RunStep, ...]


class Simulator:
    """Runs one machine from one start. *faults* may be made to occur; None: all of the file.

    Raise `SetupError` if *faults* or *start* name what the file does not have. A start that fails is no error: see
    `failure`; nothing can be done from there.
    """

    def __init__(
        self, machine: Machine, *, faults: Collection[str] | None = None, start: Mapping[str, Value] | None = None
    ) -> None:
        self._machine = machine
        self._faults = _studied(machine, faults)
        self._start = _start_values(machine, start or {})
        self._situation = Situation(machine, self._start)
        self._actors = Actors(machine, frozenset(self._faults))
        self._deadlines = Deadlines(machine)
        self._followed = self._deadlines.begin()
        self._may_idle = is_ever_idle(machine, self._deadlines.conditions())
        self._elapsed_ticks = 0
        self._steps: tuple[RunStep, ...] = ()
        self._past: list[_Moment] = []
        before = self._situation.snapshot()
        self.failure: Failure | None = None
        self.acted_at_start: tuple[str, ...] = ()
        try:
            self.acted_at_start = settle(machine, self._situation)
            self._note()
        except StepFailsError as error:
            self.failure = error.failure
            self._situation.put_back(before)

    # --- looking ---
    def state(self) -> Values:
        """Return variables, sensors and timers, in the order of `Run.end`.

        A sensor that has no value in this state is left out.
        """
        elapsed = [(f"{timer.name}.ET", self._situation.timer_elapsed(timer.name)) for timer in self._machine.timers]
        return (*self._situation.shown(), *elapsed)

    def value(self, name: str) -> Value:
        """Return one value of `state()`; raise `KeyError` if there is none."""
        return dict(self.state())[name]

    @property
    def elapsed_ticks(self) -> int:
        """Ticks since the start."""
        return self._elapsed_ticks

    @property
    def occurred(self) -> tuple[str, ...]:
        """The faults that have occurred, in file order."""
        return self._situation.occurred

    @property
    def power_lost(self) -> bool:
        """Whether the controller and its outputs are without power now."""
        return self._situation.power_lost

    @property
    def faults(self) -> tuple[str, ...]:
        """The faults that may be made to occur, in file order."""
        return self._faults

    def holds(self, condition: Condition) -> bool:
        """Tell whether a condition is true now; raise `NoValueError` if it divides by zero or the like."""
        return bool(evaluate(condition.expression, self._situation))

    def hazards(self) -> tuple[Hazard, ...]:
        """Return the hazards that hold now; see `unjudged` for those that can't be told."""
        return tuple(hazard for hazard in self._machine.hazards if self._judge(hazard) is True)

    def unjudged(self) -> tuple[tuple[Hazard, str], ...]:
        """Return the hazards whose condition has no value now, each with the reason."""
        judged = [(hazard, self._judge(hazard)) for hazard in self._machine.hazards]
        return tuple((hazard, verdict) for hazard, verdict in judged if isinstance(verdict, str))

    def breaches(self) -> tuple[Breach, ...]:
        """Return the requirements on time and order that this run has been late for, or violates now, or that can't be told."""
        return self._deadlines.breaches(self._followed)

    def deadlines(self) -> tuple[Deadline, ...]:
        """Return the deadlines that run."""
        return self._deadlines.running(self._followed, self._elapsed_ticks)

    def choices(self) -> tuple[Choice, ...]:
        """Return every step there is, in file order, and waiting for a tick last."""
        if self.failure is not None:
            return ()
        return tuple(self._choice(by) for by in (*self._actors.everyone(self._situation), WAIT))

    # --- doing ---
    def take(self, by: By) -> Outcome:
        """Take one step. Refused or failed, everything is left as it was."""
        if by.kind is StepKind.WAIT:
            return self.wait(1)
        choice = self._choice(by)
        if not choice.possible:
            return Outcome(refused_by=choice.refused_by)
        if choice.failure is not None:
            return Outcome(failure=choice.failure)
        moment = self._moment()
        outcome = self._attempt(by, 0, lambda: self._actors.perform(self._situation, by))
        if outcome.failure is None:
            self._past.append(moment)
        return outcome

    def wait(self, ticks: int) -> Outcome:
        """Let time pass, tick by tick; stop early where it can't, with the reason."""
        moment, shown = self._moment(), self._situation.shown()
        passed = 0
        acted: dict[str, None] = {}
        stopped = Outcome()
        while passed < ticks:
            before = self._situation.snapshot()
            stopped = self._tick()
            if stopped.refused_by or stopped.failure:
                break
            passed += 1
            acted.update(dict.fromkeys(stopped.acted))
            if stopped.acted or stopped.changes:
                continue
            if self._situation.snapshot() == before:
                self._record(RunStep(by=WAIT, ticks=ticks - passed))
                passed = ticks
            elif self._may_idle:
                passed += self._idle(before, ticks - passed)
        if passed:
            self._past.append(moment)
        return Outcome(
            changes=differences(shown, self._situation.shown()),
            acted=tuple(acted),
            refused_by=stopped.refused_by,
            failure=stopped.failure,
            ticks=passed,
            steps=self._since(moment),
        )

    def _idle(self, before: Snapshot, most: int) -> int:
        """Let ticks pass on which nothing but what the last one did happens, *most* at most; return how many."""
        ticks = min(most, idle_ticks(self._machine, self._situation, before))
        if ticks:
            idle_away(self._machine, self._situation, before, ticks)
            self._record(RunStep(by=WAIT, ticks=ticks))
        return ticks

    def undo(self) -> bool:
        """Go back to before the last step, or the last wait; tell whether there was one."""
        if not self._past:
            return False
        moment = self._past.pop()
        self._situation.put_back(moment.snapshot)
        self._followed = moment.followed
        self._elapsed_ticks, self._steps = moment.elapsed_ticks, moment.steps
        return True

    def timeline(self) -> Run:
        """Return the run so far."""
        start = tuple((variable.name, self._start[variable.name]) for variable in in_order(self._machine))
        return Run(start=start, steps=self._steps, end=self.state(), faults=self._faults, failure=self.failure)

    # --- within ---
    def _choice(self, by: By) -> Choice:
        if self.failure is not None:
            return Choice(by=by, possible=False, refused_by=(NO_START,))
        try:
            reasons = self._objections(by)
        except StepFailsError as error:
            return Choice(by=by, possible=True, failure=error.failure)
        return Choice(by=by, possible=not reasons, refused_by=reasons)

    def _objections(self, by: By) -> tuple[str, ...]:
        if by.kind is not StepKind.WAIT:
            return self._actors.objections(self._situation, by)
        return tuple(f"{rule.name} must happen first" for rule in what_must_happen_first(self._situation))

    def _tick(self) -> Outcome:
        choice = self._choice(WAIT)
        if not choice.possible:
            return Outcome(refused_by=choice.refused_by)
        return self._attempt(WAIT, 1, lambda: let_a_tick_pass(self._machine, self._situation))

    def _attempt(self, by: By, ticks: int, act: Callable[[], Collection[str] | None]) -> Outcome:
        """Act, settle and record; on failure go back. *act* may return the timers that count a tick."""
        snapshot, shown = self._situation.snapshot(), self._situation.shown()
        try:
            counting = act() or ()
            acted = settle(self._machine, self._situation, counting=counting)
        except StepFailsError as error:
            self._situation.put_back(snapshot)
            return Outcome(failure=error.failure)
        step = RunStep(by=by, ticks=ticks, changes=differences(shown, self._situation.shown()), acted=acted)
        self._record(step)
        return Outcome(changes=step.changes, acted=acted, ticks=ticks, steps=(step,))

    def _record(self, step: RunStep) -> None:
        if step.ticks or step.by.kind is not StepKind.WAIT:
            self._steps = with_step(self._steps, step)
            self._elapsed_ticks += step.ticks
        self._note()

    def _note(self) -> None:
        """Let deadlines see the state that has been entered."""
        self._followed = self._deadlines.note(self._followed, self._elapsed_ticks, self.holds)

    def _moment(self) -> _Moment:
        return _Moment(
            snapshot=self._situation.snapshot(),
            followed=self._followed,
            elapsed_ticks=self._elapsed_ticks,
            steps=self._steps,
        )

    def _since(self, moment: _Moment) -> tuple[RunStep, ...]:
        """Return the run's steps since a moment; of a stretch of waiting that was made longer, only the new part."""
        old = moment.steps
        if not old or self._steps[: len(old)] == old:
            return self._steps[len(old) :]
        longer, *rest = self._steps[len(old) - 1 :]
        part = RunStep(by=WAIT, ticks=longer.ticks - old[-1].ticks, changes=longer.changes, acted=longer.acted)
        return (part, *rest)

    def _judge(self, hazard: Hazard) -> bool | str:
        """Tell whether a hazard holds now, or why that can't be told."""
        try:
            return self.holds(hazard.condition)
        except NoValueError as error:
            return error.problem


def _studied(machine: Machine, faults: Collection[str] | None) -> tuple[str, ...]:
    names = tuple(fault.name for fault in machine.faults)
    if faults is None:
        return names
    for name in faults:
        if name not in names:
            raise SetupError(name, f"the file has no fault named {name}")
    return tuple(name for name in names if name in faults)


def _start_values(machine: Machine, chosen: Mapping[str, Value]) -> dict[str, Value]:
    starts = {variable.name: variable.starts for variable in machine.variables}
    for name, value in chosen.items():
        if name not in starts:
            raise SetupError(name, f"the file has no part, panel item, output or memory named {name}")
        if not any(value == possible and isinstance(value, type(possible)) for possible in starts[name]):
            listed = ", ".join(str(possible) for possible in starts[name])
            raise SetupError(name, f"{name} can't start as {value}; it starts as one of: {listed}")
    return {name: chosen.get(name, values[0]) for name, values in starts.items()}
