"""Puts what happened into run steps. Quiet waiting is merged; a stretch of it ends where something happens."""

from seqcheck.model.run import By, RunStep, StepKind, Values

WAIT = By(kind=StepKind.WAIT)


def with_step(steps: tuple[RunStep, ...], step: RunStep) -> tuple[RunStep, ...]:
    """Return the steps with one more at the end, or with the last stretch of waiting made longer."""
    if steps and step.by.kind is StepKind.WAIT and _is_quiet_wait(steps[-1]):
        longer = RunStep(by=WAIT, ticks=steps[-1].ticks + step.ticks, changes=step.changes, acted=step.acted)
        return (*steps[:-1], longer)
    return (*steps, step)


def differences(before: Values, after: Values) -> Values:
    """Return what is new or different in *after*, in its order."""
    old = dict(before)
    return tuple((name, value) for name, value in after if name not in old or old[name] != value)


def _is_quiet_wait(step: RunStep) -> bool:
    return step.by.kind is StepKind.WAIT and not step.changes and not step.acted
