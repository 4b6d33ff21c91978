"""The worked example of the language: the answers that its own text states, worked out apart from this program."""

from pathlib import Path

from seqcheck.compile.compile import compile_machine
from tests.outside.comparing import compare
from tests.outside.conftest import Verify
from tests.outside.independent import grown, survey
from tests.outside.reading import machine_of

PRESS = Path(__file__).parents[1] / "check" / "press.yaml"
STEPS = {(): None, ("gate switch stuck shut",): 5, ("drive fails to stop",): 3}
"""Fewest steps to H1, without faults and with two faults alone."""


def test_the_press_has_the_answers_that_its_description_states(verify: Verify) -> None:
    """Without faults H1 holds; 5 steps if the gate switch sticks, 3 if the drive fails to stop; R2 is lost after 3 steps."""
    given = verify(PRESS.read_text(encoding="utf-8"), "--faults", "1")
    by_faults = {case.faults: case for case in given.cases}
    assert {faults: by_faults[faults].of("H1").steps for faults in STEPS} == STEPS
    assert by_faults[()].of("H1").verdict == "holds"
    assert (by_faults[()].of("R2").verdict, by_faults[()].of("R2").steps) == ("violated", 3)
    assert by_faults[()].of("R1").verdict == "holds"
    assert given.exit_code == 1


def test_an_independent_search_agrees_on_the_press(verify: Verify) -> None:
    """All sets of up to two faults, all answers."""
    text = PRESS.read_text(encoding="utf-8")
    given = verify(text, "--faults", "2")
    assert len(given.cases) == 7
    for case in given.cases:
        graph = grown(compile_machine(machine_of(text), case.faults), 10_000)
        assert graph is not None
        compare(case, survey(graph))
