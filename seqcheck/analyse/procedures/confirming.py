"""Checks with the plain definition that a way leads to what it is said to show."""

from seqcheck.analyse.judge import is_true
from seqcheck.analyse.procedures.recording import Taken, take
from seqcheck.analyse.procedures.records import Class, Outcome, Refusal
from seqcheck.analyse.record import Disagreement, Memory
from seqcheck.model.model import Model, Procedure, State, Until, condition_of


def confirmed(model: Model, procedure: Procedure, outcome: Outcome, memory: Memory | None = None) -> Taken | None:
    """Take the way of an outcome; None if it has none. Raises `Disagreement` if it does not show what it is said to."""
    if outcome.way is None:
        return None
    taken = take(model, outcome.way, memory)
    if not shows(model, procedure, outcome, taken):
        raise Disagreement(f"the run of “{procedure.name}” does not show what it is said to: {outcome}")
    return taken


def shows(model: Model, procedure: Procedure, outcome: Outcome, taken: Taken) -> bool:
    """Tell whether a way ends in what it is said to show."""
    match outcome.met:
        case Class.HAZARD:
            return is_true(model, condition_of(model.properties[outcome.hazard or 0].rule).test, taken.end)
        case Class.FAILS:
            return (taken.run.failure is not None) == (
                outcome.way is not None and (outcome.way.fails or outcome.way.start_fails)
            )
        case Class.REFUSED:
            return outcome.refusal is not None and refused(model, outcome.refusal, taken.end)
        case Class.LOST | Class.STUCK:
            return outcome.place is None or _is_stuck(model, procedure, outcome.place, taken)
        case Class.WAY_OUT:
            return _ends_well(model, procedure, taken.end)
        case Class.WELL | Class.NO_EFFECT:
            return _ends_well(model, procedure, taken.end)
        case _:
            return True


def refused(model: Model, refusal: Refusal, state: State) -> bool:
    """Tell whether a step is refused in a state by exactly the guards that are said to refuse it."""
    step = model.steps[refusal.step]
    false = tuple(place for place, guard in enumerate(step.guards) if not is_true(model, guard.test, state))
    return false == refusal.guards and bool(false)


def _is_stuck(model: Model, procedure: Procedure, place: int, taken: Taken) -> bool:
    """Tell whether a run ends at a step that waits and may go on waiting, round to where it was, or at a bad end."""
    if place == len(procedure.steps):
        return not _ends_well(model, procedure, taken.end)
    step = procedure.steps[place]
    waits = not isinstance(step, Until) or not is_true(model, step.end.test, taken.end)
    return waits and taken.stuck in {None, taken.end}


def _ends_well(model: Model, procedure: Procedure, state: State) -> bool:
    return procedure.ends_with is None or is_true(model, procedure.ends_with.test, state)
