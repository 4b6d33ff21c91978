"""Arranges the nodes of a map in rows, and judges beforehand how large it comes out, so that it can be read on one sheet.

The estimate needs no renderer, so that the DOT text of a drawing does not depend on whether there is one.
"""

from collections.abc import Iterator, Mapping, Sequence, Set
from typing import TypeAlias

from msgspec import Struct

PAPER = (538.0, 785.0)
"""A4 in points less 10 mm on each side."""

CHARACTER, LINE_HEIGHT = 5.1, 12.0
PADDING = 14.0
PASSING = 2.0
HEAD_LINE = 15.0
"""Points that things take in the layout, at 10 points a letter: measured on the committed sequences, and rounded up."""

EDGES_THAT_DOUBLE, FLAT_ONES_THAT_DOUBLE = 120, 40
SLACK = 0.93
"""Edges that cannot run straight make a drawing wider: so many, or so many within a row, make it twice as wide."""

COLUMNS = range(2, 9)


class Sized(Struct, frozen=True, kw_only=True):
    """What is to be arranged: each node's width in characters and its lines, each edge with the width of its label.

    *head* is what stands above, in characters and lines, *gaps* the room beside and between rows in points.
    """

    nodes: Mapping[str, tuple[int, int]]
    edges: Sequence[tuple[str, str, int]]
    head: tuple[int, int]
    gaps: tuple[float, float]
    edge_lines: int


class Rows(Struct, frozen=True, kw_only=True):
    """Rows from the top, and by what factor a sheet of paper makes them smaller, as far as that can be told beforehand."""

    rows: tuple[tuple[str, ...], ...]
    scale: float
    size: tuple[float, float]


def arranged(sized: Sized, levels: Sequence[Sequence[str]]) -> Rows:
    """Return the rows that come out largest; nodes of an earlier level never stand below those of a later one.

    Two nodes that lead to each other do not stand side by side: a renderer would put one label upon the other.
    """
    edges = {(tail, head) for tail, head, _ in sized.edges}
    apart = {ends for ends in edges if ends[::-1] in edges}
    return max((_judged(sized, rows) for rows in _candidates(levels, apart)), key=lambda found: found.scale)


Pairs: TypeAlias = Set[tuple[str, str]]


def _candidates(levels: Sequence[Sequence[str]], apart: Pairs) -> Iterator[list[list[str]]]:
    for columns in COLUMNS:
        yield [row for level in levels for row in _filled(level, columns, apart)]
        yield _in_turn([name for level in levels for name in level], columns, apart)


def _filled(names: Sequence[str], columns: int, apart: Pairs) -> list[list[str]]:
    """Return rows of at most so many columns, each node in the first in which it may stand."""
    rows: list[list[str]] = []
    for name in names:
        fitting = (row for row in rows if len(row) < columns and all((name, other) not in apart for other in row))
        row = next(fitting, None)
        if row is None:
            rows.append([name])
        else:
            row.append(name)
    return rows


def _in_turn(names: Sequence[str], columns: int, apart: Pairs) -> list[list[str]]:
    """Return rows of at most so many columns, nodes in the order given."""
    rows: list[list[str]] = []
    for name in names:
        if rows and len(rows[-1]) < columns and all((name, other) not in apart for other in rows[-1]):
            rows[-1].append(name)
        else:
            rows.append([name])
    return rows


def _judged(sized: Sized, rows: Sequence[Sequence[str]]) -> Rows:
    """Estimate how wide and high rows come out. Each edge takes room in every row that it passes."""
    row_of = {name: number for number, row in enumerate(rows) for name in row}
    wide = [sum(sized.nodes[name][0] * CHARACTER + PADDING + sized.gaps[0] for name in row) for row in rows]
    between = [0.0] * (len(rows) + 1)
    passing = PASSING + sized.gaps[0]
    flat = [False] * len(rows)
    for tail, head, label in sized.edges:
        above, below = sorted((row_of[tail], row_of[head]))
        flat[above] = flat[above] or above == below
        for row in range(above + 1, below):
            wide[row] += passing
        for gap in range(above, below):
            between[gap] += passing
        middle = (above + below - 1) // 2
        between[middle + (above == below)] += label * CHARACTER
    flats = sum(row_of[tail] == row_of[head] for tail, head, _ in sized.edges)
    bent = 1 + len(sized.edges) / EDGES_THAT_DOUBLE + flats / FLAT_ONES_THAT_DOUBLE
    width = max(max([*wide, *between]) * bent, sized.head[0] * CHARACTER)
    label_height = sized.edge_lines * LINE_HEIGHT
    row_gap = max(sized.gaps[1], label_height) + sized.gaps[1]
    tall = (max(sized.nodes[name][1] for name in row) * LINE_HEIGHT + PADDING + row_gap for row in rows)
    height = SLACK * (sum(tall) + sum(flat) * label_height + sized.head[1] * HEAD_LINE)
    fits = (min(1.0, across / width, down / height) for across, down in (PAPER, PAPER[::-1]))
    return Rows(rows=tuple(map(tuple, rows)), scale=max(fits), size=(width, height))


def levels(names: Sequence[str], edges: Sequence[tuple[str, str, int]], starts: Sequence[str]) -> list[list[str]]:
    """Return what is so and so many edges away from the starts, nearest first, and last what nothing leads to."""
    found = [list(starts)]
    left = [name for name in names if name not in starts]
    while found[-1]:
        reached = {head for tail, head, _ in edges if tail in found[-1]}
        found.append([name for name in left if name in reached])
        left = [name for name in left if name not in reached]
    return [level for level in (*found, left) if level]
