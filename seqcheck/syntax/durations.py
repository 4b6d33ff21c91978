"""Reads durations: `500 ms`, `1.5 s`, T#1m30s, and intervals of them. Gives exact seconds; knows nothing of ticks."""

import re
from fractions import Fraction
from typing import NamedTuple

_UNITS = {
    "ms": Fraction(1, 1000),
    "s": Fraction(1),
    "m": Fraction(60),
    "min": Fraction(60),
    "h": Fraction(3600),
    "d": Fraction(86400),
}
_NUMBER = r"[0-9]{1,18}(?:\.[0-9]{1,18})?"
_PLAIN = re.compile(rf"({_NUMBER})\s*(ms|s|min|h)", re.IGNORECASE)
_LITERAL = re.compile(
    rf"(?:T|TIME)\#(?:({_NUMBER})d_?)?(?:({_NUMBER})h_?)?(?:({_NUMBER})m_?(?!s))?(?:({_NUMBER})s_?)?(?:({_NUMBER})ms)?",
    re.IGNORECASE,
)
_OR_MORE = re.compile(r"(.+?)\s+or\s+more", re.IGNORECASE)
_AT_ONCE = re.compile(r"at\s+once", re.IGNORECASE)
_BARE_NUMBER = re.compile(_NUMBER)
_LONGEST = 100

# the same forms for a schema: no case folding there, so only what the language page shows
PLAIN_PATTERN = r"[0-9]+(\.[0-9]+)? *(ms|s|min|h)"
LITERAL_PATTERN = r"([Tt]|[Tt][Ii][Mm][Ee])#[0-9a-zA-Z._]+"
DURATION_PATTERN = f"^({PLAIN_PATTERN}|{LITERAL_PATTERN})$"
INTERVAL_PATTERN = (
    f"^([Aa][Tt] +[Oo][Nn][Cc][Ee]|({PLAIN_PATTERN}|{LITERAL_PATTERN})( +or +more)?"
    f"|([0-9]+(\\.[0-9]+)?|{PLAIN_PATTERN}|{LITERAL_PATTERN}) *\\.\\. *({PLAIN_PATTERN}|{LITERAL_PATTERN}))$"
)


class Bounds(NamedTuple):
    """An interval in seconds; *latest* None: it has no end."""

    earliest: Fraction
    latest: Fraction | None


def read_duration(text: str) -> Fraction | None:
    """Return the seconds of a duration, or None if *text* is none."""
    text = text.strip()
    if len(text) > _LONGEST:
        return None
    plain = _PLAIN.fullmatch(text)
    if plain:
        return Fraction(plain[1]) * _UNITS[plain[2].lower()]
    return read_literal(text)


def read_literal(text: str) -> Fraction | None:
    """Return the seconds of a literal such as T#1m30s, or None: units from great to small, a fraction only in the last."""
    literal = _LITERAL.fullmatch(text)
    if literal is None or text.endswith("_"):
        return None
    given = [(number, unit) for number, unit in zip(literal.groups(), ("d", "h", "m", "s", "ms"), strict=True) if number]
    if not given or any("." in number for number, _ in given[:-1]):
        return None
    return sum((Fraction(number) * _UNITS[unit] for number, unit in given), Fraction(0))


def read_interval(text: str) -> Bounds | None:
    """Return the bounds of `a..b`, `d`, `d or more` or `at once`, or None if *text* is none of them."""
    text = text.strip()
    if len(text) > _LONGEST:
        return None
    if _AT_ONCE.fullmatch(text):
        return Bounds(Fraction(0), Fraction(0))
    or_more = _OR_MORE.fullmatch(text)
    if or_more:
        earliest = read_duration(or_more[1])
        return None if earliest is None else Bounds(earliest, None)
    first, dots, second = text.partition("..")
    latest = read_duration(second if dots else first)
    if latest is None or not dots:
        return None if latest is None else Bounds(latest, latest)
    earliest = _first_bound(first.strip(), second.strip())
    return None if earliest is None else Bounds(earliest, latest)


def _first_bound(first: str, second: str) -> Fraction | None:
    """Return the left end, which may leave its unit to the right one: `1..2 s`."""
    if not _BARE_NUMBER.fullmatch(first):
        return read_duration(first)
    unit = _PLAIN.fullmatch(second)
    return Fraction(first) * _UNITS[unit[2].lower()] if unit else None


def spell(seconds: Fraction) -> str:
    """Write a duration as a file would have it."""
    for unit in ("h", "min", "s"):
        if seconds and seconds % _UNITS[unit] == 0:
            return f"{seconds // _UNITS[unit]} {unit}"
    if (seconds * 1000).denominator == 1:
        return f"{seconds * 1000} ms" if seconds else "0 s"
    return f"{float(seconds * 1000):g} ms"
