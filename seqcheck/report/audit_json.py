"""Writes an audit as JSON data (schema version 1), documented in sequences/LANGUAGE.md."""

from fractions import Fraction

from seqcheck.analyse.auditing.audit import Audit, Refused
from seqcheck.analyse.auditing.margins import Margin
from seqcheck.analyse.auditing.mends import Mended
from seqcheck.analyse.auditing.parts import Part
from seqcheck.analyse.auditing.purposes import Need, Purpose
from seqcheck.report.json_form import SCHEMA_VERSION, Json, integer, run_data


def audit_data(audit: Audit, *, file: str, sha256: str) -> dict[str, Json]:
    """Return an audit; what was not answered is null, and `missing` says why it is that, or not whole."""
    tick_s = audit.tick_s
    found = audit.purposes
    return {
        "schema": SCHEMA_VERSION,
        "study": "audit",
        "file": file,
        "machine": audit.machine,
        "revision": audit.revision,
        "file_sha256": sha256,
        "tick_s": float(tick_s),
        "complete": audit.complete,
        "missing": dict(audit.missing),
        "stopped_by": None if audit.stopped is None else audit.stopped.name.lower(),
        "parts_known": found is not None and found.alone_known,
        "pairs_known": found is not None and found.pairs_known,
        "hazards_not_met": None if audit.unmet is None else list(audit.unmet),
        "already_violated": None if found is None else [need_data(need, tick_s) for need in found.already],
        "parts": None if found is None else [purpose_data(purpose, tick_s) for purpose in found.purposes],
        "refusals": None if audit.refused is None else [refused_data(one, tick_s) for one in audit.refused],
        "mends": None if audit.mended is None else [mended_data(one, tick_s) for one in audit.mended],
        "margins": None if audit.margins is None else [margin_data(one, tick_s) for one in audit.margins],
        "assumptions": list(audit.assumptions),
    }


def part_data(part: Part) -> dict[str, Json]:
    """Return what was taken out: `clause` counts from 0."""
    return {
        "kind": part.kind.value,
        "step": part.step,
        "name": part.name,
        "clause": part.clause,
        "text": part.text,
        "line": part.line,
    }


def purpose_data(purpose: Purpose, tick_s: Fraction) -> Json:
    """Return what a part is for."""
    return part_data(purpose.part) | {
        "decisive": purpose.decisive,
        "needed_for": [need_data(need, tick_s) for need in purpose.needs],
        "covered": [need_data(c.need, tick_s) | {"by": part_data(c.other)} for c in purpose.covers],
    }


def need_data(need: Need, tick_s: Fraction) -> dict[str, Json]:
    """Return what is violated, with its run; `failing` says what fails, where that is a built-in check."""
    data: dict[str, Json] = {"id": need.id, "failing": need.failing}
    return data | run_data(need.run, tick_s)


def refused_data(one: Refused, tick_s: Fraction) -> Json:
    """Return where a command is refused, with a run to a harmless situation."""
    r = one.refusals
    counts: dict[str, Json] = {
        "accepted": integer(r.accepted),
        "refused": integer(r.situations),
        "harmless": integer(r.harmless),
        "unchanged": integer(r.unmoved),
        "not_decided": integer(r.open),
        "accepted_states": integer(r.accepted_states),
        "refused_states": integer(r.states),
        "harmless_states": integer(r.harmless_states),
        "unchanged_states": integer(r.unmoved_states),
    }
    return {"command": one.command} | counts | {"refused_by": list(one.refusing), "example": run_data(one.run, tick_s)}


def mended_data(one: Mended, tick_s: Fraction) -> Json:
    """Return what would keep a hazard away, with the run that meets it now."""
    data: dict[str, Json] = {
        "id": one.id,
        "commands": list(one.commands),
        "offers": [
            {
                "command": offer.command,
                "condition": offer.condition,
                "admitted": integer(offer.admitted),
                "refused": integer(offer.refused),
                "also": list(offer.also),
                "broken": list(offer.broken),
            }
            for offer in one.offers
        ],
        "without_offer": [
            {
                "command": unable.command,
                "comes_without_it": unable.without,
                "out_of_reach": list(unable.lost),
                "signals_missing": list(unable.parts),
                "only_if_never_accepted": unable.never,
            }
            for unable in one.unable
        ],
        "comes_without_commands": one.helpless,
        "out_of_reach": list(one.lost),
    }
    return data | run_data(one.run, tick_s)


def margin_data(margin: Margin, tick_s: Fraction) -> Json:
    """Return how far a duration may change; `turns_at_s` null: no verdict turns up to `tried_to_s` (null: whatever it is)."""
    duration = margin.duration
    return {
        "name": duration.name,
        "bound": duration.bound.value,
        "now_s": float(duration.ticks * tick_s),
        "turns_at_s": None if margin.turns_at is None else float(margin.turns_at * tick_s),
        "violated": [need_data(need, tick_s) for need in margin.violated],
        "restored": list(margin.restored),
        "tried_to_s": None if margin.tried_to is None else float(margin.tried_to * tick_s),
        "line": duration.line,
    }
