"""The section of drawings, and any drawing as the page holds it: within a box that scrolls on screen, whole on paper."""

import re
from collections.abc import Iterator

from seqcheck.draw.drawing import About
from seqcheck.draw.render import inline
from seqcheck.review.absences import absent
from seqcheck.review.marks import note
from seqcheck.review.markup import Element, Piece, Trusted, el, escaped
from seqcheck.review.record import Picture, PictureKind, Review, Section
from seqcheck.review.tables import scrolling

TITLES = {
    PictureKind.MAP: "Map of reachable situations",
    PictureKind.LOCKS: "Who locks whom",
    PictureKind.STEPS: "Step charts",
    PictureKind.STATES: "State charts",
}

SIZE = re.compile(r'width="(\d+)pt" height="(\d+)pt"')
WIDEST = 720
"""Points of a drawing that shrunk to an upright sheet still has text of 7 pt."""


def about(review: Review) -> About:
    """Return what every picture says of its origin."""
    model = review.model
    return About(machine=model.name, revision=model.revision, file=review.file, sha256=review.sha256)


def drawings(review: Review) -> Iterator[Piece]:
    """Yield all drawings, by kind."""
    yield note("Shape, line and text carry the meaning; each drawing says what its own stand for.")
    for kind, title in TITLES.items():
        of_kind = [one for one in review.pictures if one.kind is kind]
        yield el("h3", {"id": f"drawings-{kind.value}"}, title)
        if not of_kind:
            yield el("p", None, absent(review, Section.MAP if kind is PictureKind.MAP else Section.DRAWINGS, "There is none."))
        yield from map(_picture, of_kind)


def _picture(picture: Picture) -> Element:
    anchor = f"picture-{picture.name}"
    svg = inline(picture.svg, anchor.replace(".", "_"), escaped(picture.title))
    looks = "wide" if _is_wide(svg) else picture.kind.value
    return figure(anchor, picture.title, Trusted(svg), looks)


def _is_wide(svg: str) -> bool:
    """Tell whether a drawing needs a sheet of paper sideways to be read."""
    size = SIZE.search(svg)
    return size is not None and int(size[1]) > WIDEST and int(size[1]) > int(size[2])


def figure(anchor: str, title: str, svg: Trusted, looks: str = "") -> Element:
    """Return a drawing in its box."""
    caption = f"{anchor}-caption"
    attributes = {"id": anchor, "class": f"drawing {looks}".strip()}
    return el("figure", attributes, el("figcaption", {"id": caption}, title), scrolling(caption, svg))
