"""What holds of time and order is proved by a set of states with the observer, each in a case of its own."""

import random

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from seqcheck.analyse.verdict import Verdict
from seqcheck.model.model import Observed
from seqcheck.proof.checking import Way
from seqcheck.proof.form import Kind, Listed, OverSet, Proof
from seqcheck.proof.writing import proof_of
from tests.outside.machines import machines
from tests.proof.proving import (
    BOTH,
    CONFIRMED,
    Subject,
    again,
    all_verified,
    answer,
    digest,
    drawn,
    kind_of,
    states,
    subject,
    verified,
    with_case,
    with_state,
    without,
)

SLIDE = """
machine: A slide that runs down
parts: {slide: [still, moving], divisor: {range: 0..2}}
panel: {stop: [up, down]}
outputs: {motor: [off, on]}
memory: {homed: [no, yes]}
commands:
  home: {then: {homed: yes}}
  start: {permissives: {not stopped: stop = up, homed: homed = yes}, then: {motor: on}}
trips:
  stopped: {when: stop = down, then: {motor: off}}
plant:
  starts: {when: motor = on, after: at once, then: {slide: moving}}
  runs down: {when: motor = off AND slide = moving, after: 1..2 s, then: {slide: still}}
  wears: {when: slide = moving AND divisor > 0, then: {divisor: divisor - 1}}
faults:
  motor sticks: {output: motor, stuck: on}
hazards:
  H1: {must not be: slide = moving AND homed = no}
requirements:
  in time:      {when: stop = down, within: 2 s, then: slide = still, unless: stop = up}
  too soon:     {when: stop = down, within: 1 s, then: slide = still, unless: stop = up}
  homed first:  {before: slide = moving, first: homed = yes}
  homed anew:   {before: slide = moving, first: motor = on, since: slide = still}
  stopped first: {before: slide = moving, first: stop = down}
  no value:     {when: 2 / divisor = 1, within: 2 s, then: stop = up}
""".replace("divisor: {range: 0..2}", "divisor: {range: 0..2, starts: 2}")
HELD = ["in time", "homed first", "homed anew"]


def slide() -> Proof:
    return subject(SLIDE).proof((), ("motor sticks",))


def place_of(proof: Proof, observed: str) -> int:
    return next(place for place, case in enumerate(proof.cases) if case.observed == observed)


@pytest.mark.parametrize("way", BOTH)
def test_what_holds_is_proved_in_cases_of_their_own(way: Way) -> None:
    proof = slide()
    told = [(case.faults, case.observed) for case in proof.cases]
    assert told[: 1 + len(HELD)] == [((), ""), *(((), id_) for id_ in HELD)]
    assert told[1 + len(HELD) :] == [(("motor sticks",), ""), (("motor sticks",), "homed anew")]
    for case in proof.cases:
        if case.observed:
            assert [claim.id for claim in case.claims] == [case.observed]
    assert proof.cases[0].not_proved == ("too soon", "stopped first", "no value")
    assert again(proof) == proof
    assert answer(subject(SLIDE), proof, way) == CONFIRMED


@pytest.mark.parametrize("engine", ["symbolic", "packed"])
def test_the_other_engines_give_evidence_too(engine: str) -> None:
    its = subject(SLIDE)
    proof = again(its.proof((), name=engine))
    assert [case.observed for case in proof.cases] == ["", *HELD]
    assert {answer(its, proof, way) for way in BOTH} == {CONFIRMED}


@pytest.mark.parametrize("way", BOTH)
@pytest.mark.parametrize("observed", HELD)
def test_every_state_is_needed(observed: str, way: Way) -> None:
    proof, its = slide(), subject(SLIDE)
    place = place_of(proof, observed)
    for left_out in range(0, len(states(proof.cases[place])), 1 if way is Way.LISTING else 11):
        smaller = with_case(proof, without(proof.cases[place], left_out), place)
        assert "is not in the set" in answer(its, smaller, way)
        assert "is not in the set" in answer(its, drawn(smaller), way)


def observed_proof(id_: str) -> Proof:
    """Return a proof that claims a requirement with an observer, whatever the verdict on it is."""
    its = subject(SLIDE)
    model = its.origin.compile((), id_)
    found = verified(model)
    made = proof_of([found], digest(SLIDE))
    (p,) = model.properties
    assert isinstance(p.rule, Observed)
    return with_case(made, replace(made.cases[0], claims=(OverSet(kind=Kind(p.rule.kind), id=id_),)))


