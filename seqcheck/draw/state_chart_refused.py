"""What is refused in the states of a chart: the lists that stand beside states, and pages that have nothing else."""

from collections.abc import Iterator, Sequence
from itertools import pairwise

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.charting import Refusal
from seqcheck.draw.drawing import Arrow, Drawing, Edge, Line, Node
from seqcheck.draw.labels import wrapped
from seqcheck.model.run import StepKind

NOTE_WIDTH = 28
"""Characters on a line of a list of what is refused."""

IN_A_ROW = 3
"""States side by side on a page, so that it fits an upright sheet."""

LINES_OF_ROW, MOST_LINES = 5, 64
"""Lines that the space around a row is worth, and lines that a page holds so that it fits an upright sheet."""

STATE = "Rounded: a state."
REFUSED = (
    "Dashed: what is refused in every one of these states, and what refuses it.",
    "“By hand”: what a person does, and what then stands in the way.",
)
NOT_HERE = "In a state that is missing here nothing is refused throughout, of what has to do with what is charted."


class Refused(Struct, frozen=True, kw_only=True):
    """What is refused in a state without leading to another one of the chart: a list, and what ties it to the state."""

    state: Node
    note: Node
    edge: Edge

    @classmethod
    def of(cls, number: int, state: Node, refusals: Sequence[Refusal], most: int) -> "Refused":
        """Return the list of what is refused in a state, with so many reasons at most."""
        lines = ("refused here:", *reasons(refusals, most, NOTE_WIDTH))
        id_, tooltip = f"r{number}", "; ".join(map(said, refusals))
        return cls(
            state=state,
            note=Node(id=id_, lines=lines, left=True, line=Line.DASHED, tooltip=tooltip),
            edge=Edge(tail=state.id, head=id_, line=Line.DASHED, arrow=Arrow.CROSSBAR, weight=4, tooltip=tooltip),
        )


def refused_pages(refused: Sequence[Refused], states: int, base: Drawing) -> Iterator[Drawing]:
    """Yield pages of what is refused in each of so many states of a chart; *base* has what they have in common with it."""
    rows = [tuple(refused[start : start + IN_A_ROW]) for start in range(0, len(refused), IN_A_ROW)]
    pages: list[list[tuple[Refused, ...]]] = []
    room = 0
    for row in rows:
        needed = LINES_OF_ROW + max(len(one.state.lines) for one in row) + max(len(one.note.lines) for one in row)
        if needed > room:
            pages.append([])
            room = MOST_LINES
        pages[-1].append(row)
        room -= needed
    title, notes = title_of_refused(base), (*base.notes, *((NOT_HERE,) if len(refused) < states else ()))
    for number, page in enumerate(pages, 1):
        yield replace(
            base,
            name=f"{base.name}.refused" if len(pages) == 1 else f"{base.name}.refused.{number}",
            title=title if len(pages) == 1 else f"{title} (page {number} of {len(pages)})",
            nodes=tuple(node for row in page for one in row for node in (one.state, one.note)),
            edges=(*(one.edge for row in page for one in row), *_below(page)),
            legend=(STATE, *REFUSED),
            notes=notes,
        )


def title_of_refused(base: Drawing) -> str:
    """Return the title of the pages of what is refused."""
    return f"What is refused in the {base.title[:1].lower()}{base.title[1:]}"


def _below(page: Sequence[tuple[Refused, ...]]) -> Iterator[Edge]:
    """Yield what keeps each row below the one before, in columns."""
    for upper, lower in pairwise(page):
        for one, other in zip(upper, lower, strict=False):
            yield Edge(tail=one.note.id, head=other.state.id, line=Line.HIDDEN, arrow=Arrow.NONE)


def reasons(refusals: Sequence[Refusal], most: int, width: int) -> Iterator[str]:
    """Yield what is refused in lines so wide, for each reason its steps, then the reason."""
    by_reason: dict[tuple[tuple[str, ...], bool], list[Refusal]] = {}
    for one in refusals:
        by_reason.setdefault((one.by, one.alone), []).append(one)
    for (by, alone), group in list(by_reason.items())[:most]:
        yield from wrapped(_names(group), width, 5)
        for line in wrapped(f"by: {(' and ' if alone else ' or ').join(by)}", width - 2, 5):
            yield f"   {line}"
    if len(by_reason) > most:
        yield f"and {len(by_reason) - most} more reasons"


def _names(group: Sequence[Refusal]) -> str:
    """Return the names of steps; that they are done by hand is said once where all are."""
    by_hand = [one.kind is StepKind.PERSON for one in group]
    names = ", ".join(
        f"{'by hand: ' if hand and not all(by_hand) else ''}{one.name}" for one, hand in zip(group[:3], by_hand, strict=False)
    )
    return f"{'by hand: ' if all(by_hand) else ''}{names}" + (f" and {len(group) - 3} more" if len(group) > 3 else "")


def said(one: Refusal) -> str:
    """Return a refusal as a sentence."""
    return f"{one.name} (line {one.line}) is refused by {(' and ' if one.alone else ' or ').join(one.by)}"
