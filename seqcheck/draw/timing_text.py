"""How wide text is, and how it is cut into lines, without a font: the widths are such that the usual fonts stay below them.

The classes were measured against Helvetica, Arial and DejaVu Sans (the widest of the three), in parts of the font's size.
"""

import unicodedata
from functools import lru_cache

from seqcheck.draw.labels import MORE, visible

NARROW = (0.41, frozenset("iIjl'|.,:;! "))
SLIM = (0.47, frozenset('ftr()[]/\\-"'))
QUOTES = (0.58, frozenset("“”"))
WIDE = (1.03, frozenset("mwMW%@—…"))
LOWER, UPPER, OTHER, DOUBLE = 0.65, 0.84, 1.16, 1.4
BOLD = 1.15
LATIN = 0x250


def width_of(text: str, size: float, *, bold: bool = False) -> float:
    """Return the width that a text takes at most."""
    return sum(map(_width, text)) * size * (BOLD if bold else 1.0)


@lru_cache(maxsize=4096)
def _width(character: str) -> float:
    for width, members in (NARROW, SLIM, QUOTES, WIDE):
        if character in members:
            return width
    if ord(character) < LATIN:
        return LOWER if character.islower() or character.isdigit() or character == "_" else UPPER
    if unicodedata.combining(character):
        return 0.0
    return DOUBLE if unicodedata.east_asian_width(character) in "WF" else OTHER


def lines_of(text: str, width: float, size: float, *, bold: bool = False) -> tuple[str, ...]:
    """Return a text in lines that are not wider than *width*, broken at blanks, and within a word that is too wide."""
    lines: list[str] = []
    line = ""
    for word in visible(" ".join(text.split())).split(" "):
        longer = f"{line} {word}" if line else word
        if width_of(longer, size, bold=bold) <= width:
            line = longer
            continue
        if line:
            lines.append(line)
        *whole, line = _pieces(word, width, size, bold=bold)
        lines += whole
    return (*lines, line)


def _pieces(word: str, width: float, size: float, *, bold: bool) -> list[str]:
    """Return a word in pieces that are not too wide."""
    pieces = [""]
    for character in word:
        if pieces[-1] and width_of(pieces[-1] + character, size, bold=bold) > width:
            pieces.append("")
        pieces[-1] += character
    return pieces


def fitted(text: str, width: float, size: float, most: int, *, bold: bool = False) -> tuple[tuple[str, ...], bool]:
    """Return a text in at most *most* lines, and whether it was cut: then the last line ends in `…`."""
    lines = lines_of(text, width, size, bold=bold)
    if len(lines) <= most:
        return lines, False
    last = lines[most - 1]
    while last and width_of(last + MORE, size, bold=bold) > width:
        last = last[:-1]
    return (*lines[: most - 1], last.rstrip() + MORE), True
