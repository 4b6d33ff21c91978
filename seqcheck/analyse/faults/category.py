"""Says which category behaviour of ISO 13849-1 the modelled logic shows for a hazard, and which level the risk graph asks for.

Both are indications: categories are about the architecture of real parts, their reliability and their diagnostics too.
Source: ISO 13849-1, Annex A, Figure A.1 (risk graph), and its categories, as restated in public material. On a model: B and 1,
one fault may lose the safety function; 3, no single fault does; 4, nor does a second fault after one that went unnoticed.
Category 2 needs a test by the machine's control, which a model without one cannot show.
"""

from collections.abc import Collection, Mapping, Sequence
from enum import Enum

from msgspec import Struct

from seqcheck.analyse.faults.collecting import Row
from seqcheck.analyse.faults.noticing import Notice, Noticed
from seqcheck.analyse.faults.sets import FaultSet

REQUIRED_LEVEL: Mapping[str, str] = {
    "S1 F1 P1": "a",
    "S1 F1 P2": "b",
    "S1 F2 P1": "b",
    "S1 F2 P2": "c",
    "S2 F1 P1": "c",
    "S2 F1 P2": "d",
    "S2 F2 P1": "d",
    "S2 F2 P2": "e",
}
"""The required performance level PLr by the parameters of the risk graph, rated before the safeguard."""


class Behaviour(Enum):
    """The category behaviour shown."""

    NONE = "none"
    B_OR_1 = "B or 1"
    THREE = "3"
    FOUR = "4"
    UNKNOWN = "not known"


class Indication(Struct, frozen=True, kw_only=True):
    """What is indicated for one hazard. *because* says which sets of faults decide, *not_looked_at* what was left out."""

    hazard: str
    required_level: str
    behaviour: Behaviour
    because: tuple[FaultSet, ...]
    not_looked_at: tuple[str, ...]


class Basis(Struct, frozen=True, kw_only=True):
    """What a campaign looked at: how many faults at a time, which sizes to the end, whether every signal sticks, and notice.

    A fault that is not known to be noticed counts as one that is not: one that never matters alone waits for a second one.
    """

    up_to: int
    complete_sizes: Collection[int]
    has_signals: bool
    noticed: Sequence[Noticed]


def indication(row: Row, basis: Basis) -> Indication | None:
    """Return what is indicated for a hazard with a risk graph; None for anything else."""
    level = REQUIRED_LEVEL.get(row.subject.risk)
    if row.subject.kind != "hazard" or level is None:
        return None
    behaviour, because = _behaviour(row, basis)
    return Indication(
        hazard=row.subject.id,
        required_level=level,
        behaviour=behaviour,
        because=because,
        not_looked_at=tuple(_left_out(behaviour, basis)),
    )


def _behaviour(row: Row, basis: Basis) -> tuple[Behaviour, tuple[FaultSet, ...]]:
    sets = [one.faults for one in row.reached]
    open_sizes = {len(one.faults) for one in row.open} | (set(range(basis.up_to + 1)) - set(basis.complete_sizes))
    if () in sets:
        return Behaviour.NONE, ((),)
    singles = tuple(faults for faults in sets if len(faults) == 1)
    if 0 in open_sizes or (1 in open_sizes and not singles) or basis.up_to < 1:
        return Behaviour.UNKNOWN, ()
    if singles:
        return Behaviour.B_OR_1, singles
    if basis.up_to < 2 or not basis.has_signals:
        return Behaviour.THREE, ()
    noticed = {one.fault for one in basis.noticed if one.notice is Notice.NOTICED}
    pairs = tuple(faults for faults in sets if len(faults) == 2 and not noticed.issuperset(faults))
    if pairs or 2 in open_sizes:
        return Behaviour.THREE, pairs
    return Behaviour.FOUR, ()


def _left_out(behaviour: Behaviour, basis: Basis) -> list[str]:
    left_out = []
    if behaviour is Behaviour.UNKNOWN and basis.up_to < 1:
        left_out.append("single faults (--up-to 1)")
    if behaviour in {Behaviour.THREE, Behaviour.FOUR} and not basis.has_signals:
        left_out.append("every sensor and output stuck (faults: derive: [sensors, outputs])")
    if behaviour is Behaviour.THREE and basis.up_to < 2:
        left_out.append("pairs of faults (--up-to 2)")
    if behaviour is Behaviour.UNKNOWN and not left_out:
        left_out.append("the sets of faults that the campaign did not finish")
    return left_out
