"""Everything that a study of faults found out, as it is reported: fault sets, notice, category behaviour, what was covered."""

from fractions import Fraction

from msgspec import Struct

from seqcheck.analyse.assumptions import assumptions
from seqcheck.analyse.faults.campaign import Covered
from seqcheck.analyse.faults.category import Basis, Indication, indication
from seqcheck.analyse.faults.collecting import Row
from seqcheck.analyse.faults.desk import Ended
from seqcheck.analyse.faults.noticing import Noticed
from seqcheck.model.model import Model, Source


class Study(Struct, frozen=True, kw_only=True):
    """A study of the faults of one file. *noticed* None: that was not asked, or not come to."""

    machine: str
    revision: str
    tick_s: Fraction
    up_to: int
    faults: tuple[str, ...]
    rows: tuple[Row, ...]
    covered: tuple[Covered, ...]
    ended: Ended | None
    noticed: tuple[Noticed, ...]
    indications: tuple[Indication, ...]
    assumptions: tuple[str, ...]
    sources: tuple[Source, ...]

    @property
    def complete(self) -> bool:
        """Whether every set was looked at to its end."""
        return self.ended is None and not any(row.open for row in self.rows)

    @property
    def reaches_anything(self) -> bool:
        """Whether anything is reached by a set of faults, the empty one included."""
        return any(row.reached for row in self.rows)


class Found(Struct, frozen=True, kw_only=True):
    """What a campaign has come to."""

    up_to: int
    rows: tuple[Row, ...]
    covered: tuple[Covered, ...]
    ended: Ended | None
    noticed: tuple[Noticed, ...]


def study(model: Model, found: Found, *, has_signals: bool) -> Study:
    """Return the study of a machine, given with all its faults. *has_signals*: they stick every sensor and output."""
    whole = {one.size for one in found.covered if one.done >= one.total}
    basis = Basis(up_to=found.up_to, complete_sizes=whole, has_signals=has_signals, noticed=found.noticed)
    indicated = (indication(row, basis) for row in found.rows)
    return Study(
        machine=model.name,
        revision=model.revision,
        tick_s=model.tick_s,
        up_to=found.up_to,
        faults=model.faults,
        rows=found.rows,
        covered=found.covered,
        ended=found.ended,
        noticed=found.noticed,
        indications=tuple(one for one in indicated if one is not None),
        assumptions=assumptions(model),
        sources=model.sources,
    )
