"""Makes a campaign over the faults of a text, in this process unless told otherwise."""

from collections.abc import Callable
from pathlib import Path

from seqcheck.analyse.faults.campaign import Campaign, Machines
from seqcheck.analyse.faults.collecting import Collector, Row, subjects
from seqcheck.analyse.faults.crews import Crew, Here
from seqcheck.analyse.faults.desk import Desk, Orders
from seqcheck.analyse.faults.keeping import FORM, Heading, Kept
from seqcheck.check.machine import Machine
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.search.engine import Limits

HEADING = Heading(form=FORM, version="0", sequence_sha256="0", search="auto")


def machines_of(machine: Machine) -> Machines:
    return Machines(
        everything=compile_machine(machine, [fault.name for fault in machine.faults]),
        studying=lambda faults: compile_machine(machine, faults),
        observing=lambda id_, faults: compile_observed(machine, id_, faults),
    )


def desk_of(
    crew: Callable[[], Crew] = Here, *, kept: Kept | None = None, engine: str = "auto", limits: Limits | None = None
) -> Desk:
    orders = Orders(engine=engine, limits=limits or Limits(), crew=crew, at_once=True, watch=lambda _: None)
    return Desk(orders=orders, kept=kept or Kept(None, HEADING))


def campaign_of(machine: Machine, up_to: int, desk: Desk | None = None) -> Campaign:
    machines = machines_of(machine)
    return Campaign(
        machines=machines,
        up_to=up_to,
        desk=desk or desk_of(),
        collector=Collector(subjects(machines.everything), machines.everything.faults),
    )


def rows_of(machine: Machine, up_to: int, desk: Desk | None = None) -> tuple[Row, ...]:
    """Return what a whole campaign finds."""
    campaign = campaign_of(machine, up_to, desk)
    with campaign.desk:
        shown = list(campaign.run())
    rows = campaign.collector.rows()
    assert sorted((one.result.id, one.faults) for one in shown) == sorted(
        (one.result.id, one.faults) for row in rows for one in row.reached
    )
    return rows


def sets_of(rows: tuple[Row, ...]) -> dict[str, set[tuple[tuple[str, ...], tuple[int, int] | None]]]:
    """Return each subject's minimal sets with the steps and ticks of their runs."""
    return {
        row.subject.id: {
            (one.faults, None if one.result.run is None else (one.result.run.step_count, one.result.run.tick_count))
            for one in row.reached
        }
        for row in rows
    }


def kept_in(path: Path, heading: Heading = HEADING) -> Kept:
    return Kept(path, heading).open()
