"""A hazard that holds only in passing is told: until a trip reacts to a timer, with a division, late in a long settling."""

import pytest

from seqcheck.compile.compile import compile_machine
from seqcheck.search.engine import Limits
from seqcheck.search.plain.plain import PlainEngine
from tests.outside.reading import machine_of

ELAPSES = """
machine: A trip reacts to a timer
tick: 1 s
parts: {p: bool}
panel: {key: bool}
outputs: {o: [off, on]}
timers: {t: {kind: TON, in: key AND o = on, pt: 2 s}}
commands: {go: {then: {o: on}}}
trips: {cuts: {when: t.Q, then: {o: off}}}
hazards:
  H1: {must not be: t.Q AND o = on}
"""


def test_a_hazard_between_a_timer_and_the_trip_that_reacts_to_it_is_met_in_passing() -> None:
    found = PlainEngine().explore(compile_machine(machine_of(ELAPSES)), (), Limits(), lambda _: None)
    assert found.found == {}
    assert found.passing == {0}


ROUNDS = """
machine: Counting while it settles
parts: {n: {range: 0..300}, go: bool}
people: {start: {if: NOT go, then: {go: TRUE}}}
plant: {counts: {when: go AND n < 200, after: at once, then: {n: n + 1}}}
hazards:
  H1: {must not be: CONDITION}
"""


@pytest.mark.parametrize("condition", ["n = 50", "n / 1 = 50", "n = 150", "n / 1 = 150"])
def test_a_hazard_in_passing_is_met_in_any_round_and_form(condition: str) -> None:
    text = ROUNDS.replace("CONDITION", condition)
    found = PlainEngine().explore(compile_machine(machine_of(text)), (), Limits(), lambda _: None)
    assert found.found == {}
    assert found.passing == {0}
