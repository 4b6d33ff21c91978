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
IN_THIS_PROCESS = "plain"
FIRST = "symbolic"
"""The engine that is asked first where one is chosen."""

LARGE_BYTES = 12_000
"""Machines whose files are smaller are seldom large; they are answered before a process has begun."""


def standby_for(path: Path, engine_name: str, limits: Limits) -> "AbstractContextManager[Standby | None]":
    """Return a process with the engine that is asked first; None where it is not worth it.

    Not where limits are set: what it takes belongs to no search.
    """
    if limits != Limits() or not path.is_file() or not is_needed(path, engine_name):
        return nullcontext()
    from seqcheck.search.planner.standby import Standby, is_worth_it

    return Standby(FIRST if engine_name == AUTO else engine_name) if is_worth_it() else nullcontext()


def is_needed(path: Path, engine_name: str) -> bool:
    """Tell whether a file is likely to be searched by an engine in a process of its own."""
    return path.stat().st_size >= LARGE_BYTES if engine_name == AUTO else engine_name != IN_THIS_PROCESS