@pytest.mark.parametrize("way", BOTH)
@pytest.mark.parametrize(
    ("id_", "why"),
    [
        ("too soon", "too soon is violated: the set holds the state"),
        ("stopped first", "stopped first is violated: the set holds the state"),
        ("no value", "“no value”: divides by zero"),
    ],
)
def test_what_does_not_hold_is_refused(id_: str, why: str, way: Way) -> None:
    assert why in answer(subject(SLIDE), observed_proof(id_), way)
    assert why in answer(subject(SLIDE), drawn(observed_proof(id_)), way)


@pytest.mark.parametrize("way", BOTH)
def test_a_violating_state_is_refused(way: Way) -> None:
    """Any state of the machine with the deadline passed, or with what must come first not come."""
    proof, its = slide(), subject(SLIDE)
    for id_, kept in (("in time", {-1: 3, -2: 1}), ("homed first", {0: 1, -1: 0})):
        place = place_of(proof, id_)
        case = proof.cases[place]
        state = list(states(case)[0])
        for where, value in kept.items():
            state[where] = value
        answered = answer(its, with_case(proof, with_state(case, tuple(state), 0), place), way)
        assert f"{id_} is violated" in answered or "is not in the set" in answered
        assert kind_of(answered) == "RefusedError"


@pytest.mark.parametrize("changed", [{"observed": ""}, {"observed": "too soon"}, {"observed": "H1"}, {"observed": "nobody"}])
def test_a_case_of_something_else_is_no_proof(changed: dict[str, str]) -> None:
    proof = slide()
    place = place_of(proof, "in time")
    case = replace(proof.cases[place], observed=changed["observed"])
    assert kind_of(answer(subject(SLIDE), with_case(proof, case, place))) == "NotAProofError"


def test_a_claim_of_the_other_kind_is_no_proof() -> None:
    proof = slide()
    place = place_of(proof, "in time")
    case = replace(proof.cases[place], claims=(OverSet(kind=Kind.PRECEDENCE, id="in time"),))
    assert kind_of(answer(subject(SLIDE), with_case(proof, case, place))) == "NotAProofError"
    base = replace(proof.cases[0], claims=(*proof.cases[0].claims, OverSet(kind=Kind.RESPONSE, id="in time")))
    assert kind_of(answer(subject(SLIDE), with_case(proof, base))) == "NotAProofError"


# --- random machines ---
calm = settings(deadline=None, max_examples=10, suppress_health_check=list(HealthCheck))
LARGE = 400


def proved(text: str) -> tuple[Subject, Proof]:
    its = subject(text)
    proof = its.proof(())
    assume(all(isinstance(case.states, Listed) and len(case.states.numbers) <= LARGE for case in proof.cases))
    assume(any(case.observed for case in proof.cases))
    return its, proof


@calm
@given(machines(with_orders_only=True, with_faults=False), st.randoms(use_true_random=False))
def test_random_machines(text: str, chance: random.Random) -> None:
    """Confirmed as it is, refused without any one state; both ways say the same of a state more."""
    its, proof = proved(text)
    assert {answer(its, proof, way) for way in BOTH} == {CONFIRMED}
    place = chance.choice([place for place, case in enumerate(proof.cases) if case.observed])
    case = proof.cases[place]
    for left_out in range(len(states(case))):
        assert kind_of(answer(its, with_case(proof, without(case, left_out), place), Way.LISTING)) == "RefusedError"
    assume(states(case))
    left_out = chance.randrange(len(states(case)))
    smaller = with_case(proof, without(case, left_out), place)
    assert kind_of(answer(its, smaller, Way.SOLVER)) in {"RefusedError", "UndecidedError"}
    for _ in range(3):
        state = tuple(chance.randint(domain.lowest, domain.highest) for domain in case.domains)
        larger = with_case(proof, with_state(case, state, 0), place)
        listing, solver = (kind_of(answer(its, larger, way)) for way in BOTH)
        assert solver in {listing, "UndecidedError"}


@calm
@given(machines(with_orders_only=True, with_faults=False))
def test_only_what_holds_is_confirmed(text: str) -> None:
    """All states that the search found, with the claim that nothing violates, whatever the verdict is."""
    its = subject(text)
    base, *_ = all_verified(its.origin.compile(()), its.origin.compile)
    verdicts = {result.id: result.verdict for result in base.case.results}
    for requirement in its.machine.requirements:
        model = its.origin.compile((), requirement.id)
        made = proof_of([verified(model)], digest(text))
        (p,) = model.properties
        assert isinstance(p.rule, Observed)
        case = replace(made.cases[0], claims=(OverSet(kind=Kind(p.rule.kind), id=requirement.id),))
        wanted = {CONFIRMED} if verdicts[requirement.id] is Verdict.HOLDS else {"RefusedError"}
        assert isinstance(case.states, Listed)
        if len(case.states.numbers) <= LARGE:
            assert {kind_of(answer(its, with_case(made, case), way)) for way in BOTH} - {"UndecidedError"} == wanted
