"""The engines by name, each imported when it is asked for."""

from seqcheck.search.engine import Engine

NAMES = ("plain",)


def engine(name: str) -> Engine:
    """Return the engine of that name. Raises `KeyError`."""
    if name == "plain":
        from seqcheck.search.plain.plain import PlainEngine

        return PlainEngine()
    raise KeyError(name)
