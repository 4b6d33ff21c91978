"""Writes an audit for people at a terminal: what each permissive and trip is for, refusals without need, mends, margins."""

import textwrap
from collections.abc import Iterator, Sequence

from seqcheck.analyse.auditing.audit import Audit, Refused
from seqcheck.analyse.auditing.margins import Bound, Margin
from seqcheck.analyse.auditing.mends import Mended
from seqcheck.analyse.auditing.parts import Part, PartKind
from seqcheck.analyse.auditing.purposes import Need, Purpose, Purposes
from seqcheck.analyse.verdict import StepAccount
from seqcheck.model.run import Run
from seqcheck.report.narrate import Vocabulary, duration_words, how_it_stands, tell
from seqcheck.report.text import CAUTION, WIDTH, counted

SEEN = (
    "A situation is what the controller sees: panel, sensors, outputs, memory and timers. Accepting a command in a situation "
    "counts as harmless only if the machine that does so, in every state that looks the same, meets no hazard that it does not "
    "meet now."
)
ABSENT: Sequence[tuple[str, str]] = (
    ("purposes", "What each permissive and trip is for"),
    ("refusals", "Refused without need"),
    ("mends", "What would mend a hazard"),
    ("margins", "Margins"),
)


def audit_text(audit: Audit, words: Vocabulary, *, file: str, sha256: str, runs: bool) -> Iterator[str]:
    """Yield the lines of a whole report, the caution last."""
    revision = f", revision {audit.revision}" if audit.revision else ""
    yield f"{audit.machine}{revision}   ({file}, sha256 {sha256[:12]})"
    if audit.purposes is not None:
        yield ""
        yield from _purposes(audit.purposes)
    if audit.refused is not None:
        yield ""
        yield from _refused(audit)
    if audit.mended:
        yield ""
        yield from _mended(audit.mended)
    if audit.margins is not None:
        yield ""
        yield from _margins(audit.margins, words)
    for name, title in ABSENT:
        if name in audit.missing:
            yield ""
            yield from _wrapped(f"{title}: not answered, or not wholly: {audit.missing[name]}", "")
    if runs and audit.purposes is not None:
        yield from _runs(audit.purposes, words)
    yield ""
    yield "Assumptions"
    for assumption in audit.assumptions:
        yield from _wrapped(assumption, "  - ")
    yield ""
    yield from textwrap.wrap(CAUTION, WIDTH)


# --- what each part is for -------------------------------------------------------------------------------------------
def _purposes(found: Purposes) -> Iterator[str]:
    yield from _wrapped(
        f"What each permissive and trip is for: what becomes possible if it is taken out, alone ({len(found.purposes)} taken "
        f"out in turn, {counted(found.states, 'state')} in all)",
        "",
    )
    if found.already:
        yield from _wrapped(f"Violated as it is, and so left aside: {', '.join(found.already)}.", "  ")
    step = None
    for purpose in found.purposes:
        part = purpose.part
        if part.step != step:
            step = part.step
            yield f"  {step}" if step else "  Trips"
        yield from _wrapped(f"{part_words(part)}: {purpose_words(purpose)}", "      " if part.clause is not None else "    ", 2)


def part_words(part: Part) -> str:
    """Return how a part is called beneath its command."""
    if part.clause is not None:
        return f"of it “{part.text}”"
    return f"“{part.name}”" if part.name else f"its condition “{part.text}”"


def purpose_words(purpose: Purpose) -> str:
    """Return in words what a part is for."""
    if purpose.needs:
        return "without it " + _needs(purpose.needs)
    never = (
        ""
        if purpose.decisive
        else "; it never decides anything"
        if purpose.part.kind is not PartKind.TRIP
        else "; it never acts"
    )
    if not purpose.covers:
        return f"nothing: not needed for any stated hazard or requirement, alone{never}"
    return f"nothing, alone; but not together with {'; nor with '.join(_covers(purpose))}{never}"


def _needs(needs: Sequence[Need]) -> str:
    first, *others = needs
    return ", ".join([f"{first.id} is violated{_cost(first.run)}", *(f"{need.id}{_cost(need.run)}" for need in others)])


def _cost(run: Run | None) -> str:
    return "" if run is None else f" in {counted(run.step_count, 'step')}"


def _covers(purpose: Purpose) -> Iterator[str]:
    others = dict.fromkeys(cover.other for cover in purpose.covers)
    for other in others:
        ids = [cover.need.id for cover in purpose.covers if cover.other == other]
        where = f" of “{other.step}”" if other.step else " (trip)"
        what = f"“{other.text if other.clause is not None or not other.name else other.name}”"
        yield f"{what}{where}: without both {', '.join(ids)}"


