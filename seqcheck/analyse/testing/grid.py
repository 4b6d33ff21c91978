"""What a cause-and-effect matrix holds, and its lines as plain texts."""

from collections.abc import Iterator, Sequence

from msgspec import Struct

LEGEND = (
    ("T", "trip: if the cause is not in its normal state, the effect is forced"),
    ("P", "permissive: the cause must be in its normal state, or the command is refused"),
    ("R", "reset needed: a trip that stays until the command named in the column's row “reset” puts it back"),
    ("T*, R*", "together with other causes only: see the list of what this matrix can't say"),
    ("P*", "one of several conditions of which one is enough: see the same list"),
    ("10 s", "a time after a letter is the preset of the timer that the cause stands for"),
    ("(blank)", "no direct effect; in columns voting and delay: the file does not say"),
)


class CauseRow(Struct, frozen=True, kw_only=True):
    """A cause: one signal with its normal state. *within* names the trips and permissives that read it so."""

    tag: str
    sort: str
    description: str
    normal: str
    delay: str
    voting: str
    within: tuple[str, ...]


class EffectColumn(Struct, frozen=True, kw_only=True):
    """An effect: what a trip writes, or a command that is accepted; *reset* names the commands that put it back."""

    tag: str
    sort: str
    action: str
    reset: str


class Unsaid(Struct, frozen=True, kw_only=True):
    """Something that the matrix can't say: its sort, where it stands in the file, and what it is."""

    sort: str
    about: str
    text: str


class Matrix(Struct, frozen=True, kw_only=True):
    """A whole matrix; *cells* has a row for each cause and in it a text for each effect."""

    machine: str
    revision: str
    causes: tuple[CauseRow, ...]
    effects: tuple[EffectColumn, ...]
    cells: tuple[tuple[str, ...], ...]
    legend: tuple[tuple[str, str], ...]
    unsaid: tuple[Unsaid, ...]


def rows_of(matrix: Matrix) -> Iterator[Sequence[str]]:
    """Yield the matrix as lines of texts: a head for each property of the effects, then a line for each cause."""
    blank = [""] * 6
    yield [*blank, "effect", *(effect.tag for effect in matrix.effects)]
    yield [*blank, "sort", *(effect.sort for effect in matrix.effects)]
    yield [*blank, "action", *(effect.action for effect in matrix.effects)]
    yield [*blank, "reset", *(effect.reset for effect in matrix.effects)]
    yield ["cause", "sort", "description", "normal state", "delay", "voting", "in", *("" for _ in matrix.effects)]
    for cause, cells in zip(matrix.causes, matrix.cells, strict=True):
        told = (cause.tag, cause.sort, cause.description, cause.normal, cause.delay, cause.voting, "; ".join(cause.within))
        yield [*told, *cells]
