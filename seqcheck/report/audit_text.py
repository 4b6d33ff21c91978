"""Writes an audit for people at a terminal: what each permissive and trip is for, refusals without need, mends, margins."""

from collections.abc import Iterator, Sequence

from seqcheck.analyse.auditing.audit import Audit, Refused
from seqcheck.analyse.auditing.parts import PartKind
from seqcheck.analyse.auditing.purposes import Purpose, Purposes
from seqcheck.model.run import Run
from seqcheck.report.audit_changes import margins_words, mended_words
from seqcheck.report.audit_runs import runs_words
from seqcheck.report.audit_words import needs_words, part_words, percent, wrapped
from seqcheck.report.lines import counted, footing
from seqcheck.report.narrate import Vocabulary

SEEN = (
    "A situation is what the controller sees: panel, sensors, outputs, memory and timers. Accepting a command in a situation "
    "could not lead to a hazard if the machine that does so, in every state that looks the same, meets none that it does not "
    "meet now, whatever follows."
)
ABSENT: Sequence[tuple[str, str]] = (
    ("purposes", "What each permissive and trip is for"),
    ("pairs", "What pairs of permissives and trips are for"),
    ("refusals", "Refused without need"),
    ("mends", "What would keep a hazard away"),
    ("margins", "Margins"),
)


def audit_text(audit: Audit, words: Vocabulary, *, file: str, sha256: str, runs: bool) -> Iterator[str]:
    """Yield the lines of a whole report, the caution last."""
    revision = f", revision {audit.revision}" if audit.revision else ""
    yield f"{audit.machine}{revision}   ({file}, sha256 {sha256[:12]})"
    if audit.purposes is not None:
        yield ""
        yield from _purposes(audit.purposes)
    if audit.refused:
        yield ""
        yield from _refused(audit, audit.refused)
    if audit.mended:
        yield ""
        yield from mended_words(audit.mended)
    if audit.margins:
        yield ""
        yield from margins_words(audit.margins, audit.recoverable, words)
    for name, title in ABSENT:
        if name in audit.missing:
            yield ""
            yield from wrapped(f"{title}: not wholly answered: {audit.missing[name]}", "")
    if runs:
        yield from runs_words(audit, words)
    yield from footing(audit.assumptions)


# --- what each part is for -------------------------------------------------------------------------------------------
def _purposes(found: Purposes) -> Iterator[str]:
    yield from wrapped(
        f"What each permissive and trip is for: what becomes possible if it alone is taken out ({len(found.purposes)} taken "
        f"out in turn, {counted(found.states, 'state')} in all)",
        "",
    )
    if found.already:
        yield from wrapped(f"Violated as it is, and so left aside: {', '.join(need.id for need in found.already)}.", "  ")
    step = None
    told = [purpose for purpose in found.purposes if found.alone_known or purpose.needs]
    if len(told) < len(found.purposes):
        yield f"  Of {'the others ' if told else ''}nothing is known: the search ended before it could tell."
    for purpose in told:
        part = purpose.part
        if part.step != step:
            step = part.step
            yield f"  {step}" if step else "  Trips"
        indent = "      " if part.clause is not None else "    "
        yield from wrapped(f"{part_words(part)}: {purpose_words(purpose, found)}", indent, 2)


def purpose_words(purpose: Purpose, found: Purposes) -> str:
    """Return in words what a part is for."""
    if purpose.needs:
        return "without it " + needs_words(purpose.needs)
    return _spare_words(purpose, found) + _idle_words(purpose)


def _spare_words(purpose: Purpose, found: Purposes) -> str:
    if purpose.covers:
        return f"nothing, alone; but not together with {'; nor with '.join(_covers(purpose))}"
    other = "other " if found.already else ""
    unsure = "" if found.pairs_known else "; not all pairs were searched"
    return f"nothing: not needed for any {other}stated hazard or requirement, alone{unsure}"


def _idle_words(purpose: Purpose) -> str:
    if purpose.decisive:
        return ""
    return "; it never decides anything" if purpose.part.kind is not PartKind.TRIP else "; it never acts"


def _covers(purpose: Purpose) -> Iterator[str]:
    others = dict.fromkeys(cover.other for cover in purpose.covers)
    for other in others:
        needs = [cover.need for cover in purpose.covers if cover.other == other]
        where = f" of “{other.step}”" if other.step else " (trip)"
        what = f"“{other.text if other.clause is not None or not other.name else other.name}”"
        yield f"{what}{where}: without both {needs_words(needs)}"


# --- refused without need --------------------------------------------------------------------------------------------
def _refused(audit: Audit, refused: Sequence[Refused]) -> Iterator[str]:
    yield "Refused without need"
    yield from wrapped(SEEN, "  ")
    if audit.unmet is not None and not audit.unmet:
        yield from wrapped("There is no hazard that is not met as it is, so refusals have none to keep away.", "  ")
        return
    hazards = hazards_words(audit)
    for one in refused:
        yield from wrapped(f"“{one.command}”: {refused_words(one, hazards)}", "  - ")
        for more in more_words(one):
            yield from wrapped(more, "      ")


def hazards_words(audit: Audit) -> str:
    """Return which hazards refusals may keep away."""
    if audit.unmet is None:
        return "a hazard that is not met now"
    met = {need.id for need in audit.purposes.already} if audit.purposes is not None else set()
    whole = len(audit.unmet) > 2 and not met & set(audit.hazards)
    return f"any of {audit.unmet[0]} to {audit.unmet[-1]}" if whole else " or ".join(audit.unmet)


def refused_words(one: Refused, hazards: str) -> str:
    """Return in words how much a command is refused without need, those situations apart in which it would do nothing."""
    r = one.refusals
    if not r.situations:
        return "never refused"
    strict, idle = r.harmless - r.unmoved, r.unmoved
    if strict:
        of = r.accepted + strict
        apart = f"; accepting it would change nothing in {idle:,} more" if idle else ""
        return (
            f"over-strict: refuses {strict:,} of {counted(of, 'reachable situation')} that could not lead to {hazards} "
            f"({percent(strict, of)}){apart}"
        )
    if r.open:
        return f"not known to be over-strict: refused in {counted(r.situations, 'reachable situation')}"
    rest = r.situations - idle
    reasons = [f"could lead to {hazards} in {rest:,} of them"] * bool(rest)
    reasons += [f"would change nothing in {idle:,} of them"] * bool(idle)
    return f"not over-strict: refused in {counted(r.situations, 'reachable situation')}; accepting it {' and '.join(reasons)}"


def more_words(one: Refused) -> Iterator[str]:
    """Yield in words what else is known of a refusal."""
    r = one.refusals
    if r.open:
        yield f"{counted(r.open, 'situation')} in which it is refused were not decided"
    strict = r.harmless_states - r.unmoved_states
    if r.harmless > r.unmoved:
        yield f"with everything seen it refuses {strict:,} of {counted(r.accepted_states + strict, 'such state')}"
        if one.run is not None:
            refusing = " and ".join(f"“{name}”" for name in one.refusing)
            yield f"for example {_when(one.run)}, where it is refused by {refusing}"


def _when(run: Run) -> str:
    if run.step_count:
        return f"after {counted(run.step_count, 'step')}"
    return "after some waiting" if run.steps else "at the start"
