"""The engines by name, each imported when it is asked for."""

from seqcheck.search.engine import Engine

NAMES = ("plain", "symbolic", "packed")


def engine(name: str) -> Engine:
    """Return the engine of that name. Raises `KeyError`."""
    if name == "plain":
        from seqcheck.search.plain.plain import PlainEngine

        return PlainEngine()
    if name == "symbolic":
        from seqcheck.search.symbolic.symbolic import SymbolicEngine

        return SymbolicEngine()
    if name == "packed":
        from seqcheck.search.packed.packed import PackedEngine

        return PackedEngine()
    raise KeyError(name)
