"""Writes a study of faults as JSON data (schema version 1), documented in README.md."""

from seqcheck.analyse.faults.category import Indication
from seqcheck.analyse.faults.collecting import Reached, Row
from seqcheck.analyse.faults.noticing import Noticed
from seqcheck.analyse.faults.study import Study
from seqcheck.analyse.verdict import Result
from seqcheck.report.json_form import Json, run_data

SCHEMA_VERSION = 1


def study_data(study: Study, *, file: str, sha256: str) -> dict[str, Json]:
    """Return a study; a run goes with the fault set at the same place of its list."""
    indicated = {one.hazard: one for one in study.indications}
    return {
        "schema": SCHEMA_VERSION,
        "study": "faults",
        "file": file,
        "machine": study.machine,
        "revision": study.revision,
        "file_sha256": sha256,
        "tick_s": float(study.tick_s),
        "up_to": study.up_to,
        "faults": list(study.faults),
        "complete": study.complete,
        "ended_by": None if study.ended is None else study.ended.name.lower(),
        "covered": [{"size": one.size, "looked_at": one.done, "sets": one.total} for one in study.covered],
        "results": [_row(row, study, indicated.get(row.subject.id)) for row in study.rows],
        "noticed": [_noticed(one, study) for one in study.noticed],
        "assumptions": list(study.assumptions),
        "sources": [{"about": s.about, "source": s.source, "line": s.line} for s in study.sources],
    }


def _row(row: Row, study: Study, indicated: Indication | None) -> dict[str, Json]:
    subject = row.subject
    data: dict[str, Json] = {
        "id": subject.id,
        "kind": subject.kind,
        "text": subject.text,
        "condition": subject.condition,
        "risk": subject.risk,
        "source": subject.source,
        "line": subject.line,
        "minimal_fault_sets": [list(one.faults) for one in row.reached],
        "runs": [_run(one, study) for one in row.reached],
        "undecided_fault_sets": [{"faults": list(one.faults), "reason": one.reason} for one in row.open],
    }
    return data if indicated is None else data | {"category": _indication(indicated)}


def _run(reached: Reached, study: Study) -> dict[str, Json]:
    return _result(reached.result, study) | {"faults": list(reached.faults)}


def _result(result: Result, study: Study) -> dict[str, Json]:
    told: dict[str, Json] = {"id": result.id, "text": result.text, "reason": result.reason, "clauses": list(result.clauses)}
    return told | {"faults": list(result.faults)} | run_data(result.run, study.tick_s)


def _indication(one: Indication) -> dict[str, Json]:
    return {
        "required_level": one.required_level,
        "behaviour": one.behaviour.value,
        "because": [list(faults) for faults in one.because],
        "not_looked_at": list(one.not_looked_at),
    }


def _noticed(one: Noticed, study: Study) -> dict[str, Json]:
    return {
        "fault": one.fault,
        "notice": one.notice.value,
        "reason": one.reason,
        "run": None if one.result is None else _result(one.result, study),
    }
