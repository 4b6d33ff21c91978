"""Words that messages share: names in backticks, near names, lists of choices. Bounded in time, whatever a file holds."""

from collections.abc import Sequence

LONGEST_QUOTE = 60
LONGEST_COMPARED = 60
MOST_COMPARED = 15_000


def quoted(text: str) -> str:
    """Return *text* in backticks, in one line, cut if long."""
    flat = " ".join(text.split())
    if len(flat) > LONGEST_QUOTE:
        flat = flat[: LONGEST_QUOTE - 3] + "..."
    return f"`{flat}`"


def listed(names: Sequence[str], most: int = 12, *, in_quotes: bool = False) -> str:
    """Return names joined with commas, the first *most* of them."""
    first = names[:most]
    shown = ", ".join(map(quoted, first) if in_quotes else first)
    return shown if len(names) <= most else f"{shown}, ... ({len(names)} in all)"


class NearNames:
    """Looks for names a writer may have meant; gives up once a whole file has cost its share of comparisons."""

    def __init__(self) -> None:
        self._left = MOST_COMPARED

    def near(self, wrong: str, known: Sequence[str]) -> str:
        """Return the nearest of *known* (case ignored), or an empty text."""
        if len(wrong) > LONGEST_COMPARED or self._left < len(known):
            return ""
        self._left -= len(known)
        import difflib  # only a file with errors pays for it

        folded = {name.casefold(): name for name in reversed(known) if len(name) <= LONGEST_COMPARED}
        found = difflib.get_close_matches(wrong.casefold(), folded, n=1, cutoff=0.6)
        return folded[found[0]] if found else ""

    def hint(self, wrong: str, known: Sequence[str], what: str = "known here") -> str:
        """Return `did you mean ...?` with the nearest name, else the choices there are."""
        near = self.near(wrong, known)
        if near:
            return f"did you mean {quoted(near)}?"
        return f"{what}: {listed(known)}" if known else ""
