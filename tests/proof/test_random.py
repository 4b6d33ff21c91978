"""Random machines: proofs written from `plain` are confirmed by both ways, and both ways refuse the same damage."""

import random

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from seqcheck.proof.checking import Way
from seqcheck.proof.form import ByRanks, CaseProof, Listed, Proof
from tests.effort import examples
from tests.outside.machines import machines
from tests.proof.proving import (
    BOTH,
    CONFIRMED,
    Subject,
    again,
    answer,
    drawn,
    kind_of,
    states,
    subject,
    with_case,
    with_state,
    without,
)

LARGE = 800
calm = settings(deadline=None, max_examples=examples(25), suppress_health_check=list(HealthCheck))


def proved(text: str) -> tuple[Subject, Proof]:
    """Return the proof of a machine without faults and with its first one; leave out those with nothing to prove."""
    its = subject(text)
    faults = [fault.name for fault in its.machine.faults][:1]
    proof = its.proof((), *([faults] if faults else []))
    assume(all(case.claims and isinstance(case.states, Listed) and len(case.states.numbers) <= LARGE for case in proof.cases))
    return its, proof


def refused_by_both(its: Subject, proof: Proof) -> bool:
    """Tell whether a proof is refused; the two ways must agree."""
    listing, solver = (kind_of(answer(its, proof, way)) for way in BOTH)
    assert {listing} == {solver} or solver == "UndecidedError"
    return listing == "RefusedError"


@calm
@given(machines())
def test_a_proof_is_confirmed_by_both_ways(text: str) -> None:
    its, proof = proved(text)
    assert again(proof) == proof
    assert {answer(its, proof, way) for way in BOTH} == {CONFIRMED}
    assert again(drawn(proof)) == drawn(proof)
    assert answer(its, drawn(proof), Way.LISTING) == CONFIRMED


@calm
@given(machines())
def test_every_state_is_needed(text: str) -> None:
    """A set without any one of the reachable states is not closed, or misses a start."""
    its, proof = proved(text)
    for place, case in enumerate(proof.cases):
        for left_out in range(len(states(case))):
            smaller = with_case(proof, without(case, left_out), place)
            assert kind_of(answer(its, smaller, Way.LISTING)) == "RefusedError"


@calm
@given(machines(), st.randoms(use_true_random=False))
def test_the_solver_misses_a_state_too(text: str, chance: random.Random) -> None:
    its, proof = proved(text)
    case = chance.choice(proof.cases)
    for left_out in chance.sample(range(len(states(case))), min(4, len(states(case)))):
        assert refused_by_both(its, with_case(proof, without(case, left_out), proof.cases.index(case)))


@calm
@given(machines(), st.randoms(use_true_random=False))
def test_a_further_state_is_judged_alike(text: str, chance: random.Random) -> None:
    """A state more is refused unless it leads back into the set and breaks nothing: both ways see which it is."""
    its, proof = proved(text)
    place = chance.randrange(len(proof.cases))
    case = proof.cases[place]
    for _ in range(4):
        state = tuple(chance.randint(domain.lowest, domain.highest) for domain in case.domains)
        if state not in set(states(case)):
            refused_by_both(its, with_case(proof, with_state(case, state, chance.choice((-1, 0, 1, 2))), place))


@calm
@given(machines(with_faults=False), st.randoms(use_true_random=False))
def test_a_lower_rank_is_refused(text: str, chance: random.Random) -> None:
    its, proof = proved(text)
    case = proof.cases[0]
    ranked = [claim for claim in case.claims if isinstance(claim, ByRanks) and max(claim.ranks, default=0) > 0]
    assume(ranked)
    for claim in ranked:
        place = chance.choice([place for place, rank in enumerate(claim.ranks) if rank > 0])
        for rank in {-1, 0, claim.ranks[place] - 1}:
            assert refused_by_both(its, with_case(proof, with_rank(case, claim, place, rank)))


def with_rank(case: CaseProof, claim: ByRanks, place: int, rank: int) -> CaseProof:
    from msgspec.structs import replace

    ranks = (*claim.ranks[:place], rank, *claim.ranks[place + 1 :])
    return replace(case, claims=tuple(replace(one, ranks=ranks) if one is claim else one for one in case.claims))
