"""Judges procedures as `verify` judges hazards: each holds if it works, or is violated with the run that breaks it."""

from seqcheck.analyse.procedures.confirming import confirmed
from seqcheck.analyse.procedures.records import Studied
from seqcheck.analyse.procedures.study import judge
from seqcheck.analyse.procedures.wording import Wording
from seqcheck.analyse.verdict import ProcedureResults, Result, StepAccount, Verdict
from seqcheck.model.model import Model, Procedure
from seqcheck.model.run import Run
from seqcheck.search.engine import Limits, Observer, Stop

KIND = "procedure"
TEXT = "It works as written, whatever the machine does by itself"


def procedure_results(model: Model, limits: Limits, observer: Observer) -> ProcedureResults:
    """Return the verdict on each procedure of a model without faults. Raises `Disagreement`."""
    words = Wording(model=model)
    judged = judge(model, limits, observer)
    stopped = next((studied.stopped for studied in judged if studied.stopped is not None), None)
    return ProcedureResults(results=tuple(procedure_result(model, studied, words) for studied in judged), stopped=stopped)


def procedure_result(model: Model, studied: Studied, words: Wording) -> Result:
    """Return the verdict on one procedure; of several breaks the worst one is shown."""
    procedure = model.procedures[studied.procedure]
    if studied.breaks:
        worst = studied.breaks[0]
        taken = confirmed(model, procedure, worst)
        run, accounts = (None, ()) if taken is None else (taken.run, taken.accounts)
        return result(procedure, Verdict.VIOLATED, words.outcome(procedure, worst), run, accounts)
    if studied.works:
        return result(procedure, Verdict.HOLDS, "", None, ())
    stopped = studied.stopped
    reason = f"the search ended at {stopped.value}" if stopped is not None else "nothing was searched"
    return result(procedure, Verdict.UNDECIDED, reason, None, ())


def not_begun(model: Model, stopped: Stop | None) -> ProcedureResults:
    """Return that each procedure is undecided, since the search before was stopped."""
    reason = f"the search ended at {stopped.value}" if stopped is not None else ""
    results = (result(procedure, Verdict.UNDECIDED, reason, None, ()) for procedure in model.procedures)
    return ProcedureResults(results=tuple(results), stopped=stopped)


def result(procedure: Procedure, verdict: Verdict, reason: str, run: Run | None, accounts: tuple[StepAccount, ...]) -> Result:
    """Return the result on one procedure."""
    return Result(
        id=f"procedure: {procedure.name}",
        kind=KIND,
        text=TEXT,
        verdict=verdict,
        faults=(),
        run=run,
        accounts=accounts,
        clauses=(),
        spoken=(),
        reason=reason,
        condition="" if procedure.ends_with is None else procedure.ends_with.text,
        risk="",
        source=procedure.source,
        line=procedure.line,
    )
