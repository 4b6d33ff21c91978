"""Text for pictures: wrapped, shortened, and free of what a renderer or a page could take for something else than text."""

import textwrap
import unicodedata
from html import escape

MORE = "…"
CONTROL_PICTURES = 0x2400
DELETE, SYMBOL_FOR_DELETE = 0x7F, "\u2421"


def visible(text: str) -> str:
    """Return a text in which what cannot be seen (controls, lone surrogates, reordering marks) is visible."""
    return "".join(_visible(character) for character in text)


def _visible(character: str) -> str:
    code = ord(character)
    if code < 0x20:
        return chr(CONTROL_PICTURES + code)
    if code == DELETE:
        return SYMBOL_FOR_DELETE
    if unicodedata.category(character) in {"Cc", "Cf", "Cs", "Co", "Cn"}:
        return "\ufffd"
    return character


def wrapped(text: str, width: int = 24, most: int = 3) -> tuple[str, ...]:
    """Return a text in at most *most* lines of at most *width* characters; what does not fit ends in `…`."""
    lines = textwrap.wrap(visible(" ".join(text.split())), width) or [""]
    if len(lines) <= most:
        return tuple(lines)
    last = lines[most - 1]
    return (*lines[: most - 1], (last if len(last) < width else last[: width - 1]) + MORE)


def shortened(text: str, width: int) -> str:
    """Return a text on one line of at most *width* characters."""
    return wrapped(text, width, 1)[0]


def in_label(text: str) -> str:
    """Return a text as a renderer's plain label shows it: backslashes and ampersands stand for themselves."""
    return visible(text).replace("\\", "\\\\").replace("&", "&amp;")


def in_markup(text: str) -> str:
    """Return a text as markup shows it."""
    return escape(visible(text))
