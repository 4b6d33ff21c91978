"""Studies the faults of a machine: fault sets, notice, category behaviour, and how much of it all was looked at."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import nullcontext
from fractions import Fraction

from msgspec import Struct

from seqcheck.analyse.assumptions import assumptions
from seqcheck.analyse.faults.asking import AUTO, Question
from seqcheck.analyse.faults.campaign import Campaign, Covered, Machines
from seqcheck.analyse.faults.category import Basis, Indication, indication
from seqcheck.analyse.faults.collecting import Collector, Reached, Row, subjects
from seqcheck.analyse.faults.desk import Desk, Ended
from seqcheck.analyse.faults.keeping import checking
from seqcheck.analyse.faults.noticing import Noticed, question, told
from seqcheck.model.model import Source


class Study(Struct, frozen=True, kw_only=True):
    """A study of the faults of one file. *noticed* are the stuck faults that were asked about, as far as that was come to."""

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


class Wanted(Struct, frozen=True, kw_only=True):
    """What is wanted of a study: sets of up to so many faults, and whether stuck signals are noticed.

    *has_signals*: the faults stick every sensor and output at every value. *tell* is given what is reached and *notice* what
    is known of notice, as it comes, before any of it counts: they may raise.
    """

    up_to: int
    has_signals: bool
    tell: Callable[[Reached], None]
    notice: Callable[[Noticed], None] | None


def study(machines: Machines, desk: Desk, wanted: Wanted) -> Study:
    """Study the faults of a machine, within the context of a desk.

    Raises `NotOursError`, `NoCrewError`, `CannotKeepError`, `Unfit` and `Disagreement`.
    """
    everything = machines.everything
    asked = list(_about_notice(machines)) if wanted.notice is not None else []
    campaign = Campaign(
        machines=machines,
        up_to=wanted.up_to,
        desk=desk,
        collector=Collector(subjects(everything), everything.faults),
        besides=[one for one in asked if isinstance(one, Question)],
    )
    if desk.orders.engine == AUTO and desk.orders.limits.states is None:
        desk.wholes = campaign.wholes()
    for reached in campaign.run():
        wanted.tell(reached)
    noticed = tuple(_noticed(asked, campaign, wanted))
    return _study(campaign, noticed, wanted)


def _about_notice(machines: Machines) -> Iterator[Question | Noticed]:
    for fault in machines.everything.faults:
        asked = question(machines.studying((fault,)))
        if asked is not None:
            yield asked


def _noticed(asked: Sequence[Question | Noticed], campaign: Campaign, wanted: Wanted) -> Iterator[Noticed]:
    """Yield what is known of notice, in file order."""
    for one in asked:
        known = one if isinstance(one, Noticed) else None
        if not isinstance(one, Noticed) and (answer := campaign.answered.get(one.study)) is not None:
            with checking(one.study) if campaign.desk.kept.is_file else nullcontext():
                known = told(one, answer)
        if known is not None and wanted.notice is not None:
            wanted.notice(known)
            yield known


def _study(campaign: Campaign, noticed: tuple[Noticed, ...], wanted: Wanted) -> Study:
    model, rows = campaign.machines.everything, campaign.collector.rows()
    whole = {one.size for one in campaign.covered if one.done >= one.total}
    basis = Basis(up_to=wanted.up_to, complete_sizes=whole, has_signals=wanted.has_signals, noticed=noticed)
    indicated = (indication(row, basis) for row in rows)
    return Study(
        machine=model.name,
        revision=model.revision,
        tick_s=model.tick_s,
        up_to=wanted.up_to,
        faults=model.faults,
        rows=rows,
        covered=tuple(campaign.covered),
        ended=campaign.desk.ended,
        noticed=noticed,
        indications=tuple(one for one in indicated if one is not None),
        assumptions=assumptions(model),
        sources=model.sources,
    )
