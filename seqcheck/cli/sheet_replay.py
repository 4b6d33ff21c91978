"""Plays every row of acceptance-test sheets in the simulator: refused where that is expected, effects as expected."""

from seqcheck.analyse.record import Disagreement
from seqcheck.analyse.testing.records import Row, Sheets, SheetTest
from seqcheck.check.machine import Machine
from seqcheck.model.run import RunStep, StepKind
from seqcheck.simulate.replay import replay
from seqcheck.simulate.simulator import Simulator


def confirm(machine: Machine, sheets: Sheets) -> None:
    """Play all tests row by row, and the ways back. Raises `Disagreement`."""
    for test in sheets.tests:
        _play(machine, test)
        found = replay(machine, test.restoring.run or test.run).disagreement
        if found is not None:
            raise Disagreement(f"the simulator does not confirm the run of test {test.id}: {found}")


def _play(machine: Machine, test: SheetTest) -> None:
    simulator = Simulator(machine, faults=(), start=dict(test.run.start))
    for row in test.rows:
        for step in row.steps:
            _take(simulator, row, step)
        if row.tried is not None:
            _try(simulator, row)
        standing = dict(simulator.state())
        for name, value in row.effects:
            if standing[name] != value:
                raise Disagreement(f"row {row.id}: the simulator has {name} = {standing[name]}, expected is {value}")


def _take(simulator: Simulator, row: Row, step: RunStep) -> None:
    waits = step.by.kind is StepKind.WAIT
    outcome = simulator.wait(step.ticks) if waits else simulator.take(step.by)
    if outcome.refused_by or outcome.failure is not None:
        raise Disagreement(f"row {row.id}: the simulator does not take the step {step.by}: {outcome.refused_by}")


def _try(simulator: Simulator, row: Row) -> None:
    """Try a command that must be refused, by exactly one permissive, and must change nothing."""
    if row.tried is None:
        return
    before = simulator.state()
    outcome = simulator.take(row.tried)
    if outcome.refused_by != (row.refused_by,) or simulator.state() != before:
        raise Disagreement(f"row {row.id}: the simulator does not refuse by “{row.refused_by}” alone: {outcome.refused_by}")
