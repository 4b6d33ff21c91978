"""Begins an engine's process before a file is read, where it is likely to be needed. Little is imported for this."""

from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

from seqcheck.search.engine import Limits
from seqcheck.search.engines import NAMES

if TYPE_CHECKING:
    from seqcheck.search.planner.standby import Standby

AUTO = "auto"
CHOICES = (AUTO, *NAMES)

LARGE_BYTES = 12_000
"""Machines whose files are smaller are seldom large; they are answered before a process has begun."""


def standby_for(path: Path, engine_name: str, limits: Limits) -> "AbstractContextManager[Standby | None]":
    """Return a process with the engine that the planner asks first; None where it is not worth it.

    Not where limits are set: what it takes belongs to no search.
    """
    if engine_name != AUTO or limits != Limits() or not path.is_file() or path.stat().st_size < LARGE_BYTES:
        return nullcontext()
    from seqcheck.search.planner.standby import Standby, is_worth_it

    return Standby("symbolic") if is_worth_it() else nullcontext()
