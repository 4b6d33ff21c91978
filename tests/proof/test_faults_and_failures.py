"""What only faults bring about, and every place where a value may be missing: both ways agree with the verdicts."""

import pytest
from msgspec.structs import replace

from seqcheck.analyse.verdict import Verdict
from seqcheck.proof.checking import Way
from seqcheck.proof.form import ByRanks, Kind, OverSet
from tests.proof.proving import BOTH, CONFIRMED, answer, states, subject, verified, with_case, with_state

ONE_WAY = """
machine: One way
parts: {a: {range: 0..2}}
people:
  go: {if: a = 0, then: {a: 1}}
faults:
  breaks: {if: a = 1, then: {a: 2}}
  wears: {then: {a: 0}}
requirements:
  R1: {recoverable: a = 2}
  R2: {reachable: a = 1}
"""


@pytest.mark.parametrize("way", BOTH)
def test_a_fault_is_no_way_into_a_lower_layer(way: Way) -> None:
    """Only the fault leads to the goal: layers that count it as a step are refused."""
    its = subject(ONE_WAY)
    proof = its.proof(("breaks",))
    case = proof.cases[0]
    assert "R1" in case.not_proved
    ranks = tuple(2 - state[0] for state in states(case))
    forged = replace(case, claims=(ByRanks(kind=Kind.RECOVERABLE, id="R1", ranks=ranks),))
    answered = answer(its, with_case(proof, forged), way)
    assert answered.startswith("RefusedError: recoverable R1: no step that is no fault leads into a lower layer")
    assert "a = 1, occurred: breaks = 0" in answered


@pytest.mark.parametrize("way", BOTH)
def test_reachable_is_asked_only_after_the_last_fault(way: Way) -> None:
    its = subject(ONE_WAY.replace("{if: a = 1, then: {a: 2}}", "{if: a = 1, then: {a: 0}}"))
    proof = its.proof(("breaks", "wears"))
    ranked = next(claim for claim in proof.cases[0].claims if claim.id == "R2")
    assert isinstance(ranked, ByRanks)
    assert {-1, 0, 1} == set(ranked.ranks)
    assert answer(its, proof, way) == CONFIRMED
    emptied = replace(ranked, ranks=tuple(-1 for _ in ranked.ranks))
    forged = replace(proof.cases[0], claims=(emptied,))
    assert answer(its, with_case(proof, forged), way).startswith(
        "RefusedError: reachable R2: this state is in no layer: a = 0, "
    )


MISSING = {
    "a trip's condition": "trips: {t: {when: 1 / b = 1, then: {c: 1}}}",
    "a trip's effect": "trips: {t: {when: b = 0, then: {c: 'LIMIT(0, 1 / b, 1)'}}}",
    "a timer's input, settling": "timers: {t: {kind: TP, in: 1 / b = 1, pt: 1 s}}",
    "a timer's input, counting": "timers: {t: {kind: TON, in: 1 / b = 1, pt: 2 s}}",
    "a clock's condition": "plant: {p: {when: 1 / b = 1, after: 2..3 s, then: {a: 1}}}",
    "a clock's condition, no latest time": "plant: {p: {when: 1 / b = 1, after: 1 s or more, then: {a: 1}}}",
    "a rule without a clock": "plant: {p: {when: 1 / b = 1, then: {a: 1}}}",
    "an at-once rule": "plant: {p: {when: 1 / b = 1, after: at once, then: {a: 1}}}",
    "a person's condition": "people: {p: {if: 1 / b = 1, then: {a: 1}}}",
    "a person's effect": "people: {p: {then: {a: 'LIMIT(0, 1 / b, 1)'}}}",
}
MACHINE = """
machine: Missing
parts: {{a: {{range: 0..1}}}}
outputs: {{b: {{range: 0..1, starts: 1}}, c: {{range: 0..1}}}}
commands: {{to nothing: {{permissives: {{it is one: b = 1}}, then: {{b: 0}}}}}}
{rest}
hazards: {{H1: {{must not be: c > 1}}}}
"""


@pytest.mark.parametrize("way", BOTH)
@pytest.mark.parametrize("where", list(MISSING))
def test_a_missing_value_is_found_wherever_it_is_asked_for(where: str, way: Way) -> None:
    its = subject(MACHINE.format(rest=MISSING[where]))
    found = verified(its.origin.compile(()))
    assert any(result.kind == "range" and result.verdict is Verdict.VIOLATED for result in found.case.results)
    proof = its.proof()
    assert answer(its, proof, way) == CONFIRMED
    forged = replace(proof.cases[0], claims=(OverSet(kind=Kind.RANGE, id=""),))
    answered = answer(its, with_case(proof, forged), way)
    assert answered.startswith("RefusedError: in the state ")
    assert "divides by zero" in answered


STUCK = """
machine: Stuck
parts: {a: bool}
sensors: {one: 1 / m = 1}
memory: {m: {range: 0..1, starts: 1}, c: bool}
commands: {to nothing: {permissives: {it is not one: NOT one}, then: {m: 0}}}
trips: {t: {when: one, then: {c: TRUE}}}
faults: {sticks: {sensor: one, stuck: FALSE}}
hazards: {H1: {must not be: one AND NOT c}}
"""


@pytest.mark.parametrize("way", BOTH)
def test_a_stuck_sensor_asks_for_no_value(way: Way) -> None:
    """Nothing divides by zero: the divisor is zero only once the sensor no longer looks at it."""
    its = subject(STUCK)
    proof = its.proof((), ("sticks",))
    assert all(Kind.RANGE in {claim.kind for claim in case.claims} for case in proof.cases)
    assert any(state[1] == 0 for state in states(proof.cases[1]))
    assert answer(its, proof, way) == CONFIRMED


TICKING = {
    "a timer": ("timers: {t: {kind: TON, in: 1 / b = 1, pt: 2 s}}", 0),
    "a clock before its latest time": ("plant: {p: {when: 1 / b = 2, after: 2..3 s, then: {a: 1}}}", 0),
    "a clock at its latest time": ("plant: {p: {when: 1 / b = 2, after: 2..3 s, then: {a: 1}}}", 3),
}


@pytest.mark.parametrize("way", BOTH)
@pytest.mark.parametrize("what", list(TICKING))
def test_a_tick_that_fails_in_a_state_too_many_is_refused(what: str, way: Way) -> None:
    """The state is not reachable; in a set said to be closed, it fails all the same."""
    rest, counted = TICKING[what]
    text = MACHINE.format(rest=rest)
    its = subject("\n".join(line for line in text.split("\n") if not line.startswith("commands")))
    proof = its.proof()
    assert answer(its, proof, way) == CONFIRMED
    names = [domain.name for domain in proof.cases[0].domains]
    more = tuple({"b": 0, names[-1]: counted}.get(name, 0) for name in names)
    assert more not in states(proof.cases[0])
    answered = answer(its, with_case(proof, with_state(proof.cases[0], more, 0)), way)
    assert answered.startswith("RefusedError: in the state a = 0, b = 0, ")
    assert "a tick fails: " in answered or "the plant rule “p” fails: " in answered
    claims = tuple(claim for claim in proof.cases[0].claims if claim.kind is not Kind.RANGE)
    kept = replace(proof.cases[0], claims=claims)
    assert answer(its, with_case(proof, with_state(kept, more, 0)), way) == CONFIRMED
