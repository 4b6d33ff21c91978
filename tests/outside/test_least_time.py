"""Among runs with the fewest steps the one of least time is shown: cases worked out by hand."""

from seqcheck.compile.compile import compile_machine
from tests.outside.comparing import compare
from tests.outside.conftest import Verify
from tests.outside.independent import grown, survey
from tests.outside.reading import machine_of

TWO_WAYS = """
machine: Two ways to one state
tick: 1 s
parts:
  nothing: bool
sensors:
  never: nothing
outputs:
  lamp: {states: [off, on]}
memory:
  asked: {states: [no, yes]}
timers:
  dark:    {kind: TON, in: lamp = off, pt: 3 s}
  waiting: {kind: TON, in: asked = yes, pt: 1 s}
commands:
  light it:    {permissives: {it was dark: dark.Q, nobody asked: asked = no}, then: {lamp: on}}
  ask for it:  {permissives: {it is dark: lamp = off}, then: {asked: yes}}
trips:
  it is lit: {when: waiting.Q, then: {lamp: on, asked: no}}
requirements:
  lit: {reachable: lamp = on}
"""


def test_a_state_found_late_is_found_again_sooner(verify: Verify) -> None:
    """By one step: wait 3 s and light it, or ask for it and wait 1 s. Both lead to one and the same state."""
    given = verify(TWO_WAYS)
    assert given.plain.of("lit").verdict == "holds"
    assert (given.plain.of("lit").steps, given.plain.of("lit").seconds) == (1, 1.0)
    graph = grown(compile_machine(machine_of(TWO_WAYS)), 100)
    assert graph is not None
    compare(given.plain, survey(graph))
