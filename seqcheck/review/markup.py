"""Elements of a page, and the one place where text becomes HTML: all text is escaped, none can reorder what is around it."""

import re
from collections.abc import Iterable, Mapping
from html import escape
from typing import TypeAlias

from msgspec import Struct

VOID = frozenset({"br", "col", "hr", "input", "meta"})
PLAIN = frozenset({"title"})
"""Elements that hold text only, so that right-to-left text in them cannot be set apart by an element."""

CONTROL_PICTURES = 0x2400
LINE_BREAKS = frozenset({0x09, 0x0A})
REPLACED = "\ufffd"
REORDERING = (0x061C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A))
"""Characters that nobody sees and that change the order of others."""

UNSEEN: Mapping[int, str] = {
    **{code: chr(CONTROL_PICTURES + code) for code in range(0x20) if code not in LINE_BREAKS},
    0x7F: "\u2421",
    **dict.fromkeys(range(0x80, 0xA0), REPLACED),
    **dict.fromkeys(REORDERING, REPLACED),
    **dict.fromkeys(range(0xD800, 0xE000), REPLACED),
    **dict.fromkeys((0xFFFE, 0xFFFF), REPLACED),
}
ESCAPES: Mapping[int, str] = {**UNSEEN, **{ord(character): escape(character) for character in "&<>\"'"}}
RIGHT_TO_LEFT = "\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc\U00010800-\U00010fff\U0001e800-\U0001efff"
STRETCH = re.compile(f"[{RIGHT_TO_LEFT}](?:[^A-Za-z\u00c0-\u058f\n]*[{RIGHT_TO_LEFT}])?")
"""A stretch of right-to-left text, with the spaces, digits and marks inside it."""


MOST_UNBROKEN = 16
"""Letters of a word that stay on one line; a longer one may go on on the next."""

SPACES = re.compile(r"(\s+)")
SYLLABLE = re.compile(f"[^_]{{1,{MOST_UNBROKEN}}}_{{0,{MOST_UNBROKEN}}}|_{{1,{MOST_UNBROKEN}}}")


class Trusted(Struct, frozen=True):
    """Markup of our own making that is written as it is: drawings, the page's style and script."""

    markup: str


class Element(Struct, frozen=True):
    """An element. An attribute that is true stands alone, one that is false is left out."""

    name: str
    attributes: Mapping[str, str | int | bool]
    children: tuple["Piece", ...]


Piece: TypeAlias = Element | Trusted | str
Attributes: TypeAlias = Mapping[str, str | int | bool]


def el(name: str, attributes: Attributes | None = None, *children: Piece | Iterable[Piece]) -> Element:
    """Return an element; what is iterable among *children* is taken one by one."""
    return Element(name, attributes or {}, tuple(_flat(children)))


def _flat(children: Iterable[Piece | Iterable[Piece]]) -> Iterable[Piece]:
    for child in children:
        if isinstance(child, Element | Trusted | str):
            yield child
        else:
            yield from child


def html(piece: Piece) -> str:
    """Return a piece as HTML."""
    written: list[str] = []
    _write(piece, written, isolate=True)
    return "".join(written)


def _write(piece: Piece, written: list[str], *, isolate: bool) -> None:
    if isinstance(piece, str):
        written.append(text_html(piece) if isolate else escaped(piece))
    elif isinstance(piece, Trusted):
        written.append(piece.markup)
    else:
        attributes = "".join(_attribute(name, value) for name, value in piece.attributes.items())
        written.append(f"<{piece.name}{attributes}>")
        for child in piece.children:
            _write(child, written, isolate=piece.name not in PLAIN)
        if piece.name not in VOID:
            written.append(f"</{piece.name}>")


def _attribute(name: str, value: str | int | bool) -> str:  # noqa: FBT001 - the value of an attribute may be a truth
    if value is False:
        return ""
    return f" {name}" if value is True else f' {name}="{escaped(str(value))}"'


def seen(text: str) -> str:
    """Return a text in which what cannot be seen is visible, or replaced."""
    return text.translate(UNSEEN)


def escaped(text: str) -> str:
    """Return a text as markup or an attribute's value shows it."""
    return text.translate(ESCAPES)


def text_html(text: str) -> str:
    """Return a text as markup shows it, each right-to-left stretch set apart from what is around it; long words may break."""
    if text.isascii():
        return _breakable(text)
    parts = enumerate(_stretches(text))
    return "".join(f"<bdi>{_breakable(part)}</bdi>" if place % 2 else _breakable(part) for place, part in parts)


def _breakable(text: str) -> str:
    """Return a text as markup in which long words may break, after underscores if they have some."""
    if all(len(word) <= MOST_UNBROKEN for word in text.split()):
        return escaped(text)
    return "".join(
        escaped(word) if len(word) <= MOST_UNBROKEN else "<wbr>".join(map(escaped, SYLLABLE.findall(word)))
        for word in SPACES.split(text)
    )


def isolated(text: str) -> str:
    """Return a text for a script to show, each right-to-left stretch set apart by marks."""
    if text.isascii():
        return seen(text)
    parts = enumerate(_stretches(seen(text)))
    return "".join(f"\u2068{part}\u2069" if place % 2 else part for place, part in parts)


def _stretches(text: str) -> Iterable[str]:
    """Yield by turns what is between the right-to-left stretches, and these."""
    last = 0
    for found in STRETCH.finditer(text):
        yield text[last : found.start()]
        yield found.group()
        last = found.end()
    yield text[last:]
