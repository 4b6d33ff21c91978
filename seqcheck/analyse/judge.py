"""Turns what a search found into verdicts: one for every hazard, requirement and built-in check, with the run that shows it."""

from collections.abc import Iterator, Mapping

from seqcheck.analyse.record import Disagreement, Records
from seqcheck.analyse.verdict import Result, StepAccount, Verdict
from seqcheck.model import semantics
from seqcheck.model.expression import Expression, clauses
from seqcheck.model.model import (
    Elsewhere,
    Forbid,
    Hazard,
    Model,
    Observed,
    Only,
    Property,
    Reachable,
    Recoverable,
    State,
    condition_of,
)
from seqcheck.model.run import Beyond, Endless, Run
from seqcheck.model.wording import spoken, wording
from seqcheck.search.engine import Exploration, Trace

KIND_NAMES: Mapping[type, str] = {
    Hazard: "hazard",
    Reachable: "reachable",
    Recoverable: "recoverable",
    Forbid: "forbid",
    Only: "only",
}
NAMED_BY_RULE = Observed | Elsewhere


BUILT_IN = {
    "range": "No step leaves a range or divides by zero",
    "settling": "Trips and at-once rules always come to rest",
}


class Judge:
    """Turns an exploration into results. *records* may know some of its runs already."""

    def __init__(self, model: Model, exploration: Exploration, records: Records | None = None) -> None:
        self._model = model
        self._exploration = exploration
        self._records = Records(model) if records is None else records

    def results(self) -> Iterator[Result]:
        """Yield the verdict on each property, then on the built-in checks."""
        for number in range(len(self._model.properties)):
            yield self.verdict_on(number)
        yield from self._built_in()

    def verdict_on(self, number: int) -> Result:
        """Return the verdict on one property."""
        p = self._model.properties[number]
        trace = self._exploration.found.get(number)
        unjudged = self._exploration.unjudged.get(number)
        if isinstance(p.rule, Elsewhere):
            return self._undecided(p)
        if self._is_witnessed(p):
            return self._witnessed(p, trace)
        if trace is not None:
            return self._result(p, Verdict.VIOLATED, trace)
        if unjudged is not None:
            return self._result(p, Verdict.UNDECIDED, unjudged, "its condition has no value at the end of this run")
        return self._result(p, Verdict.HOLDS, None) if self._complete else self._undecided(p)

    def _is_witnessed(self, p: Property) -> bool:
        return isinstance(p.rule, Reachable) and not self._model.faults

    def _witnessed(self, p: Property, trace: Trace | None) -> Result:
        if trace is not None:
            return self._result(p, Verdict.HOLDS, trace)
        if self._complete:
            return self._result(p, Verdict.VIOLATED, None, "no reachable state has it")
        return self._undecided(p)

    @property
    def _complete(self) -> bool:
        return self._exploration.stopped is None

    def _undecided(self, p: Property) -> Result:
        stopped = self._exploration.stopped
        reason = f"the search ended at {stopped.value}" if stopped else "it takes a search of its own, which was not made"
        return self._result(p, Verdict.UNDECIDED, None, reason)

    def _result(self, p: Property, verdict: Verdict, trace: Trace | None, reason: str = "") -> Result:
        run, accounts = self._records.of(trace) if trace is not None else (None, ())
        if trace is not None and not reason:
            confirm(self._model, p, trace, run)
        met = self._met(p, trace) if verdict is Verdict.VIOLATED else ()
        guard = condition_of(p.rule)
        return Result(
            id=p.id,
            kind=p.rule.kind if isinstance(p.rule, NAMED_BY_RULE) else KIND_NAMES[type(p.rule)],
            text=p.text,
            verdict=verdict,
            faults=self._model.faults,
            run=run,
            accounts=accounts,
            clauses=tuple(wording(self._model, part) for part in met),
            spoken=tuple(spoken(self._model, part) for part in met),
            reason=reason,
            condition=guard.text,
            risk=p.risk,
            source=p.source,
            line=p.line,
        )

    def _met(self, p: Property, trace: Trace | None) -> tuple[Expression, ...]:
        """Return the clauses of a hazard's condition that the last state of its run meets."""
        if trace is None or not isinstance(p.rule, Hazard):
            return ()
        test, state = p.rule.must_not_be.test, trace.states[-1]
        return tuple(part for part in clauses(test) if is_true(self._model, part, state))

    def _built_in(self) -> Iterator[Result]:
        """Yield a result for each failure met, and `holds` for a built-in check that met none."""
        met = [self.check(*described(run), run, accounts) for run, accounts in self._failed_runs()]
        met += [self._valueless(number, trace) for number, trace in sorted(self._exploration.unjudged.items())]
        yield from met
        for kind, text in BUILT_IN.items():
            if not any(result.kind == kind for result in met):
                yield self.check(kind, kind, text, None, ())

    def _failed_runs(self) -> Iterator[tuple[Run, tuple[StepAccount, ...]]]:
        for trace in self._exploration.failures:
            yield self._records.of(trace)

    def _valueless(self, number: int, trace: Trace) -> Result:
        """Return the violation that a hazard or requirement itself divides by zero in some reachable state."""
        p = self._model.properties[number]
        condition = condition_of(p.rule)
        text = f"the condition of {p.id} {why_no_value(self._model, condition.test, trace.states[-1])}: {condition.text}"
        return self.check("range", f"range: {p.id}", text, *self._records.of(trace))

    def check(self, kind: str, id_: str, text: str, run: Run | None, accounts: tuple[StepAccount, ...]) -> Result:
        """Return the result of a built-in check: violated if there is a run."""
        verdict = Verdict.VIOLATED if run is not None else Verdict.HOLDS if self._complete else Verdict.UNDECIDED
        stopped = self._exploration.stopped
        return Result(
            id=id_,
            kind=kind,
            text=text,
            verdict=verdict,
            faults=self._model.faults,
            run=run,
            accounts=accounts,
            clauses=(),
            spoken=(),
            reason=f"the search ended at {stopped.value}" if stopped and verdict is Verdict.UNDECIDED else "",
            condition="",
            risk="",
            source="",
            line=1,
        )


