"""The shapes that the JSON values of a proof file must have. What has another one raises `ValueError`."""

from typing import TypeAlias

from seqcheck.model.run import Value
from seqcheck.proof.form import Domain, Kind

Json: TypeAlias = bool | int | float | str | list["Json"] | dict[str, "Json"] | None


def whole(value: Json) -> int:
    """Return a whole number that is not negative."""
    if not isinstance(value, int) or isinstance(value, bool) or value < 0:
        raise ValueError(value)
    return value


def entries(value: Json, least: int, most: int | None = None) -> list[Json]:
    """Return the entries of a list of so many."""
    if not isinstance(value, list) or len(value) < least or (most is not None and len(value) > most):
        raise ValueError(value)
    return value


def text(value: Json) -> str:
    """Return a text."""
    if not isinstance(value, str):
        raise ValueError(value)  # noqa: TRY004 - all shapes raise the same
    return value


def texts(value: Json) -> tuple[str, ...]:
    """Return a list of texts."""
    return tuple(text(entry) for entry in entries(value, 0))


def pairs(value: Json) -> tuple[tuple[int, int], ...]:
    """Return a list of pairs of whole numbers."""
    found = [entries(entry, 2, 2) for entry in entries(value, 0)]
    return tuple((whole(a), whole(b)) for a, b in found)


def domain(value: Json) -> Domain:
    """Return a name with its bounds."""
    name, lowest, highest = entries(value, 3, 3)
    if not isinstance(lowest, int) or not isinstance(highest, int) or lowest > highest:
        raise ValueError(value)
    return Domain(name=text(name), lowest=lowest, highest=highest)


def about(value: Json) -> tuple[Kind, str]:
    """Return what a claim is about."""
    kind, id_ = entries(value, 2, 2)
    return Kind(text(kind)), text(id_)


def layered(value: Json) -> tuple[Kind, str, tuple[tuple[int, int], ...]]:
    """Return what a claim is about, and its layers."""
    kind, id_, roots = entries(value, 3, 3)
    return Kind(text(kind)), text(id_), pairs(roots)


def shown(value: Json) -> Value:
    """Return a value of a variable."""
    if not isinstance(value, bool | int | str):
        raise ValueError(value)  # noqa: TRY004 - all shapes raise the same
    return value


def values(value: Json) -> tuple[tuple[str, Value], ...]:
    """Return names with their values."""
    found = [entries(entry, 2, 2) for entry in entries(value, 0)]
    return tuple((text(name), shown(one)) for name, one in found)


def act(value: Json) -> tuple[str, Value | None]:
    """Return who acts, and what a panel item is set to."""
    if isinstance(value, str):
        return value, None
    name, to = entries(value, 2, 2)
    return text(name), shown(to)
