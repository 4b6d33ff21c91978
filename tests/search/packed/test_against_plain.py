"""The packed engine against the plain one on random machines and on the committed sequences, with their faults."""

from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import HealthCheck, event, given, settings

from seqcheck.check.machine import Machine
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model.expression import Expression
from seqcheck.model.model import Model, condition_of
from seqcheck.search.engine import Limits, Stop
from seqcheck.search.packed.packed import PackedEngine
from seqcheck.search.plain.plain import PlainEngine
from tests.effort import examples
from tests.outside.machines import machines
from tests.outside.reading import machine_of
from tests.search.observing import observed_in
from tests.search.packed.comparing import answers

SEQUENCES = sorted((Path(__file__).parents[3] / "sequences").glob("*.yaml"))
RELAXED = settings(
    max_examples=examples(50), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
MOST_STATES = 3_000
LARGE = {"burner_draft", "separator", "separator_draft", "steam_door_draft", "two_hand_press", "two_hand_press_draft"}


def conditions(model: Model) -> tuple[Expression, ...]:
    """Return every condition of the model, to be watched."""
    found = [condition_of(p.rule).test for p in model.properties]
    found += [guard.test for step in model.steps for guard in step.guards]
    return (*found, *(reaction.when.test for reaction in model.reactions), *(timer.q for timer in model.timers))


def fault_sets(machine: Machine) -> list[tuple[str, ...]]:
    """Return no fault, each alone, and all pairs."""
    names = tuple(fault.name for fault in machine.faults)
    return [(), *((name,) for name in names), *combinations(names, 2)]


def agree(model: Model, threads: int, most: int | None = None) -> bool:
    """Compare the engines on one model; False if it has too many states."""
    watches = conditions(model)
    plain = PlainEngine().explore(model, watches, Limits(states=most), lambda _: None)
    if plain.stopped is Stop.STATES:
        return False
    packed = PackedEngine(threads).explore(model, watches, Limits(), lambda _: None)
    assert answers(model, packed) == answers(model, plain)
    beyond = abs((packed.complete_steps or 0) - (plain.complete_steps or 0))
    assert beyond <= 1, "a last layer of states that were overtaken may count"
    return True


@RELAXED
@given(text=machines())
def test_random_machines(text: str) -> None:
    machine = machine_of(text)
    for number, faults in enumerate(fault_sets(machine)):
        models = [compile_machine(machine, faults)]
        models += [compile_observed(machine, id_, faults) for id_ in observed_in(machine)]
        if not all(agree(model, 1 + number % 3, MOST_STATES) for model in models):
            event("too many states")


@pytest.mark.parametrize("path", SEQUENCES, ids=lambda path: path.stem)
def test_the_committed_sequences(path: Path) -> None:
    machine = machine_of(path.read_text(encoding="utf-8"))
    agreed = [agree(compile_machine(machine, faults), 2, MOST_STATES) for faults in fault_sets(machine)[:4]]
    assert any(agreed) or path.stem in LARGE
