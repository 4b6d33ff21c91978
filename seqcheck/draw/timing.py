"""A run as a timing diagram in SVG: lanes for signals, waits to scale, the deciding moments marked. Black and white."""

from collections.abc import Iterator
from html import escape

from seqcheck import __version__
from seqcheck.analyse.verdict import Result, StepAccount
from seqcheck.draw.drawing import About
from seqcheck.draw.labels import visible
from seqcheck.draw.timing_lanes import lanes_of
from seqcheck.draw.timing_layout import page_of
from seqcheck.draw.timing_page import PAGE, Anchor, Box, Page, Stroke, Text
from seqcheck.model.model import Model
from seqcheck.model.run import Run
from seqcheck.report.narrate import Vocabulary

FONTS = "Helvetica, Arial, sans-serif"
PRINTED_MM = 180
"""The width at which the smallest text is 7.1 pt high."""


def timing_svg(  # noqa: PLR0913 - a run with all that tells of it
    run: Run,
    accounts: tuple[StepAccount, ...],
    model: Model,
    words: Vocabulary,
    *,
    about: About,
    result: Result | None = None,
    prefix: str = "",
) -> str:
    """Return a run of *model* as SVG; *result* is the verdict that it shows.

    With a *prefix* (letters, digits, `-`) it is made to stand in a page: ids begin with it, the colour is that of the text
    around it. Without, it is a file of its own, on white, printed 180 mm wide.
    """
    return svg_of_page(page_of(lanes_of(run, accounts, model, words, result), about), prefix)


def svg_of_page(page: Page, prefix: str = "") -> str:
    """Return a page as SVG."""
    return "\n".join(_svg(page, prefix)) + "\n"


def _svg(page: Page, prefix: str) -> Iterator[str]:
    ids = f"{prefix}-title", f"{prefix}-description"
    size = f'width="{PRINTED_MM}mm" height="{_n(page.height * PRINTED_MM / PAGE)}mm"'
    colour = 'color="black"'
    if prefix:
        size, colour = f'width="{_n(PAGE)}" height="{_n(page.height)}"', f'aria-labelledby="{ids[0]} {ids[1]}"'
    else:
        ids = "title", "description"
        colour += ' aria-labelledby="title description"'
        yield '<?xml version="1.0" encoding="UTF-8"?>'
        yield f"<!-- seqcheck {__version__} -->"
    yield (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(PAGE)} {_n(page.height)}" {size} role="img" {colour} '
        f'font-family="{FONTS}" fill="currentColor" stroke="none">'
    )
    yield f'<title id="{ids[0]}">{_escaped(page.title)}</title>'
    yield f'<desc id="{ids[1]}">{_escaped(page.description)}</desc>'
    if not prefix:
        yield f'<rect width="{_n(PAGE)}" height="{_n(page.height)}" fill="white"/>'
    yield '<g fill-opacity="0.09">'
    yield from map(_shade, page.shades)
    yield '</g>\n<g stroke="currentColor" stroke-linejoin="round">'
    yield from map(_stroke, page.strokes)
    yield "</g>\n<g>"
    yield from map(_text, page.texts)
    yield "</g>\n</svg>"


def _shade(box: Box) -> str:
    width, height = _n(box.right - box.left), _n(box.bottom - box.top)
    return f'<rect x="{_n(box.left)}" y="{_n(box.top)}" width="{width}" height="{height}"/>'


def _stroke(stroke: Stroke) -> str:
    points = " ".join(f"{_n(x)},{_n(y)}" for x, y in stroke.points)
    dash = f' stroke-dasharray="{stroke.dash}"' if stroke.dash else ""
    fill = "" if stroke.filled else ' fill="none"'
    return f'<{"polygon" if stroke.closed else "polyline"} points="{points}"{fill} stroke-width="{_n(stroke.weight)}"{dash}/>'


def _text(text: Text) -> str:
    anchor = "" if text.anchor is Anchor.START else f' text-anchor="{text.anchor.value}"'
    bold = ' font-weight="bold"' if text.bold else ""
    whole = f"<title>{_escaped(text.whole)}</title>" if text.whole else ""
    place = f'x="{_n(text.x)}" y="{_n(text.y)}" font-size="{_n(text.size)}"'
    return f"<text {place}{anchor}{bold}>{_escaped(text.words)}{whole}</text>"


def _escaped(words: str) -> str:
    return escape(visible(words))


def _n(number: float) -> str:
    """Return a number with two decimals at most, the same on every computer."""
    return f"{number:.2f}".rstrip("0").rstrip(".")
