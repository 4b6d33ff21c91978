"""Says in the words of the file what a check is about: states, steps, why something is refused."""

from seqcheck.model import semantics
from seqcheck.model.model import Model, State, Step
from seqcheck.model.run import Beyond, By, Failure, StepKind
from seqcheck.proof.form import Kind, RefusedError

KINDS = {
    StepKind.COMMAND: "the command",
    StepKind.PERSON: "the person's action",
    StepKind.PANEL: "the panel item",
    StepKind.PLANT: "the plant rule",
    StepKind.FAULT: "the fault",
}


def said_state(model: Model, state: State) -> str:
    """Return the values of all variables as the file names them."""
    pairs = zip(model.variables, state, strict=True)
    return ", ".join(f"{variable.name} = {variable.shown(value)}" for variable, value in pairs)


def said_step(step: Step | None) -> str:
    """Name a step; None is a tick."""
    return "a tick" if step is None else said_act(By(kind=step.kind, name=step.name, to=step.to))


def said_act(by: By) -> str:
    """Name what somebody or something does."""
    if by.kind is StepKind.WAIT:
        return "waiting"
    set_to = "" if by.to is None else f" set to {by.to}"
    return f"{KINDS[by.kind]} “{by.name}”{set_to}"


def said_failure(failure: Failure) -> str:
    """Say what fails."""
    if isinstance(failure, Beyond):
        return f"“{failure.rule}”: {failure.problem}"
    return f"settling never ends ({', '.join(failure.names)})"


def failure_of(model: Model, state: State, number: int | None) -> Failure | None:
    """Return by the definition what fails if a step (None: a tick) is attempted in a settled state."""
    outcomes = {n: outcome for n, outcome in semantics.steps(model, state) if n == number}
    outcome = outcomes.get(number)
    return None if outcome is None or isinstance(outcome, tuple) else outcome


class Refuser:
    """Makes the refusals of one case."""

    def __init__(self, model: Model) -> None:
        self._model = model

    def _in(self, state: State) -> str:
        return f"in the state {said_state(self._model, state)}"

    def _named(self, number: int) -> str:
        return said_step(None if number < 0 else self._model.steps[number])

    def start_outside(self, state: State) -> RefusedError:
        """A settled start is not in the set."""
        return RefusedError(f"a settled start is not in the set: {said_state(self._model, state)}")

    def start_fails(self, raw: State, failure: Failure) -> RefusedError:
        """A start does not settle."""
        return RefusedError(f"the start {said_state(self._model, raw)} does not settle: {said_failure(failure)}")

    def leaves(self, state: State, number: int, after: State) -> RefusedError:
        """A step leads out of the set."""
        outside = said_state(self._model, after)
        return RefusedError(f"{self._in(state)}, {self._named(number)} leads to a state that is not in the set: {outside}")

    def fails(self, state: State, number: int) -> RefusedError:
        """A step leaves a range or never settles."""
        failure = failure_of(self._model, state, None if number < 0 else number)
        why = "it fails" if failure is None else said_failure(failure)
        return RefusedError(f"{self._in(state)}, {self._named(number)} fails: {why}")

    def has(self, id_: str, state: State) -> RefusedError:
        """A hazard is in the set."""
        return RefusedError(f"{id_} is not avoided: the set holds the state {said_state(self._model, state)}")

    def breaks(self, id_: str, state: State) -> RefusedError:
        """A violation of a requirement on time or order is in the set."""
        return RefusedError(f"{id_} is violated: the set holds the state {said_state(self._model, state)}")

    def no_value(self, id_: str, state: State) -> RefusedError:
        """A condition has no value."""
        return RefusedError(f"the condition of {id_} has no value {self._in(state)}")

    def accepts(self, id_: str, state: State, number: int) -> RefusedError:
        """A forbidden command is accepted."""
        return RefusedError(f"{id_}: {self._in(state)}, {self._named(number)} is accepted")

    def makes(self, id_: str, state: State, number: int) -> RefusedError:
        """A step that is not allowed to makes a condition true."""
        return RefusedError(
            f"{id_}: {self._in(state)}, {self._named(number)} makes its condition true and is not among those named"
        )

    def no_goal(self, kind: Kind, id_: str, state: State) -> RefusedError:
        """The lowest layer holds a state that is no goal."""
        return RefusedError(f"{kind.value} {id_}: the lowest layer has no goal {self._in(state)}")

    def no_way(self, kind: Kind, id_: str, state: State) -> RefusedError:
        """A state of a layer has no step into a lower one."""
        return RefusedError(f"{kind.value} {id_}: no step that is no fault leads into a lower layer {self._in(state)}")

    def no_layer(self, kind: Kind, id_: str, state: State) -> RefusedError:
        """A state that must be in some layer is in none."""
        return RefusedError(f"{kind.value} {id_}: this state is in no layer: {said_state(self._model, state)}")
