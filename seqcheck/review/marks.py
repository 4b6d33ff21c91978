"""Small pieces that many sections of the page have: verdicts, links, notes, a section with its heading."""

from collections.abc import Iterable

from seqcheck.analyse.verdict import Result, Verdict
from seqcheck.model.run import Run
from seqcheck.report.lines import counted
from seqcheck.report.narrate import Vocabulary, duration_words
from seqcheck.report.text import WORDS
from seqcheck.review.markup import Element, Piece, el

SHAPES = {Verdict.HOLDS: "✓", Verdict.VIOLATED: "✗", Verdict.UNDECIDED: "?"}
"""Stand before the word; the page's style adds an outline."""


def mark(verdict: Verdict, words: str = "") -> Element:
    """Return a verdict as it stands in a table; *words* say it otherwise."""
    return el("span", {"class": f"mark {verdict.value}"}, f"{SHAPES[verdict]} {words or WORDS[verdict]}")


def link(anchor: str, *content: Piece) -> Element:
    """Return a link within the page."""
    return el("a", {"href": f"#{anchor}"}, *content)


def note(*content: Piece) -> Element:
    """Return a paragraph that says how something is to be read."""
    return el("p", {"class": "note"}, *content)


def bullets(lines: Iterable[Piece]) -> Element:
    """Return a list."""
    return el("ul", None, (el("li", None, line) for line in lines))


def name(text: str) -> Element:
    """Return a name of the file, set apart from the text around it."""
    return el("bdi", None, text)


def cost(run: Run, words: Vocabulary) -> str:
    """Return the steps and the time of a run."""
    return f"{counted(run.step_count, 'step')}, {duration_words(run.tick_count * words.tick_s)}"


def title(result: Result) -> str:
    """Return how a result is headed: its id, and its text unless that is in the id."""
    text = result.text or result.condition
    return f"{result.id}: {text}" if text else result.id
