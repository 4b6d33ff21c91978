"""Plays a recorded run strictly and says where it disagrees with the simulator, and what its end violates.

It judges no hazards; of requirements, those on time and order.
"""

from msgspec import Struct

from seqcheck.check.machine import Machine
from seqcheck.model.run import Beyond, Endless, Failure, Run, RunStep, StepKind, Values
from seqcheck.simulate.errors import SetupError
from seqcheck.simulate.simulator import Outcome, Simulator


class Disagreement(Struct, frozen=True, kw_only=True):
    """Where a run and the simulator part. *step* counts the run's entries, waits too, from 1; 0 is the start."""

    step: int
    about: str
    expected: str
    came: str

    def __str__(self) -> str:
        """One sentence."""
        return f"entry {self.step} of the run, {self.about}: the run says {self.expected}, the simulator {self.came}"


class Replay(Struct, frozen=True, kw_only=True):
    """What came of a replay. *violated*: the ids of the requirements on time and order that a run which agrees violates."""

    disagreement: Disagreement | None = None
    violated: tuple[str, ...] = ()

    @property
    def agrees(self) -> bool:
        """Whether the run is as the simulator has it."""
        return self.disagreement is None


def replay(machine: Machine, run: Run) -> Replay:
    """Play *run* from its start and report the first disagreement.

    Compared are: whether each step is possible, what it changes, which trips acted, the end, and the failure (its rule
    and variable, not its wording). Waiting may be cut finer than it need be, but nothing may happen within a stretch.
    """
    try:
        simulator = Simulator(machine, faults=run.faults, start=dict(run.start))
    except SetupError as error:
        return _differs(0, "start", _listed(run.start), error.problem)
    if simulator.failure is not None or not run.steps:
        return _compare_start(simulator, run)
    for number, step in enumerate(run.steps, start=1):
        fails = run.failure if number == len(run.steps) else None
        found = _compare_failing(simulator, number, step, fails) if fails else _compare_step(simulator, number, step)
        if found is not None:
            return Replay(disagreement=found)
    return _compare_end(simulator, run)


def _compare_start(simulator: Simulator, run: Run) -> Replay:
    """Compare a run that ends where it starts."""
    if run.steps or not _same_failure(run.failure, simulator.failure):
        return _differs(0, "failure", _failure(run.failure), _failure(simulator.failure))
    return _compare_end(simulator, run) if run.failure is None else Replay()


def _compare_step(simulator: Simulator, number: int, step: RunStep) -> Disagreement | None:
    outcome = _play(simulator, step)
    if outcome.failure is not None:
        return _differing(number, "failure", "no failure", _failure(outcome.failure))
    if outcome.refused_by:
        return _differing(number, "possibility", "possible", f"refused: {'; '.join(outcome.refused_by)}")
    if len(outcome.steps) > 1:
        first = outcome.steps[0]
        came = f"something happens after {first.ticks}: {_listed(first.changes)} {_names(first.acted)}".rstrip()
        return _differing(number, "changes", f"{step.ticks} ticks in which nothing happens before the last", came)
    return _compare_result(number, step, outcome)


def _compare_result(number: int, step: RunStep, outcome: Outcome) -> Disagreement | None:
    if dict(outcome.changes) != dict(step.changes):
        return _differing(number, "changes", _listed(step.changes), _listed(outcome.changes))
    if outcome.acted != step.acted:
        return _differing(number, "acted", _names(step.acted), _names(outcome.acted))
    return None


def _compare_failing(simulator: Simulator, number: int, step: RunStep, fails: Failure) -> Disagreement | None:
    """Compare the last step of a run that ends in a failure; a wait fails in its last tick."""
    if step.ticks > 1:
        quiet = RunStep(by=step.by, ticks=step.ticks - 1)
        found = _compare_step(simulator, number, quiet)
        if found is not None:
            return found
    outcome = simulator.take(step.by)
    if outcome.refused_by:
        return _differing(number, "possibility", "possible", f"refused: {'; '.join(outcome.refused_by)}")
    if not _same_failure(fails, outcome.failure):
        return _differing(number, "failure", _failure(fails), _failure(outcome.failure))
    return None


def _compare_end(simulator: Simulator, run: Run) -> Replay:
    expected, came = dict(run.end), dict(simulator.state())
    for name in (*expected, *came):
        if name not in expected or name not in came or expected[name] != came[name]:
            told, found = expected.get(name, "nothing"), came.get(name, "nothing")
            return _differs(len(run.steps), "end state", f"{name} = {told}", f"{name} = {found}")
    return Replay(violated=tuple(breach.requirement.id for breach in simulator.breaches() if not breach.problem))


def _play(simulator: Simulator, step: RunStep) -> Outcome:
    if step.by.kind is not StepKind.WAIT:
        return simulator.take(step.by)
    if step.ticks < 1:
        return Outcome(refused_by=("a wait lasts a tick or more",))
    return simulator.wait(step.ticks)


def _same_failure(expected: Failure | None, came: Failure | None) -> bool:
    if isinstance(expected, Beyond) and isinstance(came, Beyond):
        return (expected.rule, expected.variable) == (came.rule, came.variable)
    return expected == came


def _differs(step: int, about: str, expected: str, came: str) -> Replay:
    return Replay(disagreement=_differing(step, about, expected, came))


def _differing(step: int, about: str, expected: str, came: str) -> Disagreement:
    return Disagreement(step=step, about=about, expected=expected, came=came)


def _listed(values: Values) -> str:
    return ", ".join(f"{name} = {value}" for name, value in values) or "no change"


def _names(names: tuple[str, ...]) -> str:
    return ", ".join(names) or "nothing acted"


def _failure(failure: Failure | None) -> str:
    match failure:
        case None:
            return "no failure"
        case Endless(names=names):
            return f"settling that never ends: {', '.join(names)}"
        case Beyond(rule=rule, problem=problem):
            return f"{rule}: {problem}"
