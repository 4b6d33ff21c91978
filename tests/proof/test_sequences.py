"""The committed sequences: what holds is proved and confirmed by both ways; nothing else is claimed."""

from pathlib import Path

import pytest

from seqcheck.analyse.verdict import Verdict
from seqcheck.compile.compile import compile_machine
from seqcheck.proof.checking import Way
from seqcheck.proof.form import BUILT_IN, Kind, Listed
from seqcheck.proof.writing import proof_of
from tests.proof.proving import CONFIRMED, again, answer, digest, drawn, subject, verified

SEQUENCES = sorted((Path(__file__).parents[2] / "sequences").glob("*.yaml"))
FEW_FOR_THE_SOLVER = 1_100
"""States of sequences that every test run gives to the solver too."""


@pytest.mark.parametrize("path", SEQUENCES, ids=lambda path: path.stem)
def test_what_holds_is_claimed_and_confirmed(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    its = subject(text)
    found = verified(compile_machine(its.machine))
    proof = again(proof_of([found], digest(text)))
    case = proof.cases[0]
    holding = {
        r.id if r.kind not in {k.value for k in BUILT_IN} else ""
        for r in found.case.results
        if r.verdict is Verdict.HOLDS and r.kind in {kind.value for kind in Kind}
    }
    assert {claim.id for claim in case.claims} == holding
    assert answer(its, proof) == CONFIRMED
    assert isinstance(case.states, Listed)
    if len(case.states.numbers) <= FEW_FOR_THE_SOLVER:
        assert answer(its, proof, Way.SOLVER) == CONFIRMED
        assert answer(its, again(drawn(proof)), Way.LISTING) == CONFIRMED


SMALLER = [path for path in SEQUENCES if "draft" not in path.stem and path.stem != "separator"]


@pytest.mark.parametrize("path", SMALLER, ids=lambda path: path.stem)
def test_each_fault_alone(path: Path) -> None:
    """With a fault under study, what still holds is proved; states just after it must be in a layer of `reachable`."""
    its = subject(path.read_text(encoding="utf-8"))
    faults = [fault.name for fault in its.machine.faults]
    proof = its.proof((), *([fault] for fault in faults))
    assert len(proof.cases) == 1 + len(faults)
    assert answer(its, again(proof)) == CONFIRMED
