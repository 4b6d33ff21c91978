"""The section on the permissive audit: what each permissive and trip is for, refusals without need, mends, margins."""

from collections.abc import Iterator, Sequence

from seqcheck.analyse.auditing.audit import Audit, Refused
from seqcheck.analyse.auditing.mends import Mended
from seqcheck.analyse.auditing.purposes import Purpose, Purposes
from seqcheck.report.audit_changes import margin_words, offer_words, without_offer
from seqcheck.report.audit_text import ABSENT, SEEN, hazards_words, more_words, purpose_words, refused_words
from seqcheck.report.audit_words import part_words
from seqcheck.review.absences import absent
from seqcheck.review.marks import bullets, name, note
from seqcheck.review.markup import Element, Piece, el
from seqcheck.review.record import Review, Section
from seqcheck.review.tables import Column, Row, Table, cell, columns, table

MENDS = (
    "What would keep a hazard away: one more permissive of a command on the run that meets it, which refuses no more than it "
    "must. Each machine mended so was searched."
)
MARGINS = "How far one duration may change, all else being as it is, before a verdict turns."
ASK = "The command seqcheck audit with --runs tells the run that shows each answer."


def audit(review: Review) -> Iterator[Piece]:
    """Yield what the audit found."""
    found = review.audit
    if found is None:
        yield el("p", None, absent(review, Section.AUDIT, "The audit was not made."))
        return
    yield note(ASK)
    if found.purposes is not None:
        yield from _purposes(found.purposes)
    yield from _refused(found, found.refused or ())
    yield from _mended(found.mended or ())
    if found.margins:
        yield el("h3", {"id": "margins"}, "Margins")
        yield note(MARGINS)
        yield bullets(margin_words(margin, review.words) for margin in found.margins)
    missing = [f"{title}: {found.missing[name_]}" for name_, title in ABSENT if name_ in found.missing]
    if missing:
        yield el("h3", {"id": "audit-open"}, "Not wholly answered")
        yield bullets(missing)


def _purposes(found: Purposes) -> Iterator[Piece]:
    yield el("h3", {"id": "purposes"}, "What each permissive and trip is for")
    yield note(f"What becomes possible if it alone is taken out: {len(found.purposes)}, in turn.")
    if found.already:
        yield el("p", None, f"Violated as it is, and so left aside: {', '.join(need.id for need in found.already)}.")
    told = [purpose for purpose in found.purposes if found.alone_known or purpose.needs]
    if len(told) < len(found.purposes):
        others = "the others" if told else "them"
        yield el("p", None, f"Of {others} nothing is known: the search ended before it could tell.")
    if not told:
        return
    rows = tuple(_purpose(purpose, found) for purpose in told)
    heads = (*columns("Command", "Permissive or trip", "What it is for"), Column(title="Line", numbers=True, narrow=True))
    yield table(Table(id="purpose-table", caption="Purposes of permissives and trips", columns=heads, rows=rows))


def _purpose(purpose: Purpose, found: Purposes) -> Row:
    part = purpose.part
    return Row(
        cells=(
            cell(name(part.step or "(trip)")),
            cell(part_words(part)),
            cell(purpose_words(purpose, found)),
            cell(f"{part.line}"),
        )
    )


def _refused(audited: Audit, refused: Sequence[Refused]) -> Iterator[Piece]:
    if not refused:
        return
    yield el("h3", {"id": "refusals"}, "Refused without need")
    yield note(SEEN)
    if audited.unmet is not None and not audited.unmet:
        yield el("p", None, "There is no hazard that is not met as it is, so refusals have none to keep away.")
        return
    hazards = hazards_words(audited)
    rows = tuple(
        Row(cells=(cell(name(one.command)), cell(refused_words(one, hazards)), cell("; ".join(more_words(one)))))
        for one in refused
    )
    heads = columns("Command", "What was found", "More")
    yield table(Table(id="refusal-table", caption="Refusals, command by command", columns=heads, rows=rows))


def _mended(mended: Sequence[Mended]) -> Iterator[Element]:
    if not mended:
        return
    yield el("h3", {"id": "mends"}, "What would keep a hazard away")
    yield note(MENDS)
    rows = []
    for one in mended:
        for offer in one.offers:
            asks = f"asks in addition: {offer.condition} ({offer_words(offer)})"
            rows.append(Row(cells=(cell(name(one.id)), cell(f"“{offer.command}”"), cell(asks))))
        rows += [Row(cells=(cell(name(one.id)), cell(""), cell(line))) for line in without_offer(one)]
    heads = columns("Hazard", "Command", "What would keep it away")
    yield table(Table(id="mend-table", caption="Mends", columns=heads, rows=tuple(rows)))