def is_true(model: Model, test: Expression, state: State) -> bool:
    """Tell whether a condition holds in a state; one without a value does not."""
    try:
        return bool(semantics.evaluate(model, test, state))
    except semantics.Impossible:
        return False


def why_no_value(model: Model, test: Expression, state: State) -> str:
    """Return in words why a condition has no value in a state."""
    try:
        semantics.evaluate(model, test, state)
    except semantics.Impossible as impossible:
        return str(impossible)
    return "has no value"


def confirm(model: Model, p: Property, trace: Trace, run: Run | None) -> None:
    """Check by the plain definition that a run ends in what it is said to show. Raises `Disagreement`."""
    if not shows(model, p, trace, run):
        raise Disagreement(f"the engine's run of {p.id} does not end in what it is said to show")


def shows(model: Model, p: Property, trace: Trace, run: Run | None) -> bool:
    """Tell whether a trace ends in the violation of a property, or for `reachable` in its goal."""
    last = trace.states[-1]
    match p.rule:
        case Hazard(must_not_be=guard):
            return not trace.attempts and is_true(model, guard.test, last)
        case Reachable(goal=guard) if not model.faults:
            return not trace.attempts and is_true(model, guard.test, last)
        case Reachable(goal=guard) | Recoverable(goal=guard):
            return not is_true(model, guard.test, last) or trace.attempts
        case Forbid(step=step, during=guard):
            return trace.attempts and trace.last == step and is_true(model, guard.test, last)
        case Only(steps=allowed, makes=guard):
            made = trace.attempts and trace.last not in allowed and run is not None and run.failure is None
            return made and not is_true(model, guard.test, last) and is_true(model, guard.test, after(model, trace))
        case Observed(violated=guard):
            return not trace.attempts and is_true(model, guard.test, last)
        case Elsewhere():
            return False


def after(model: Model, trace: Trace) -> State:
    """Return the state after the step that a trace attempts at its end."""
    state = trace.states[-1]
    if trace.last is None:
        return semantics.tick(model, state) or state
    return semantics.take(model, model.steps[trace.last], state)


def described(run: Run) -> tuple[str, str, str]:
    """Return kind, id and text of the result that a failed run stands for."""
    match run.failure:
        case Endless(names=names):
            chasing = " and ".join(f"“{name}”" for name in names)
            text = f"Settling never ends: {chasing} {'chase each other' if len(names) > 1 else 'acts without end'}"
            return "settling", f"settling: {', '.join(names)}", text
        case Beyond(rule=rule, variable=None, problem=problem):
            return "range", f"range: {rule}", f"“{rule}” {problem}"
        case Beyond(rule=rule, variable=variable, problem=problem):
            return "range", f"range: {rule}, {variable}", f"“{rule}”: {problem}"
        case None:
            raise ValueError(run)
