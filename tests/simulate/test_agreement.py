"""The simulator and the plain definition, which share no code, in lockstep over random machines and committed sequences.

In every state on the way: the same values, the same possible steps, and for each of them the same trips acting, the same
state after it, or the same failure.
"""

import random
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from seqcheck.analyse.record import snapshot
from seqcheck.check.check import check
from seqcheck.check.machine import Machine
from seqcheck.compile.compile import compile_machine
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.model import semantics
from seqcheck.model.model import Model, State, VariableKind
from seqcheck.model.run import Beyond, By, Endless, Failure, StepKind, Value
from seqcheck.simulate.simulator import Simulator
from seqcheck.syntax.read import read
from tests.effort import examples
from tests.outside.machines import machines

ROOT = Path(__file__).parents[2]
FILES = sorted([*(ROOT / "sequences").glob("*.yaml"), *(Path(__file__).parent / "cases").glob("*.yaml")])
DECLARED = (VariableKind.PART, VariableKind.PANEL, VariableKind.OUTPUT, VariableKind.MEMORY)


def read_machine(data: bytes) -> Machine:
    sink = Sink()
    document = read(data, sink)
    machine = None if document is None else check(document, sink)
    assert machine is not None, sink.diagnostics
    return machine


def outline(failure: Failure | None) -> tuple[object, ...]:
    """Return what must agree of a failure: all but the wording."""
    if isinstance(failure, Beyond):
        return (failure.rule, failure.variable)
    return () if failure is None else failure.names


def settled(model: Model, raw: State) -> State | Failure:
    """Return what a start settles to by the definition, or how it fails."""
    try:
        return semantics.settle(model, raw)
    except semantics.Failed as failed:
        return failed.failure


def act(model: Model, state: State, number: int | None) -> tuple[State | None, tuple[str, ...]]:
    """Take a step that does not fail by the definition; return where it leads and what acted, by first acting."""
    acted: dict[str, None] = {}

    def watch(names: list[str], _values: State) -> None:
        acted.update(dict.fromkeys(names))

    if number is None:
        return semantics.tick(model, state, watch), tuple(acted)
    return semantics.take(model, model.steps[number], state, watch), tuple(acted)


def compare_state(model: Model, state: State, simulator: Simulator) -> list[tuple[By, State]]:
    """Compare all there is in one state; return the steps that lead on."""
    assert dict(snapshot(model, state)) == dict(simulator.state())
    leads: list[tuple[By, State]] = []
    known: set[By] = set()
    for number, there in semantics.steps(model, state):
        step = None if number is None else model.steps[number]
        by = By(kind=StepKind.WAIT) if step is None else By(kind=step.kind, name=step.name, to=step.to)
        known.add(by)
        outcome = simulator.take(by)
        assert outcome.refused_by == (), by
        if isinstance(there, (Beyond, Endless)):
            assert outline(outcome.failure) == outline(there), by
            continue
        assert outcome.failure is None, by
        assert dict(snapshot(model, there)) == dict(simulator.state()), by
        assert (there, outcome.acted) == act(model, state, number), by
        assert simulator.undo()
        leads.append((by, there))
    assert {choice.by for choice in simulator.choices() if choice.possible} == known
    return leads


def walk(machine: Machine, faults: tuple[str, ...], seed: int, length: int) -> None:
    """Go *length* random steps from a random start, comparing every state on the way."""
    dice = random.Random(seed)  # noqa: S311 - a test
    model = compile_machine(machine, faults)
    raw = dice.choice(list(semantics.raw_starts(model)))
    placed = zip(model.variables, raw, strict=True)
    start: dict[str, Value] = {v.name: v.shown(value) for v, value in placed if v.kind in DECLARED}
    simulator = Simulator(machine, faults=faults, start=start)
    state = settled(model, raw)
    if not isinstance(state, tuple):
        assert outline(simulator.failure) == outline(state)
        return
    assert simulator.failure is None
    for _ in range(length):
        leads = compare_state(model, state, simulator)
        if not leads:
            return
        by, state = dice.choice(leads)
        simulator.take(by)


@given(machines())
@settings(max_examples=examples(80), deadline=None, suppress_health_check=list(HealthCheck))
def test_random_machines(text: str) -> None:
    machine = read_machine(text.encode())
    walk(machine, (), 1, 15)
    walk(machine, tuple(fault.name for fault in machine.faults), 2, 15)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_committed_sequences(path: Path) -> None:
    machine = read_machine(path.read_bytes())
    names = tuple(fault.name for fault in machine.faults)
    for seed, faults in enumerate(((), names, names[:1], names[1:])):
        walk(machine, faults, seed, 40)
