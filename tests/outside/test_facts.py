"""Facts of the trade as check values: a machine that keeps to them holds; each enforcement lost breaks just its own hazard."""

import pytest

from tests.outside.conftest import Verify
from tests.outside.facts import LOSSES, MACHINE, Loss, without


def test_the_machine_that_keeps_to_the_facts_holds(verify: Verify) -> None:
    """Common practice, no source."""
    given = verify(MACHINE)
    assert {result.id for result in given.plain.results if result.verdict != "holds"} == set()
    assert given.exit_code == 0


@pytest.mark.parametrize("loss", LOSSES, ids=lambda loss: loss.fact)
def test_each_order_that_a_fact_forbids_is_found(verify: Verify, loss: Loss) -> None:
    """Common practice, no source. Exactly the hazards of the fact are violated, each with a run."""
    given = verify(without(loss))
    hazards = {result.id for result in given.plain.results if result.kind == "hazard" and result.verdict == "violated"}
    assert hazards == loss.hazards
    assert all((given.plain.of(hazard).steps or 0) > 0 for hazard in hazards)
    assert given.exit_code == 1
