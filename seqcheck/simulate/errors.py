"""What the simulator raises. `StepFailsError` never leaves this package; the others may."""

from seqcheck.model.run import Failure


class SimulateError(Exception):
    """Anything that the simulator raises on purpose."""


class SetupError(SimulateError):
    """A simulator is asked to start from values, or with faults, that the file does not have."""

    def __init__(self, name: str, problem: str) -> None:
        super().__init__(problem)
        self.name = name
        self.problem = problem


class RecordingError(SimulateError):
    """A file is no recorded run of this machine."""

    def __init__(self, problem: str) -> None:
        super().__init__(problem)
        self.problem = problem


class NoValueError(SimulateError):
    """An expression has no value in a state: it divides by zero or the like."""

    def __init__(self, problem: str) -> None:
        super().__init__(problem)
        self.problem = problem


class StepFailsError(SimulateError):
    """A step can't be completed; the simulator turns this into an outcome."""

    def __init__(self, failure: Failure) -> None:
        super().__init__(str(failure))
        self.failure = failure
