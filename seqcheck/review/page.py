"""Writes a review as one HTML page that needs nothing else: no network, no other file."""

import base64
import hashlib
from collections.abc import Iterable, Iterator
from importlib import resources

from msgspec import Struct

from seqcheck.review.audit_tables import audit
from seqcheck.review.closing import cautions, findings, signatures
from seqcheck.review.cover import cover
from seqcheck.review.deviations import procedures
from seqcheck.review.drawn import drawings
from seqcheck.review.fault_tables import faults
from seqcheck.review.marks import link
from seqcheck.review.markup import Element, Piece, Trusted, el, html
from seqcheck.review.record import Review
from seqcheck.review.resting_on import assumptions, sources
from seqcheck.review.run_telling import counterexamples
from seqcheck.review.shown_runs import ShownRuns, replay_data, shown_runs
from seqcheck.review.testing_tables import matrix, tests
from seqcheck.review.verdict_tables import hazards, requirements


class Part(Struct, frozen=True, kw_only=True):
    """One section of the page: where links lead, its heading, what stands in it."""

    id: str
    title: str
    content: tuple[Piece, ...]


def page_of(review: Review) -> str:
    """Return the whole page."""
    runs = shown_runs(review)
    found = tuple(parts(review, runs))
    style, script = _style(review), _file("page.js")
    head = el(
        "head",
        None,
        el("meta", {"charset": "utf-8"}),
        el("meta", {"http-equiv": "Content-Security-Policy", "content": _policy(style, script)}),
        el("meta", {"name": "viewport", "content": "width=device-width, initial-scale=1"}),
        el("meta", {"name": "generator", "content": f"seqcheck {review.tool_version}"}),
        el("title", None, f"Review: {review.model.name}"),
        el("style", None, Trusted(style)),
    )
    body = el(
        "body",
        None,
        el("a", {"class": "skip", "href": "#main"}, "Skip to the content"),
        _contents(found),
        el("main", {"id": "main", "tabindex": -1}, cover(review, runs), _sections(found)),
        replay_data(review, runs),
        el("script", None, Trusted(script)),
    )
    return f"<!DOCTYPE html>\n{html(el('html', {'lang': 'en'}, head, body))}\n"


def parts(review: Review, runs: ShownRuns) -> Iterator[Part]:
    """Yield the sections after the cover, in the order in which they are read."""
    yield _part("assumptions", "Assumptions and limits", assumptions(review))
    yield _part("sources", "Sources", sources(review))
    yield _part("hazards", "Hazards", hazards(review, runs))
    yield _part("counterexamples", "Counterexamples", counterexamples(review, runs))
    yield _part("faults", "Faults", faults(review, runs))
    yield _part("requirements", "Requirements", requirements(review, runs))
    yield _part("procedures", "Procedures and deviations", procedures(review, runs))
    yield _part("audit", "Permissive audit", audit(review))
    yield _part("matrix", "Cause-and-effect matrix", matrix(review))
    yield _part("drawings", "Drawings", drawings(review))
    yield _part("findings", "Findings", findings(review))
    yield _part("tests", "Acceptance tests", tests(review))
    yield _part("signatures", "Signatures", signatures(review))
    yield _part("cautions", "Cautions", cautions(review))


def _part(anchor: str, title: str, content: Iterable[Piece]) -> Part:
    return Part(id=anchor, title=title, content=tuple(content))


def _contents(found: Iterable[Part]) -> Element:
    entries = [el("li", None, link("cover", "Cover sheet")), *(el("li", None, link(part.id, part.title)) for part in found)]
    return el("nav", {"class": "contents", "aria-label": "Contents"}, el("ol", None, entries))


def _sections(found: Iterable[Part]) -> Iterator[Element]:
    for number, part in enumerate(found, start=1):
        heading = el("h2", {"id": f"{part.id}-title"}, f"{number} {part.title}")
        yield el("section", {"id": part.id, "aria-labelledby": f"{part.id}-title"}, heading, part.content)


# --- what the page carries with it ---
def _style(review: Review) -> str:
    """Return the style, with the foot of printed pages: the hash is ours to write, since names could hold anything."""
    origin = f'"seqcheck {review.tool_version}, file SHA-256 {review.sha256[:12]}"'
    foot = f"@page {{ @bottom-left {{ content: {origin}; }} }}"
    return f"{_file('page.css')}\n{foot}\n"


def _file(name: str) -> str:
    return resources.files("seqcheck.review").joinpath(name).read_text(encoding="utf-8")


def _policy(style: str, script: str) -> str:
    """Return what the page may load: nothing but its own style and script, known by their hashes."""
    own = f"style-src {_hash(style)}; script-src {_hash(script)}"
    return f"default-src 'none'; {own}; img-src data:; base-uri 'none'; form-action 'none'"


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
