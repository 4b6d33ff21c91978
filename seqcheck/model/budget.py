"""Limits how many faults may occur in one run: turns a model with many faults under study into one for all small sets."""

from msgspec.structs import replace

from seqcheck.model.expression import Apply, Const, Load, Op, conjunction
from seqcheck.model.model import Assign, Model, Step, Variable, VariableKind
from seqcheck.model.run import StepKind

COUNT = "faults that have occurred"


def within_budget(model: Model, most: int) -> Model:
    """Return the model in which at most so many of its faults occur in a run; a last variable counts them.

    What it says of `reachable`, which is about states after *all* faults of the model, is not about its sets of faults.
    """
    place = len(model.variables)
    count = Variable(name=COUNT, kind=VariableKind.BUDGET, lowest=0, highest=most, labels=(), starts=(0,), line=1)
    steps = tuple(_counted(step, place, most) if step.kind is StepKind.FAULT else step for step in model.steps)
    return replace(model, variables=(*model.variables, count), steps=steps)


def _counted(step: Step, place: int, most: int) -> Step:
    """Return a fault's step that needs to be within the budget, and counts."""
    ready = conjunction(step.ready, Apply(Op.LESS, (Load(place), Const(most))))
    one_more = Assign(targets=(place,), values=(Apply(Op.PLUS, (Load(place), Const(1))),), bounded=True)
    return replace(step, ready=ready, program=(*step.program, one_more))
