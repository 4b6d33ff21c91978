"""What ends the page: findings, the signature block, the cautions."""

from collections.abc import Iterator

from seqcheck.report.lines import CAUTION
from seqcheck.report.narrate import how_it_stands, sentence
from seqcheck.review.marks import note
from seqcheck.review.markup import Element, Piece, el
from seqcheck.review.record import Review
from seqcheck.review.tables import Row, Table, cell, cells, columns, table

ROLES = ("Drawn up by", "Checked by", "Released by")
EARLY = "The search ended early: there may be some that it did not come to."
SIGNED = "Signed for what stands in this file, about the model with the SHA-256 on the cover, under the assumptions given."


def findings(review: Review) -> Iterator[Piece]:
    """Yield what is no violation, and worth a look."""
    found = [one for case in review.verification.cases for one in case.findings]
    known = all(case.complete for case in review.verification.cases)
    if not found:
        yield el("p", None, "There are no findings." if known else f"No findings are known. {EARLY}")
        return
    yield note(" ".join(("No violations, but worth a look.", *([] if known else [EARLY]))))
    rows = []
    for one in found:
        there = f" There: {how_it_stands(one.run.end, review.words)}." if one.run is not None else ""
        line = str(one.line) if one.line > 1 else ""
        rows.append(Row(cells=(cell(sentence(one.text) + there), cell(one.kind.replace("_", " ")), cell(line))))
    heads = columns("Finding", "Kind", "Line")
    yield table(Table(id="finding-table", caption="Findings", columns=heads, rows=tuple(rows)))


def signatures(_: Review) -> Iterator[Piece]:
    """Yield the signature block."""
    yield el("p", None, SIGNED)
    heads = columns("Role", "Name", "Organisation", "Date", "Signature")
    rows = tuple(Row(cells=(*cells(role, "", "", "", ""),)) for role in ROLES)
    yield table(Table(id="signature-table", caption="Signatures", columns=heads, rows=rows, sortable=False, looks="signing"))


def cautions(_: Review) -> Iterator[Element]:
    """Yield the cautions."""
    yield el("p", {"class": "caution"}, CAUTION)
