"""What a verification watches for besides the verdicts: things that are never true in any reachable state.

Each `Watch` is an expression with the finding to report if no reachable state has it.
"""

from collections.abc import Iterator

from msgspec import Struct

from seqcheck.analyse.verdict import Finding
from seqcheck.model.expression import Apply, Expression, Op, conjunction, negation
from seqcheck.model.model import Elsewhere, Forbid, Hazard, Model, Only, Property, Step
from seqcheck.model.run import StepKind
from seqcheck.model.wording import wording

NEVER_DONE = {
    StepKind.COMMAND: ("never_accepted", "the command “{}” is never accepted"),
    StepKind.PERSON: ("never_happens", "nobody can ever do “{}”"),
    StepKind.PLANT: ("never_happens", "the plant rule “{}” never happens"),
    StepKind.FAULT: ("never_happens", "the fault “{}” never occurs"),
}


class Watch(Struct, frozen=True, kw_only=True):
    """An expression, and what to report if it is never true; *step* is the place of the step that it is about."""

    test: Expression
    finding: Finding
    step: int | None = None


def watches(model: Model) -> tuple[Watch, ...]:
    """Return all that is watched for in a model."""
    return (*_conditions(model), *_steps(model))


def _conditions(model: Model) -> Iterator[Watch]:
    for p in model.properties:
        match p.rule:
            case Hazard():
                for part in needed_parts(p.rule.must_not_be.test):
                    yield _empty(p, part, f"“{wording(model, part)}” in its condition")
            case Only():
                yield _empty(p, p.rule.makes.test, f"“{p.rule.makes.text}”")
            case Forbid():
                yield _empty(p, p.rule.during.test, f"“{p.rule.during.text}”")
            case Elsewhere():
                yield _empty(p, p.rule.when.test, f"“{p.rule.when.text}”")
            case _:
                continue


def needed_parts(condition: Expression, *, joined: bool = False) -> Iterator[Expression]:
    """Yield the parts of a condition that a conjunction needs; an alternative that stands alone may well never be true."""
    if isinstance(condition, Apply) and condition.op in {Op.AND, Op.OR}:
        for operand in condition.operands:
            yield from needed_parts(operand, joined=joined or condition.op is Op.AND)
    elif joined:
        yield condition


def _empty(p: Property, test: Expression, what: str) -> Watch:
    text = f"{p.id} may hold for an empty reason: {what} is never true"
    return Watch(test=test, finding=Finding(kind="never_true", about=p.id, text=text, line=p.line))


def _steps(model: Model) -> Iterator[Watch]:
    for number, step in enumerate(model.steps):
        if step.kind not in NEVER_DONE:
            continue
        kind, text = NEVER_DONE[step.kind]
        test = conjunction(step.ready, *(guard.test for guard in step.guards))
        finding = Finding(kind=kind, about=step.name, text=text.format(step.name), line=step.line)
        yield Watch(test=test, finding=finding, step=number)
        if step.kind is StepKind.COMMAND:
            yield from _decisive(number, step)


def _decisive(number: int, command: Step) -> Iterator[Watch]:
    """Watch for states in which one permissive alone refuses a command."""
    for place, guard in enumerate(command.guards):
        others = [other.test for n, other in enumerate(command.guards) if n != place]
        text = (
            f"the permissive “{guard.name}” of “{command.name}” never decides anything: "
            "whenever it fails, another permissive fails too"
        )
        if not others:
            text = f"the permissive “{guard.name}” of “{command.name}” never decides anything: it always holds"
        finding = Finding(kind="never_decisive", about=guard.name, text=text, line=guard.line)
        yield Watch(test=conjunction(*others, negation(guard.test)), finding=finding, step=number)
