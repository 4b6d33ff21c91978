"""Names from a file as parts of file names: plain letters and digits, none twice, whatever the names are."""

import itertools
import re
import unicodedata
from collections.abc import Sequence

MOST_LETTERS = 48


def slug(text: str) -> str:
    """Return a text as part of a file name: lower-case letters a to z, digits and hyphens; empty if nothing is left."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:MOST_LETTERS].strip("-")


def slugs(texts: Sequence[str]) -> tuple[str, ...]:
    """Return a slug for each text; one that an earlier text has, or that is empty, is told apart by a number."""
    plain = [slug(text) or "unnamed" for text in texts]
    found: dict[str, None] = {}
    for one in plain:
        others = (f"{one}-{number}" for number in itertools.count(2))
        name = one if one not in found else next(other for other in others if other not in found and other not in plain)
        found[name] = None
    return tuple(found)