# --- refused without need --------------------------------------------------------------------------------------------
def _refused(audit: Audit) -> Iterator[str]:
    hazards = f"{audit.hazards[0]} to {audit.hazards[-1]}" if len(audit.hazards) > 1 else ", ".join(audit.hazards) or "a hazard"
    yield "Refused without need"
    yield from _wrapped(SEEN, "  ")
    for one in audit.refused or ():
        yield from _wrapped(_refused_words(one, hazards), "  - ")
        if one.run is not None:
            steps = "at the start" if not one.run.step_count else f"after {counted(one.run.step_count, 'step')}"
            names = " and ".join(f"“{name}”" for name in one.refusing)
            yield from _wrapped(f"for example {steps}, where it is refused by {names}", "      ")


def _refused_words(one: Refused, hazards: str) -> str:
    r = one.refusals
    if not r.situations:
        return f"“{one.command}” is never refused"
    of = f"{r.harmless:,} of {counted(r.situations, 'reachable situation')}"
    unmoved = f", {r.unmoved:,} of them without changing anything" if r.unmoved else ""
    open_ = f"; {r.open:,} more were not decided" if r.open else ""
    truth = f"with everything seen: {r.harmless_states:,} of {counted(r.states, 'state')}"
    strict = "over-strict: " if r.harmless > r.unmoved else ""
    return f"“{one.command}” — {strict}refuses {of} that could not lead to {hazards}{unmoved}{open_} ({truth})"


# --- mends -----------------------------------------------------------------------------------------------------------
def _mended(mended: Sequence[Mended]) -> Iterator[str]:
    yield "What would mend a hazard: one more permissive, as much as possible still admitted"
    for one in mended:
        yield f"  {one.id}"
        for offer in one.offers:
            also = f"; {', '.join(offer.also)} can then not be either" if offer.also else ""
            yield from _wrapped(
                f"“{offer.command}” asks in addition: {offer.condition}   [admitted in {counted(offer.admitted, 'situation')}, "
                f"refused in {offer.refused:,}; every state of the machine mended so was searched{also}]",
                "    - ",
            )
        for blind in one.blind:
            parts = ", ".join(blind.parts)
            yield from _wrapped(f"“{blind.command}” could keep it away if the controller had a signal of: {parts}", "    - ")
        if not one.offers and not one.blind:
            yield from _wrapped(_no_mend(one), "    - ")


def _no_mend(one: Mended) -> str:
    if not one.commands:
        return "no command takes part in the run: only a trip, or the hardware, can keep it away"
    names = " or ".join(f"“{name}”" for name in one.commands)
    if not one.needs_command:
        return f"it comes even if {names} is never accepted: only a trip, or the hardware, can keep it away"
    return f"no single permissive of {names} keeps it away without taking away something that must stay reachable"


# --- margins ---------------------------------------------------------------------------------------------------------
def _margins(found: Sequence[Margin], words: Vocabulary) -> Iterator[str]:
    yield "Margins: how far one duration may change, all else being as it is, before a verdict turns"
    for margin in found:
        yield from _wrapped(margin_words(margin, words), "  - ")


def margin_words(margin: Margin, words: Vocabulary) -> str:
    """Return in words how far a duration may change."""
    duration, tick = margin.duration, words.tick_s
    now = duration_words(duration.ticks * tick)
    turned = "" if margin.turns_at is None else f"{duration_words(margin.turns_at * tick)} {', '.join(margin.ids)} turns"
    if duration.bound is Bound.LATEST:
        what = f"“{duration.name}” takes {now} at most"
        if margin.turns_at is not None:
            return f"{what}; with {turned}"
        if margin.tried_to is None:
            return f"{what}; however long it takes, no verdict turns"
        return f"{what}; up to {duration_words(margin.tried_to * tick)} no verdict turns"
    what = f"timer {duration.name} runs {now}"
    if margin.turns_at is not None:
        return f"{what}; with {turned}"
    if duration.ticks <= 1:
        return f"{what}, one tick: it cannot be shorter in this model"
    return f"{what}; down to {duration_words((margin.tried_to or 1) * tick)} no verdict turns"


# --- runs ------------------------------------------------------------------------------------------------------------
def _runs(found: Purposes, words: Vocabulary) -> Iterator[str]:
    for purpose in found.purposes:
        for need in purpose.needs:
            if need.run is not None:
                part = purpose.part
                of = f" of “{part.step}”" if part.step else ""
                yield ""
                yield from _wrapped(f"Without {part_words(part)}{of}: {need.id} is violated", "")
                yield from run_words(need.run, need.accounts, words)


def run_words(run: Run, accounts: Sequence[StepAccount], words: Vocabulary) -> Iterator[str]:
    """Yield the lines that tell a run."""
    yield from _wrapped(f"At the start: {how_it_stands(run.start, words)}.", "  ")
    for step in tell(run, tuple(accounts), words):
        head = f"  {step.number + '.' if step.number else '':>4} {'at ' + step.at:<12} "
        yield from textwrap.wrap(" ".join(step.sentences), WIDTH, initial_indent=head, subsequent_indent=" " * len(head))
    yield from _wrapped(f"At the end: {how_it_stands(run.end, words)}.", "  ")


def _wrapped(text: str, indent: str, more: int = 0) -> list[str]:
    later = " " * (len(indent) + more)
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=later) or [indent.rstrip()]
