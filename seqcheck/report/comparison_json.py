"""Writes a comparison of two files as JSON data (schema version 1), documented in sequences/LANGUAGE.md."""

from collections.abc import Sequence
from fractions import Fraction

from seqcheck.analyse.comparing.comparison import (
    AskedChange,
    Change,
    CommandChange,
    Comparison,
    Part,
    StepChange,
    VerdictChange,
)
from seqcheck.analyse.comparing.naming import Named
from seqcheck.analyse.verdict import Result
from seqcheck.report.json_form import Json, by_data, integer, result_data, run_data

COMPARISON_SCHEMA = "seqcheck-compare/1"


def comparison_data(told: Comparison, files: Sequence[tuple[str, str]]) -> dict[str, Json]:
    """Return a comparison. *files* are the name and the hash of the old and of the new one."""
    tick_s = told.tick_s
    return {
        "schema": COMPARISON_SCHEMA,
        "outcome": told.outcome.name.lower(),
        "searched": not told.quick,
        "complete": told.stopped is None,
        "stopped_by": None if told.stopped is None else told.stopped.name.lower(),
        "seconds": round(told.seconds, 4),
        "tick_s": float(tick_s),
        "old": _part(told.old, files[0]),
        "new": _part(told.new, files[1]),
        "common_situations": None if told.common is None else integer(told.common),
        "verdicts": [_verdict(one, tick_s) for one in told.verdicts],
        "asked": [_asked(one, tick_s) for one in told.asked],
        "commands": [_command(one, tick_s) for one in told.commands],
        "steps": [_step(one, tick_s) for one in told.steps],
        "situations": {
            "gone": _change(told.gone, tick_s),
            "new": _change(told.come, tick_s),
            "starts_gone": _change(told.starts_gone, tick_s),
            "starts_new": _change(told.starts_come, tick_s),
        },
        "only_in_old": [_named(one) for one in told.old_names],
        "only_in_new": [_named(one) for one in told.new_names],
        "notes": list(told.notes),
        "unclear": integer(told.unclear),
        "undecided": list(told.undecided),
    }


def _part(part: Part, file: tuple[str, str]) -> Json:
    return {
        "file": file[0],
        "file_sha256": file[1],
        "machine": part.machine,
        "revision": part.revision,
        "states": None if part.states is None else integer(part.states),
        "situations": None if part.situations is None else integer(part.situations),
    }


def _change(change: Change | None, tick_s: Fraction) -> Json:
    """Return how many, and the run with the file that it is of."""
    if change is None:
        return None
    if change.shown is None:
        return {"count": integer(change.count), "file": None} | run_data(None, tick_s)
    return {"count": integer(change.count), "file": change.shown.side.value} | run_data(change.shown.run, tick_s)


def _verdict(one: VerdictChange, tick_s: Fraction) -> Json:
    return {"id": one.id, "built_in": one.is_built_in, "old": _result(one.old, tick_s), "new": _result(one.new, tick_s)}


def _result(result: Result | None, tick_s: Fraction) -> Json:
    return None if result is None else result_data(result, tick_s)


def _asked(one: AskedChange, tick_s: Fraction) -> Json:
    return {"id": one.id, "how": one.how, "true_now": _change(one.more, tick_s), "true_before": _change(one.less, tick_s)}


def _command(one: CommandChange, tick_s: Fraction) -> Json:
    return {
        "command": one.name,
        "only_in": None if one.only is None else one.only.value,
        "accepted_now": _change(one.accepted, tick_s),
        "refused_now": _change(one.refused, tick_s),
        "refused_by": list(one.refused_by),
    }


def _step(one: StepChange, tick_s: Fraction) -> Json:
    return {
        "by": by_data(one.by),
        "only_in": None if one.only is None else one.only.value,
        "gone": _change(one.gone, tick_s),
        "new": _change(one.come, tick_s),
    }


def _named(named: Named) -> Json:
    return {"kind": named.sort.value, "name": named.name}
