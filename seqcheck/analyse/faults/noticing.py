"""Finds out whether a stuck signal is noticed: a monitor in the model turns that into whether a command can be accepted.

The next *demand* is the first settled state after the fault in which the true value (of an output, the commanded one) and the
stuck one differ. The fault is *unnoticed* if in some run it occurs, no trip changes anything from its own settling up to and
including the settling that leads to the demand, and later a *start* is accepted: a command whose `then` sets an output to a
state other than its start state.
"""

from enum import Enum

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.faults.asking import Answer, Question, exploration
from seqcheck.analyse.judge import Judge
from seqcheck.analyse.verdict import Result, Verdict
from seqcheck.model.expression import FALLIBLE, Apply, Const, Expression, Load, Op, Sense, negation, walk
from seqcheck.model.model import (
    Assign,
    Forbid,
    Guard,
    Hazard,
    Model,
    Observer,
    Property,
    Reaction,
    Step,
    Variable,
    VariableKind,
)
from seqcheck.model.run import StepKind

DEMAND = "demand"
NOTICE = ""
"""Stands first in what a question about notice is about; no fault has this name."""


class Notice(Enum):
    """What became of a stuck signal."""

    NOTICED = "noticed"
    UNNOTICED = "not noticed"
    NEVER_DEMANDED = "never demanded"
    UNKNOWN = "not known"


class Noticed(Struct, frozen=True, kw_only=True):
    """Whether a stuck fault is noticed; *result* has a run in which it is not. *reason* says why it is not known."""

    fault: str
    notice: Notice
    result: Result | None = None
    reason: str = ""


class Stuck(Struct, frozen=True, kw_only=True):
    """A stuck fault of a model: its flag, the value as it would be, and the value at which it sticks."""

    flag: int
    true: Expression
    stuck: int


def stuck_in(model: Model) -> Stuck | None:
    """Return the stuck fault of a model with one fault under study; None if that sticks no signal."""
    for sensor in model.sensors:
        for flag, value in sensor.stuck:
            return Stuck(flag=flag, true=sensor.value, stuck=value)
    for place, does in model.actual:
        match does:
            case Apply(op=Op.SEL, operands=(Load(variable=flag), Load(), Const(value=value))) if flag in model.fault_variables:
                return Stuck(flag=flag, true=Load(place), stuck=value)
    return None


def starts(model: Model) -> tuple[int, ...]:
    """Return the numbers of the commands that start something: that may set an output to another state than its start state."""
    return tuple(number for number, step in enumerate(model.steps) if step.kind is StepKind.COMMAND and _starts(model, step))


def _starts(model: Model, step: Step) -> bool:
    for assign in step.program:
        for target, value in zip(assign.targets, assign.values, strict=True):
            variable = model.variables[target]
            always_idle = isinstance(value, Const) and value.value in variable.starts
            if variable.kind is VariableKind.OUTPUT and not always_idle:
                return True
    return False


def has_no_value_somewhere(model: Model, expression: Expression) -> bool:
    """Tell whether an expression, through sensors too, may divide by zero or the like."""
    for part in walk(expression):
        if isinstance(part, Apply) and part.op in FALLIBLE:
            return True
        if isinstance(part, Sense) and has_no_value_somewhere(model, model.sensors[part.sensor].value):
            return True
    return False


def monitored(model: Model, stuck: Stuck) -> Model:
    """Return a model that notes whether a trip changed something since the fault, and whether it was demanded before that."""
    acted, demanded = len(model.variables), len(model.variables) + 1
    (fault,) = model.faults
    since = Apply(Op.AND, (Load(stuck.flag), negation(Load(demanded))))
    differs = Apply(Op.UNEQUAL, (stuck.true, Const(stuck.stuck)))
    meets = Apply(Op.AND, (Load(stuck.flag), negation(Load(acted)), differs))
    noted = Assign(targets=(demanded,), values=(Apply(Op.OR, (Load(demanded), meets)),), bounded=True)
    demand = _guard(Apply(Op.AND, (Load(stuck.flag), differs)), f"{fault} matters")
    unnoticed = _guard(Load(demanded), f"{fault} has mattered and no trip has acted before")
    return replace(
        model,
        variables=(*model.variables, _bit(f"a trip acted after {fault}"), _bit(f"{fault} was demanded")),
        reactions=tuple(_noting(reaction, acted, since) if reaction.is_trip else reaction for reaction in model.reactions),
        observers=(*model.observers, Observer(rule=f"notice of {fault}", program=(noted,))),
        properties=(
            _property(DEMAND, Hazard(must_not_be=demand)),
            *(_property(model.steps[n].name, Forbid(step=n, during=unnoticed)) for n in starts(model)),
        ),
    )


def _noting(trip: Reaction, acted: int, since: Expression) -> Reaction:
    """Return a trip that notes where it changes something."""
    return replace(trip, program=tuple(_with_note(assign, acted, since) for assign in trip.program))


def _with_note(assign: Assign, acted: int, since: Expression) -> Assign:
    changed = [Apply(Op.UNEQUAL, (value, Load(target))) for target, value in zip(assign.targets, assign.values, strict=True)]
    anything = changed[0] if len(changed) == 1 else Apply(Op.OR, tuple(changed))
    note = Apply(Op.OR, (Load(acted), Apply(Op.AND, (since, anything))))
    return replace(assign, targets=(*assign.targets, acted), values=(*assign.values, note))


def _bit(name: str) -> Variable:
    return Variable(name=name, kind=VariableKind.OBSERVER, lowest=0, highest=1, labels=(), starts=(0,), line=1)


def _guard(test: Expression, text: str) -> Guard:
    return Guard(name="", test=test, text=text)


def _property(id_: str, rule: Hazard | Forbid) -> Property:
    return Property(id=id_, text="", rule=rule, risk="", source="", line=1)


def question(model: Model) -> Question | Noticed | None:
    """Ask about the fault of a model; what can be said without a search is said at once. None: it sticks no signal."""
    stuck = stuck_in(model)
    if stuck is None:
        return None
    if has_no_value_somewhere(model, stuck.true):
        reason = "what it should read can have no value, so that no demand can be told"
        return Noticed(fault=model.faults[0], notice=Notice.UNKNOWN, reason=reason)
    return Question(study=(NOTICE, *model.faults), model=monitored(model, stuck))


def told(asked: Question, answer: Answer) -> Noticed:
    """Return what an answer says of the fault asked about. Raises `Disagreement`."""
    (fault,) = asked.model.faults
    results = {result.id: result for result in Judge(asked.model, exploration(asked.model, answer.search)).results()}
    violated = [results[p.id] for p in asked.model.properties if results[p.id].verdict is Verdict.VIOLATED]
    unnoticed = [result for result in violated if result.id != DEMAND]
    if unnoticed:
        shortest = min(unnoticed, key=lambda r: (r.run.step_count, r.run.tick_count) if r.run is not None else (0, 0))
        shown = replace(shortest, id=f"not noticed: {fault}", text=f"“{shortest.id}” is still accepted")
        return Noticed(fault=fault, notice=Notice.UNNOTICED, result=shown)
    if answer.stopped is not None:
        return Noticed(fault=fault, notice=Notice.UNKNOWN, reason=f"the search ended at {answer.stopped.value}")
    if answer.search.failures:
        return Noticed(
            fault=fault, notice=Notice.UNKNOWN, reason="a step fails with this fault, and nothing beyond was searched"
        )
    return Noticed(fault=fault, notice=Notice.NOTICED if violated else Notice.NEVER_DEMANDED)
