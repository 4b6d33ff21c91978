"""Tables of a page: captions, scopes, cells with a key to sort by, within a region that scrolls."""

from collections.abc import Iterable, Sequence

from msgspec import Struct

from seqcheck.review.markup import Element, Piece, el

FEW_ROWS = 8
"""Tables with fewer rows have no field to filter them."""


class Column(Struct, frozen=True, kw_only=True):
    """A column. *numbers*: sorted as numbers, and set to the right."""

    title: str
    numbers: bool = False
    sortable: bool = True
    narrow: bool = False


class Cell(Struct, frozen=True, kw_only=True):
    """A cell; *key* is what it is sorted by where that is not its text."""

    content: tuple[Piece, ...]
    key: str | int | None = None


class Row(Struct, frozen=True, kw_only=True):
    """A row; the first cell is its head. *id* is where a link leads."""

    cells: tuple[Cell, ...]
    id: str = ""


class Table(Struct, frozen=True, kw_only=True):
    """A table. *id* begins the ids of its parts."""

    id: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    sortable: bool = True
    looks: str = ""


def cell(*content: Piece, key: str | int | None = None) -> Cell:
    """Return a cell."""
    return Cell(content=content, key=key)


def cells(*texts: str) -> tuple[Cell, ...]:
    """Return cells that hold a text each."""
    return tuple(Cell(content=(text,)) for text in texts)


LONGEST_ID = 12


def ids(title: str, shown: Iterable[str]) -> Column:
    """Return a column of ids, narrow if all are short."""
    return Column(title=title, narrow=all(len(one) <= LONGEST_ID for one in shown))


def columns(*titles: str) -> tuple[Column, ...]:
    """Return columns of text."""
    return tuple(Column(title=title) for title in titles)


def table(made: Table) -> Element:
    """Return a table within a region that scrolls and can be reached by keyboard."""
    caption = f"{made.id}-caption"
    looks = f"{'sortable ' if made.sortable and len(made.rows) > 1 else ''}{made.looks}".strip()
    inside = el(
        "table",
        {"id": made.id, "class": looks},
        el("caption", {"id": caption}, made.caption),
        el("thead", None, el("tr", None, (_head(column, sorts=made.sortable) for column in made.columns))),
        el("tbody", None, (_row(row, made.columns) for row in made.rows)),
    )
    filterable = made.sortable and len(made.rows) >= FEW_ROWS
    return el("div", {"class": "table filterable" if filterable else "table"}, scrolling(caption, inside))


def scrolling(labelled_by: str, *content: Piece | Iterable[Piece]) -> Element:
    """Return a region that scrolls what is too wide for the screen; on paper it is whole."""
    return el("div", {"class": "scroll", "role": "group", "aria-labelledby": labelled_by, "tabindex": 0}, *content)


def _head(column: Column, *, sorts: bool) -> Element:
    sort = ("number" if column.numbers else "text") if sorts and column.sortable else ""
    attributes = {"scope": "col", "class": _looks(column), "data-sort": sort}
    return el("th", {name: value for name, value in attributes.items() if value}, column.title)


def _looks(column: Column) -> str:
    return " ".join(filter(None, ("number" if column.numbers else "", "narrow" if column.narrow else "")))


def _row(row: Row, heads: Sequence[Column]) -> Element:
    return el("tr", {"id": row.id} if row.id else None, (_cell(n, one, heads[n]) for n, one in enumerate(row.cells)))


def _cell(place: int, one: Cell, column: Column) -> Element:
    attributes: dict[str, str | int] = {"scope": "row"} if place == 0 else {}
    looks = _looks(column)
    if looks:
        attributes["class"] = looks
    if one.key is not None:
        attributes["data-key"] = one.key
    return el("th" if place == 0 else "td", attributes, one.content)
