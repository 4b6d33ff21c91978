"""Turns hazards and requirements of the checked tree into the properties that the analyses judge."""

from typing import assert_never

from seqcheck.check import machine as tree
from seqcheck.compile.lower import Scope
from seqcheck.model import model as m
from seqcheck.model.run import StepKind


def properties(machine: tree.Machine, scope: Scope, steps: tuple[m.Step, ...]) -> tuple[m.Property, ...]:
    """Return hazards, then requirements, each in file order."""
    commands = {step.name: number for number, step in enumerate(steps) if step.kind is StepKind.COMMAND}
    return (
        *(_hazard(hazard, scope) for hazard in machine.hazards),
        *(_requirement(requirement, scope, commands) for requirement in machine.requirements),
    )


def _hazard(hazard: tree.Hazard, scope: Scope) -> m.Property:
    risk = hazard.risk
    return m.Property(
        id=hazard.id,
        text=hazard.text,
        rule=m.Hazard(must_not_be=scope.guard(hazard.condition)),
        risk="" if risk is None else f"{risk.severity} {risk.exposure} {risk.avoidance}",
        source=hazard.source,
        line=hazard.span.line,
    )


def _requirement(requirement: tree.Requirement, scope: Scope, commands: dict[str, int]) -> m.Property:
    rule = _rule(requirement.rule, scope, commands)
    text, source, line = requirement.text, requirement.source, requirement.span.line
    return m.Property(id=requirement.id, text=text, rule=rule, risk="", source=source, line=line)


def _rule(rule: tree.Rule, scope: Scope, commands: dict[str, int]) -> m.Rule:
    match rule:
        case tree.Reachable():
            return m.Reachable(goal=scope.guard(rule.goal))
        case tree.Recoverable():
            return m.Recoverable(goal=scope.guard(rule.goal))
        case tree.Forbid():
            return m.Forbid(step=commands[rule.command], during=scope.guard(rule.during))
        case tree.Only():
            allowed = frozenset(commands[name] for name in rule.commands)
            return m.Only(steps=allowed, makes=scope.guard(rule.makes))
        case tree.Response():
            then, within_ticks = scope.guard(rule.then), rule.within_ticks
            return m.Elsewhere(kind="response", when=scope.guard(rule.when), then=then, within_ticks=within_ticks)
        case tree.Precedence():
            return m.Elsewhere(kind="precedence", when=scope.guard(rule.before))
        case _:
            assert_never(rule)
