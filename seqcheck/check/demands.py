"""Gives hazards, requirements and procedures their meaning."""

from collections.abc import Mapping

from seqcheck.check.elaborate import Reader
from seqcheck.check.machine import (
    Act,
    Condition,
    Forbid,
    Hazard,
    Only,
    Precedence,
    Procedure,
    ProcedureStep,
    Reachable,
    Recoverable,
    Requirement,
    Response,
    Risk,
    Rule,
    SetPanel,
    Until,
    Wait,
)
from seqcheck.check.meaning import Meanings
from seqcheck.check.scope import Kind, Scope
from seqcheck.check.ticks import Ticks
from seqcheck.check.typed import Value
from seqcheck.check.types import described, value_hint, value_of
from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.diagnostics.wording import quoted
from seqcheck.syntax import document as doc


class Demands:
    """What is asked of one machine. *acts* maps the names of commands and people's actions to whether it is a command."""

    def __init__(self, scope: Scope, meanings: Meanings, ticks: Ticks, acts: Mapping[str, bool], sink: Sink) -> None:
        self._scope = scope
        self._meanings = meanings
        self._ticks = ticks
        self._acts = acts
        self._sink = sink

    def hazard(self, written: doc.Demand) -> Hazard | None:
        """Return the meaning of a hazard."""
        condition = self._condition(written, "must not be")
        if condition is None:
            return None
        return Hazard(
            id=written.id.value,
            text=written.text or condition.text,
            condition=condition,
            risk=None
            if written.risk is None
            else Risk(severity=written.risk[0], exposure=written.risk[1], avoidance=written.risk[2]),
            source=written.source,
            span=written.id.span,
        )

    def requirement(self, written: doc.Demand) -> Requirement | None:
        """Return the meaning of a requirement."""
        conditions = {key: condition for key in written.conditions if (condition := self._condition(written, key)) is not None}
        rule = self._rule(written, conditions)
        if rule is None or len(conditions) < len(written.conditions):
            return None
        return Requirement(
            id=written.id.value,
            text=written.text or self._default_text(written),
            rule=rule,
            source=written.source,
            span=written.id.span,
        )

    def _condition(self, written: doc.Demand, key: str) -> Condition | None:
        return self._meanings.condition(written.conditions.get(key), Reader.TRUTH)

    @staticmethod
    def _default_text(written: doc.Demand) -> str:
        commands = ", ".join(command.value for command in written.commands) or "nothing"
        parts = [f"{written.kind} {commands}"] if written.kind in {"forbid", "only"} else []
        parts += [f"{key} {formula.text}" for key, formula in written.conditions.items()]
        if written.within is not None:
            parts.insert(1, f"within {float(written.within.seconds):g} s")
        return ", ".join(parts)

    def _rule(self, written: doc.Demand, conditions: Mapping[str, Condition]) -> Rule | None:
        """Return the rule, or None if something it needs is wrong."""
        commands = tuple(command.value for command in written.commands if self._is_command(command))
        within = None if written.within is None else self._ticks.count(written.within.seconds, written.within.span)
        get = conditions.get
        match written.kind, get(written.kind), get("while"), get("makes"), get("then"), get("first"):
            case "reachable", Condition() as goal, *_:
                return Reachable(goal=goal)
            case "recoverable", Condition() as goal, *_:
                return Recoverable(goal=goal)
            case "forbid", _, Condition() as during, *_ if commands:
                return Forbid(command=commands[0], during=during)
            case "only", _, _, Condition() as makes, *_:
                return Only(commands=commands, makes=makes)
            case "when", Condition() as when, _, _, Condition() as then, _ if within is not None:
                return Response(when=when, within_ticks=within, then=then, unless=get("unless"))
            case "before", Condition() as before, _, _, _, Condition() as first:
                return Precedence(before=before, first=first, since=get("since"))
        return None

    def _is_command(self, name: doc.Text) -> bool:
        if self._acts.get(name.value, False):
            return True
        if name.value in self._acts:
            message = f"{quoted(name.value)} is a person's action, not a command"
            self._sink.report(Code.WRONG_KIND, name.span, message, "only commands are accepted or refused")
        elif not self._scope.names_lost:
            commands = [act for act, is_command in self._acts.items() if is_command]
            help_line = self._scope.near.hint(name.value, commands, "the commands are") or "declare it under `commands`"
            self._sink.report(Code.UNKNOWN_COMMAND, name.span, f"there is no command {quoted(name.value)}", help_line)
        return False

    # --- procedures ---
    def procedures(self, written: tuple[doc.Procedure, ...]) -> tuple[Procedure, ...]:
        """Return the meaning of all procedures; each may begin where another one ended."""
        by_name = {procedure.name.value: procedure for procedure in reversed(written)}
        settled: set[str] = set()
        for procedure in written:
            self._check_after(procedure, by_name, settled)
        return tuple(self._procedure(procedure) for procedure in written)

    def _check_after(self, procedure: doc.Procedure, by_name: Mapping[str, doc.Procedure], settled: set[str]) -> None:
        """Follow `after` back to a procedure that begins somewhere, or is *settled*; report a circle on the way."""
        path: dict[str, doc.Procedure] = {}
        at: doc.Procedure | None = procedure
        while at is not None and at.name.value not in settled and at.name.value not in path:
            path[at.name.value] = at
            at = self._begins_after(at, by_name)
        settled.update(path)
        if at is not None and at.name.value in path and at.after is not None:
            message = f"{quoted(at.name.value)} would begin only after itself"
            self._sink.report(Code.PROCEDURE_CYCLE, at.after.span, message, "leave `after` out of the first procedure")

    def _begins_after(self, procedure: doc.Procedure, by_name: Mapping[str, doc.Procedure]) -> doc.Procedure | None:
        after = procedure.after
        if after is None:
            return None
        if after.value not in by_name and not self._scope.names_lost:
            help_line = self._scope.near.hint(after.value, list(by_name), "the procedures are")
            self._sink.report(Code.UNKNOWN_PROCEDURE, after.span, f"there is no procedure {quoted(after.value)}", help_line)
        return by_name.get(after.value)

    def _procedure(self, written: doc.Procedure) -> Procedure:
        steps = [self._step(step) for step in written.steps]
        ends_with = written.ends_with
        return Procedure(
            name=written.name.value,
            steps=tuple(step for step in steps if step is not None),
            ends_with=None if ends_with is None else self._meanings.condition(ends_with, Reader.TRUTH),
            after=None if written.after is None else written.after.value,
            source=written.source,
            span=written.name.span,
        )

    def _step(self, step: doc.Step) -> ProcedureStep | None:
        if step.name is not None:
            return self._act(step.name)
        if step.wait is not None:
            ticks = self._ticks.at_least_one(step.wait, "the wait")
            return None if ticks is None else Wait(ticks=ticks, span=step.span)
        if step.until is not None:
            condition = self._meanings.condition(step.until, Reader.TRUTH)
            return None if condition is None else Until(condition=condition, span=step.span)
        values = [self._panel_value(item, value) for item, value in step.panel]
        return SetPanel(values=tuple(value for value in values if value is not None), span=step.span)

    def _act(self, name: doc.Text) -> Act | None:
        if name.value in self._acts:
            return Act(name=name.value, is_command=self._acts[name.value], span=name.span)
        if not self._scope.names_lost:
            help_line = (
                self._scope.near.hint(name.value, list(self._acts), "there are") or "declare it under `commands` or `people`"
            )
            message = f"there is no command and no person's action {quoted(name.value)}"
            self._sink.report(Code.UNKNOWN_COMMAND, name.span, message, help_line)
        return None

    def _panel_value(self, item: doc.Text, text: doc.Text) -> tuple[str, Value] | None:
        declared = self._scope.find(item.value)
        if declared is None:
            self._scope.report_unknown(item, frozenset({Kind.PANEL}))
            return None
        if declared.kind is not Kind.PANEL:
            message = f"{quoted(declared.name)} is {declared.kind.value}, and `set` moves panel items only"
            self._sink.report(Code.SETS_OTHER, item.span, message, "give a command, or name a person's action")
            return None
        if declared.type is None:
            return None
        value = value_of(text.value, declared.type)
        if value is None:
            message = f"{quoted(declared.name)} can't be set to {quoted(text.value)}: it is {described(declared.type)}"
            self._sink.report(Code.WRONG_VALUE, text.span, message, value_hint(text.value, declared.type, self._scope.near))
            return None
        return declared.name, value
