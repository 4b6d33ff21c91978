"""Names places of the page so that links to them last: after the ids of the file where these are plain, else by number."""

import re
from collections.abc import Iterable
from itertools import count

PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9_-]{0,40}")


def anchors(kind: str, names: Iterable[str]) -> tuple[str, ...]:
    """Return an id of the page for each name, all different."""
    taken: set[str] = set()
    found = []
    for number, name in enumerate(names, start=1):
        wanted = f"{kind}-{name if PLAIN.fullmatch(name) else f'number-{number}'}"
        again = (f"{wanted}--{times}" for times in count(2))
        chosen = wanted if wanted not in taken else next(one for one in again if one not in taken)
        taken.add(chosen)
        found.append(chosen)
    return tuple(found)
