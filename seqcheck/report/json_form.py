"""Writes a verification as JSON data (schema version 1), documented in README.md."""

import json
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import TypeAlias

from seqcheck.analyse.verdict import Case, Finding, Observation, Result, Verification
from seqcheck.model.model import study_of
from seqcheck.model.run import Beyond, By, Endless, Failure, Run, RunStep, StepKind, Value
from seqcheck.report.searched import Searched

Json: TypeAlias = "bool | int | float | str | Sequence[Json] | Mapping[str, Json] | None"

SCHEMA_VERSION = 1
LARGEST_EXACT = 2**53
"""Integers beyond this are written as strings: readers that use doubles would round them (RFC 7493)."""


def integer(number: int) -> Json:
    """Return an integer that any reader keeps exactly."""
    return number if abs(number) <= LARGEST_EXACT else str(number)


def value(shown: Value) -> Json:
    """Return a value of the file."""
    return integer(shown) if isinstance(shown, int) and not isinstance(shown, bool) else shown


def verification_data(
    verification: Verification, searches: Mapping[tuple[str, ...], Searched], *, file: str, sha256: str
) -> dict[str, Json]:
    """Return one file's verification; with fault sets under study each has a case of its own."""
    first = verification.cases[0]
    data: dict[str, Json] = {
        "schema": SCHEMA_VERSION,
        "file": file,
        "machine": verification.machine,
        "revision": verification.revision,
        "file_sha256": sha256,
        "tick_s": float(verification.tick_s),
    }
    data |= case_data(first, searches, verification.tick_s)
    data["assumptions"] = list(verification.assumptions)
    data["sources"] = [{"about": s.about, "source": s.source, "line": s.line} for s in verification.sources]
    if len(verification.cases) > 1 or verification.not_begun:
        data["cases"] = [case_data(case, searches, verification.tick_s) for case in verification.cases]
        data["not_begun"] = [list(faults) for faults in verification.not_begun]
    return data


def case_data(case: Case, searches: Mapping[tuple[str, ...], Searched], tick_s: Fraction) -> dict[str, Json]:
    """Return one case; *tick_s* turns ticks into seconds."""
    searched = searches[case.faults]
    return {
        "faults": list(case.faults),
        "states": integer(case.states),
        "transitions": integer(case.transitions),
        "complete": case.complete,
        "stopped_by": None if case.stopped is None else case.stopped.name.lower(),
        "complete_steps": case.complete_steps,
        "seconds": round(case.seconds, 4),
        "seconds_before": round(searched.spent_before_s, 4),
        "engine": searched.engine,
        "engine_reason": searched.reason,
        "bytes_per_state": searched.bytes_per_state,
        "exact_counts": searched.exact_counts,
        "observed": [observed_data(one, searches[study_of(case.faults, one.id)]) for one in case.observed],
        "results": [result_data(result, tick_s) for result in case.results],
        "findings": [finding_data(finding, tick_s) for finding in case.findings],
    }


def observed_data(one: Observation, searched: Searched) -> Json:
    """Return how a requirement on time or order was searched by itself."""
    return {
        "id": one.id,
        "states": integer(one.states),
        "transitions": integer(one.transitions),
        "complete": one.stopped is None,
        "stopped_by": None if one.stopped is None else one.stopped.name.lower(),
        "complete_steps": one.complete_steps,
        "seconds_before": round(searched.spent_before_s, 4),
        "engine": one.engine,
        "engine_reason": searched.reason,
        "bytes_per_state": searched.bytes_per_state,
        "exact_counts": searched.exact_counts,
    }


def result_data(result: Result, tick_s: Fraction) -> dict[str, Json]:
    """Return one verdict with its run."""
    return {
        "id": result.id,
        "kind": result.kind,
        "text": result.text,
        "verdict": result.verdict.value,
        "faults": list(result.faults),
        "condition": result.condition,
        "risk": result.risk,
        "source": result.source,
        "line": result.line,
        "reason": result.reason,
        "clauses": list(result.clauses),
    } | run_data(result.run, tick_s)


def finding_data(finding: Finding, tick_s: Fraction) -> dict[str, Json]:
    """Return one finding, with a run where there is one."""
    data: dict[str, Json] = {"kind": finding.kind, "about": finding.about, "text": finding.text, "line": finding.line}
    return data if finding.run is None else data | run_data(finding.run, tick_s)


def run_data(run: Run | None, tick_s: Fraction) -> dict[str, Json]:
    """Return a run: where it starts, its steps (waits have no number) and where it ends."""
    if run is None:
        return {"steps": None, "seconds": None, "start": {}, "run": [], "end": {}, "failure": None}
    return {
        "steps": run.step_count,
        "seconds": float(run.tick_count * tick_s),
        "start": {name: value(shown) for name, shown in run.start},
        "run": list(_steps(run, tick_s)),
        "end": {name: value(shown) for name, shown in run.end},
        "failure": failure_data(run.failure),
    }


def _steps(run: Run, tick_s: Fraction) -> list[Json]:
    number = 0
    steps: list[Json] = []
    for step in run.steps:
        waits = step.by.kind is StepKind.WAIT
        number += 0 if waits else 1
        steps.append(_step(step, None if waits else number, tick_s))
    return steps


def _step(step: RunStep, number: int | None, tick_s: Fraction) -> Json:
    return {
        "step": number,
        "by": by_data(step.by),
        "wait_s": float(step.ticks * tick_s) if number is None else None,
        "changes": {name: value(shown) for name, shown in step.changes},
        "settled": list(step.acted),
    }


def by_data(by: By) -> Json:
    """Return who acts; `to` is what a panel item is set to."""
    data: dict[str, Json] = {"kind": by.kind.value, "name": by.name}
    return data if by.to is None else data | {"to": value(by.to)}


def failure_data(failure: Failure | None) -> Json:
    """Return why the last step of a run never came to an end."""
    match failure:
        case None:
            return None
        case Endless(names=names):
            return {"kind": "settling", "names": list(names)}
        case Beyond():
            return {"kind": "range", "rule": failure.rule, "variable": failure.variable, "problem": failure.problem}


def text_of(data: Json) -> str:
    """Return JSON text."""
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
