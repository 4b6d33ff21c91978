"""Says by the plain definition what fails when a step is attempted, and which failures count as one."""

from typing import TypeAlias

from seqcheck.model import semantics
from seqcheck.model.model import Model, State
from seqcheck.model.run import Beyond, Failure

Cause: TypeAlias = tuple[str | None, ...]
"""What makes two failures one result: the rule and the variable, or the names that chase each other."""


def cause(failure: Failure) -> Cause:
    """Return what a failure is counted under."""
    if isinstance(failure, Beyond):
        return ("range", failure.rule, failure.variable)
    return ("settling", *failure.names)


def failure_of(model: Model, state: State, step: int | None) -> Failure | None:
    """Return what fails if a step (None: a tick) is attempted in a settled state; None if nothing does."""
    try:
        if step is None:
            semantics.tick(model, state)
        elif semantics.possible(model, model.steps[step], state):
            semantics.take(model, model.steps[step], state)
    except semantics.Failed as failed:
        return failed.failure
    return None
