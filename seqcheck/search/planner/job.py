"""What engines that compete are asked, and what can become of them."""

from collections.abc import Callable
from enum import Enum
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.search.engine import Engine, Exploration, Extras, Limits, Observer

if TYPE_CHECKING:
    from seqcheck.search.planner.standby import Standby


class Job(Struct, frozen=True, kw_only=True):
    """What `explore` is asked, and how engines are found by name. *meanwhile* is done while engines search elsewhere.

    *standby* is a process that has begun already, for the first engine that it is for.
    """

    find: Callable[[str], Engine]
    model: Model
    watches: tuple[Expression, ...]
    limits: Limits
    observer: Observer
    extras: Extras
    meanwhile: Callable[[], None] | None = None
    standby: "Standby | None" = None


class Entry(Struct, frozen=True, kw_only=True):
    """An engine that may take part: after so many seconds, if there is so much memory to begin with.

    *instead_of* names one that it stands in for; *only_beside*: it begins only while another is running. *share* is the part
    of this computer's memory that all together may have taken when it stops, where no limit was given.
    """

    engine: str
    after_s: float
    needs_mb: float
    instead_of: str = ""
    only_beside: bool = False
    share: float | None = None


class Fate(Enum):
    """What became of an engine that did not win."""

    BEHIND = "it was ahead of {engine}"
    UNFIT = "{engine} is not made for this machine: {why}"
    BROKE = "{engine} broke off: {why}"
    DIED = "{engine} died: {why}"
    NO_ROOM = "there was not the memory to start {engine}"
    STOPPED = "{engine} came to {why}"


class NoAnswerError(Exception):
    """Every engine that was tried broke off; the text says why each did."""


def ask(job: Job, name: str, reason: str) -> Exploration:
    """Ask an engine in this process."""
    found = job.find(name).explore(job.model, job.watches, job.limits, job.observer, job.extras)
    return replace(found, reason=reason)
