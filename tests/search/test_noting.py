"""What is asked of the whole graph has one answer, whether transitions were noted on the way or are worked out afterwards."""

from itertools import combinations
from unittest.mock import patch

import pytest
from hypothesis import HealthCheck, event, given, settings

from seqcheck.compile.compile import compile_machine
from seqcheck.search.engine import Exploration, Extras, Limits, Stop
from seqcheck.search.plain import plain
from seqcheck.search.plain.plain import PlainEngine
from tests.effort import examples
from tests.outside.machines import machines
from tests.outside.reading import machine_of

MOST_STATES = 1_500
ANEW = Limits(memory_mb=8_000, states=MOST_STATES)
"""Where memory is limited nothing is noted."""


def explored(text: str, faults: tuple[str, ...], limits: Limits) -> Exploration:
    return PlainEngine().explore(compile_machine(machine_of(text), faults), (), limits, lambda _: None, Extras(evidence=True))


@settings(max_examples=examples(60), deadline=None, suppress_health_check=list(HealthCheck))
@given(text=machines())
def test_random_machines(text: str) -> None:
    names = [fault.name for fault in machine_of(text).faults]
    for faults in [(), *((name,) for name in names), *combinations(names[:3], 2)]:
        noted = explored(text, faults, Limits(states=MOST_STATES))
        if noted.stopped is not None:
            event("too many states")
            continue
        assert noted == explored(text, faults, ANEW)
        with patch.object(plain, "MOST_NOTED", 5):
            assert noted == explored(text, faults, Limits(states=MOST_STATES))


RING = """
machine: Ring
parts: {a: {range: 0..9}}
people: {on: {if: a < 8, then: {a: a + 1}}, back: {if: a = 8, then: {a: 0}}, off: {if: a = 4, then: {a: 9}}}
requirements: {R1: {recoverable: a = 0}, R2: {recoverable: a <> 5}}
"""


@pytest.mark.parametrize("limits", [Limits(), ANEW])
def test_a_way_back_that_is_lost_is_found(limits: Limits) -> None:
    found = explored(RING, (), limits)
    assert found.stopped is not Stop.STATES
    assert found.found.keys() == {0}
    assert [state[0] for state in found.found[0].states] == [0, 1, 2, 3, 4, 9]
