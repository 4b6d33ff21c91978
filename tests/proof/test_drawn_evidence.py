"""The `symbolic` engine's evidence: the same sets as those of `plain`, the same claims, confirmed by both ways."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, given, settings

from seqcheck.proof.checking import MOST, Way, states_of
from seqcheck.proof.form import CaseProof, Drawn, Proof
from tests.effort import examples
from tests.outside.machines import machines
from tests.proof.proving import CONFIRMED, Subject, again, answer, states, subject

SEQUENCES = sorted((Path(__file__).parents[2] / "sequences").glob("*.yaml"))
LARGE = 800


def same(listed: CaseProof, drawn: CaseProof) -> bool:
    """Tell whether two proofs of one case are about the same states and claim the same.

    `reachable` under faults is proved by layers, and these only where the states are listed.
    """
    ours = {(claim.kind, claim.id) for claim in listed.claims}
    theirs = {(claim.kind, claim.id) for claim in drawn.claims}
    assert isinstance(drawn.states, Drawn)
    assert all(kind.value == "reachable" and listed.faults for kind, _ in ours - theirs)
    assert theirs <= ours
    return set(states(listed)) == set(states_of(drawn, MOST) or ())


def both(its: Subject, *sets: list[str]) -> tuple[Proof, Proof]:
    return its.proof((), *sets), its.proof((), *sets, name="symbolic")


@pytest.mark.parametrize("path", [path for path in SEQUENCES if "draft" not in path.stem], ids=lambda path: path.stem)
def test_the_committed_sequences(path: Path) -> None:
    its = subject(path.read_text(encoding="utf-8"))
    listed, drawn = both(its)
    assert same(listed.cases[0], drawn.cases[0])
    assert answer(its, again(drawn)) == CONFIRMED


@settings(deadline=None, max_examples=examples(25), suppress_health_check=list(HealthCheck))
@given(machines())
def test_random_machines(text: str) -> None:
    its = subject(text)
    listed, drawn = both(its, [fault.name for fault in its.machine.faults][:1]) if its.machine.faults else both(its)
    assume(all(case.claims and len(states(case)) <= LARGE for case in listed.cases))
    assert all(same(one, other) for one, other in zip(listed.cases, drawn.cases, strict=True))
    assert answer(its, again(drawn), Way.LISTING) == CONFIRMED
    assert answer(its, again(drawn), Way.SOLVER) == CONFIRMED
