"""A small press: every kind of wrong claim is refused, for its own reason, by both ways."""

from collections.abc import Callable

import pytest
from msgspec.structs import replace

from seqcheck.model.run import By, StepKind
from seqcheck.proof.checking import Way
from seqcheck.proof.form import ByLayers, ByRanks, ByRun, CaseProof, Domain, Drawn, Kind, Listed, OverSet, Proof
from seqcheck.proof.packing import Radix
from tests.proof.proving import (
    BOTH,
    CONFIRMED,
    answer,
    digest,
    drawn,
    kind_of,
    states,
    subject,
    with_case,
    with_state,
    without,
)

PRESS = """
machine: Small press
parts:
  ram: [top, bottom]
  gate: [shut, open]
  made: {range: 0..2}
sensors:
  gate_shut: gate = shut
outputs:
  drive: [off, down]
memory:
  ready: [no, yes]
timers:
  settled: {kind: TON, in: gate_shut, pt: 2 s}
commands:
  reset: {then: {ready: yes}}
  start: {permissives: {it is ready: ready = yes, it has settled: settled.Q}, then: {drive: down}}
trips:
  gate opened: {when: NOT gate_shut, then: {drive: off}}
  stroke done: {when: drive = down AND ready = no, then: {drive: off}}
plant:
  ram lands: {when: drive = down AND ram = top, after: 1..2 s, then: {ram: bottom, made: "MIN(made + 1, 2)"}}
  ram rises: {when: drive = off AND ram = bottom, after: 1 s, then: {ram: top}}
people:
  open the gate: {if: gate = shut AND drive = off, then: {gate: open}}
  shut the gate: {if: gate = open, then: {gate: shut}}
  stop it: {if: drive = down, then: {ram: ram}}
faults:
  gate sensor sticks: {sensor: gate_shut, stuck: TRUE}
hazards:
  H1: {must not be: gate = open AND drive = down}
requirements:
  R1: {reachable: made = 2}
  R2: {recoverable: gate = open}
  R3: {forbid: start, while: gate = open}
  R4: {only: [start], makes: drive = down}
"""
PRESS = PRESS.replace("  stop it: {if: drive = down, then: {ram: ram}}\n", "").replace(
    "  stroke done: {when: drive = down AND ready = no", "  stroke done: {when: drive = down AND ram_down"
).replace("sensors:\n", "sensors:\n  ram_down: ram = bottom\n")  # fmt: skip
TRIVIAL = "machine: Trivial\nparts: {a: bool}\npeople: {go: {then: {a: NOT a}}}\nhazards: {H1: {must not be: a AND NOT a}}\n"


def press() -> Proof:
    return subject(PRESS).proof((), ("gate sensor sticks",))


def said(proof: Proof, way: Way) -> str:
    return answer(subject(PRESS), proof, way)


def claims(case: CaseProof, kind: Kind) -> int:
    return next(place for place, claim in enumerate(case.claims) if claim.kind is kind)


def state_of(case: CaseProof, **values: int) -> tuple[int, ...]:
    """Return the first state of the set with some values replaced."""
    names = [domain.name for domain in case.domains]
    first = states(case)[0]
    return tuple(values.get(name, first[place]) for place, name in enumerate(names))


@pytest.mark.parametrize("way", BOTH)
def test_all_that_holds_is_confirmed(way: Way) -> None:
    proof = press()
    assert [claim.id for claim in proof.cases[0].claims] == ["", "", "H1", "R1", "R2", "R3", "R4"]
    assert "H1" not in {claim.id for claim in proof.cases[1].claims}
    assert {"R1", "R2"} <= {claim.id for claim in proof.cases[1].claims if isinstance(claim, ByRanks)}
    assert said(proof, way) == CONFIRMED


@pytest.mark.parametrize("way", BOTH)
@pytest.mark.parametrize("case", [0, 1])
def test_every_state_is_needed(way: Way, case: int) -> None:
    proof = press()
    every = len(states(proof.cases[case]))
    for place in range(0, every, 1 if way is Way.LISTING else 7):
        answered = said(with_case(proof, without(proof.cases[case], place), case), way)
        assert "is not in the set" in answered
        assert kind_of(answered) == "RefusedError"


def claimed_too(kind: Kind, id_: str) -> Callable[[Proof], Proof]:
    """Claim with a fault under study what does not hold then."""

    def changed(proof: Proof) -> Proof:
        case = proof.cases[1]
        return with_case(proof, replace(case, claims=(*case.claims, OverSet(kind=kind, id=id_))), 1)

    return changed


def violating(**values: int) -> Callable[[Proof], Proof]:
    def changed(proof: Proof) -> Proof:
        return with_case(proof, with_state(proof.cases[0], state_of(proof.cases[0], **values), 1))

    return changed


def ranked(change: Callable[[list[int]], None], kind: Kind = Kind.RECOVERABLE, case: int = 0) -> Callable[[Proof], Proof]:
    def changed(proof: Proof) -> Proof:
        at = claims(proof.cases[case], kind)
        claim = proof.cases[case].claims[at]
        assert isinstance(claim, ByRanks)
        ranks = list(claim.ranks)
        change(ranks)
        every = (*proof.cases[case].claims[:at], replace(claim, ranks=tuple(ranks)), *proof.cases[case].claims[at + 1 :])
        return with_case(proof, replace(proof.cases[case], claims=every), case)

    return changed


def one_less(ranks: list[int]) -> None:
    ranks[ranks.index(2)] = 1


def goal_too_soon(ranks: list[int]) -> None:
    ranks[ranks.index(1)] = 0


def in_no_layer(ranks: list[int]) -> None:
    ranks[ranks.index(max(ranks))] = -1


def nothing(ranks: list[int]) -> None:
    ranks[:] = [-1] * len(ranks)


WRONG = {
    "a hazard in the set": (claimed_too(Kind.HAZARD, "H1"), "H1 is not avoided: the set holds the state ram = "),
    "a state with a hazard added": (violating(gate=1, drive=1), "H1 is not avoided"),
    "a rank too low": (ranked(one_less), "recoverable R2: no step that is no fault leads into a lower layer"),
    "a goal that is none": (ranked(goal_too_soon), "recoverable R2: the lowest layer has no goal"),
    "a state in no layer": (ranked(in_no_layer), "recoverable R2: this state is in no layer"),
    "entries in no layer": (ranked(nothing, Kind.REACHABLE, 1), "reachable R1: this state is in no layer"),
}


@pytest.mark.parametrize("way", BOTH)
@pytest.mark.parametrize("wrong", list(WRONG))
def test_what_is_wrong_is_refused_for_its_reason(wrong: str, way: Way) -> None:
    change, reason = WRONG[wrong]
    answered = said(change(press()), way)
    assert answered.startswith(f"RefusedError: {reason}")


@pytest.mark.parametrize("way", BOTH)
@pytest.mark.parametrize(
    ("line", "claim", "reason"),
    [
        ("  R3: {forbid: start, while: gate = shut}", OverSet(kind=Kind.FORBID, id="R3"), "the command “start” is accepted"),
        (
            "  R4: {only: [reset], makes: drive = down}",
            OverSet(kind=Kind.ONLY, id="R4"),
            "the command “start” makes its",
        ),
        ("  R4: {only: [], makes: settled.Q}", OverSet(kind=Kind.ONLY, id="R4"), "a tick makes its condition true"),
        ("  R4: {only: [], makes: 1 / made = 1}", OverSet(kind=Kind.ONLY, id="R4"), "the condition of R4 has no value"),
    ],
)
def test_a_requirement_that_does_not_hold_is_refused(line: str, claim: OverSet, reason: str, way: Way) -> None:
    written = "\n".join(line if given.startswith(line[:5]) else given for given in PRESS.split("\n"))
    proof = subject(written).proof()
    assert claim.id in proof.cases[0].not_proved
    case = replace(proof.cases[0], claims=(claim,))
    assert reason in answer(subject(written), with_case(proof, case), way)


FAILING = {
    Kind.RANGE: ("people: {go: {then: {a: a + 1}}}", "“go”: a would become 4, its range is 0..3"),
    Kind.SETTLING: (
        "people: {go: {if: a < 3, then: {a: a + 1}}}\nplant: {turns: {when: a > 1, after: at once, then: {a: 5 - a}}}",
        "settling never ends (turns)",
    ),
}


@pytest.mark.parametrize("way", BOTH)
@pytest.mark.parametrize("kind", list(FAILING))
def test_a_step_that_fails_is_refused_only_where_it_is_claimed(kind: Kind, way: Way) -> None:
    rest, reason = FAILING[kind]
    text = f"machine: Failing\nparts: {{a: {{range: 0..3}}}}\n{rest}\nhazards: {{H1: {{must not be: a > 4}}}}\n"
    proof = subject(text).proof()
    assert kind not in {claim.kind for claim in proof.cases[0].claims}
    assert answer(subject(text), proof, way) == CONFIRMED
    case = replace(proof.cases[0], claims=(OverSet(kind=kind, id=""),))
    assert reason in answer(subject(text), with_case(proof, case), way)


@pytest.mark.parametrize("way", BOTH)
@pytest.mark.parametrize("kind", list(FAILING))
def test_a_start_that_fails_is_refused_only_where_it_is_claimed(kind: Kind, way: Way) -> None:
    written = "5 - a" if kind is Kind.SETTLING else "a + 2"
    text = "machine: Failing\nparts: {a: {range: 0..3, starts: [0, 2]}}\nhazards: {H1: {must not be: a > 4}}\n"
    text += f"plant: {{turns: {{when: a > 1, after: at once, then: {{a: {written}}}}}}}\n"
    proof = subject(text).proof()
    assert answer(subject(text), proof, way) == CONFIRMED
    case = replace(proof.cases[0], claims=(OverSet(kind=kind, id=""),))
    assert "the start a = 2 does not settle" in answer(subject(text), with_case(proof, case), way)


def test_a_chain_of_trips_is_settled_to_its_end() -> None:
    """More rounds than one, each reaction later in the file than what it waits for."""
    names = "abcdefgh"
    trips = "\n".join(f"  t{x}: {{when: {y} = TRUE, then: {{{x}: TRUE}}}}" for y, x in zip(names[1:], names, strict=False))
    text = (
        f"machine: Chain\npanel: {{h: bool}}\nmemory:\n{''.join(f'  {x}: bool' + chr(10) for x in names[:-1])}trips:\n{trips}\n"
    )
    text += "requirements: {R1: {recoverable: a = FALSE OR h = FALSE}}\nhazards: {H1: {must not be: h AND NOT a}}\n"
    for way in BOTH:
        assert answer(subject(text), subject(text).proof(), way) == CONFIRMED
    proof = subject(text).proof()
    for place in range(len(states(proof.cases[0]))):
        assert {kind_of(answer(subject(text), with_case(proof, without(proof.cases[0], place)), way)) for way in BOTH} == {
            "RefusedError"
        }


def test_settling_too_long_for_the_solver_is_no_answer() -> None:
    text = "machine: Long\nparts: {n: {range: 0..100}, m: bool}\npeople: {go: {if: NOT m, then: {m: TRUE}}}\n"
    text += "plant: {counts: {when: m AND n < 100, after: at once, then: {n: n + 1}}}\nhazards: {H1: {must not be: n > 100}}\n"
    proof = subject(text).proof()
    assert answer(subject(text), proof, Way.LISTING) == CONFIRMED
    assert "settling takes more than 64 rounds" in answer(subject(text), proof, Way.SOLVER)


def with_run(proof: Proof, change: Callable[[ByRun], ByRun]) -> Proof:
    case = proof.cases[0]
    changed = [change(claim) if isinstance(claim, ByRun) else claim for claim in case.claims]
    return with_case(proof, replace(case, claims=tuple(changed)))


def command(name: str) -> tuple[By, int]:
    return By(kind=StepKind.COMMAND, name=name), 0


RUNS: dict[str, tuple[Callable[[ByRun], ByRun], str]] = {
    "cut short": (lambda run: replace(run, steps=run.steps[:-1]), "does not end in its goal"),
    "a step that is not possible": (lambda run: replace(run, steps=(command("start"), *run.steps)), "is not possible in"),
    "a step that does not exist": (lambda run: replace(run, steps=(command("jump"), *run.steps)), "does not exist"),
    "a start that is none": (
        lambda run: replace(run, start=tuple((n, 2 if n == "made" else v) for n, v in run.start)),
        "begins with made = 2, which is no start value",
    ),
    "a start value missing": (lambda run: replace(run, start=run.start[1:]), "does not give each variable one start value"),
    "waiting too long": (
        lambda run: replace(run, steps=tuple((by, 5 if ticks else 0) for by, ticks in run.steps)),
        "time cannot pass",
    ),
}


@pytest.mark.parametrize("wrong", list(RUNS))
def test_a_run_that_is_none_is_refused(wrong: str) -> None:
    change, reason = RUNS[wrong]
    answered = said(with_run(press(), change), Way.LISTING)
    assert kind_of(answered) == "RefusedError"
    assert reason in answered


def renamed(case: CaseProof) -> CaseProof:
    return replace(case, domains=(Domain(name="other", lowest=0, highest=1), *case.domains[1:]))


def beyond(case: CaseProof) -> CaseProof:
    assert isinstance(case.states, Listed)
    return replace(case, states=Listed(numbers=(*case.states.numbers[:-1], Radix(case.domains).count)))


def claiming(kind: Kind, id_: str) -> Callable[[Proof], Proof]:
    return lambda proof: with_case(proof, replace(proof.cases[0], claims=(OverSet(kind=kind, id=id_),)))


OTHERS: dict[str, tuple[Callable[[Proof], Proof], str]] = {
    "another file": (lambda proof: replace(proof, sha256=digest("other")), "another sequence file, or of another revision"),
    "another machine": (lambda proof: replace(proof, machine="Other"), "its variables are others"),
    "another tick": (lambda proof: replace(proof, tick="1/2"), "its variables are others"),
    "another variable": (lambda proof: with_case(proof, renamed(proof.cases[0])), "its variables are others"),
    "another fault": (lambda proof: with_case(proof, replace(proof.cases[0], faults=("none",))), "a fault that the sequence"),
    "another hazard": (claiming(Kind.HAZARD, "H9"), "has no hazard H9"),
    "a hazard as a requirement": (claiming(Kind.HAZARD, "R3"), "has no hazard R3"),
    "recoverable by the set alone": (claiming(Kind.RECOVERABLE, "R2"), "not claimed in the way"),
    "reachable by the set alone": (claiming(Kind.REACHABLE, "R1"), "not claimed in the way"),
    "a state that there is not": (lambda proof: with_case(proof, beyond(proof.cases[0])), "that the machine does not have"),
    "nothing": (
        lambda proof: replace(proof, cases=tuple(replace(case, claims=()) for case in proof.cases)),
        "it claims nothing",
    ),
}


@pytest.mark.parametrize("other", list(OTHERS))
def test_a_proof_of_something_else_is_none(other: str) -> None:
    change, reason = OTHERS[other]
    answered = said(change(press()), Way.LISTING)
    assert kind_of(answered) == "NotAProofError"
    assert reason in answered


def test_a_larger_closed_set_is_still_a_proof() -> None:
    """A state too many that leads back into the set and breaks nothing proves as much."""
    text = "machine: Two\nparts: {a: {range: 0..3}}\npeople: {go: {if: a = 0, then: {a: 1}}}\n"
    text += "hazards: {H1: {must not be: a = 3}}\n"
    proof = subject(text).proof()
    larger = with_case(proof, with_state(proof.cases[0], (2,), 0))
    assert {answer(subject(text), larger, way) for way in BOTH} == {CONFIRMED}
    worse = with_case(proof, with_state(proof.cases[0], (3,), 0))
    assert {kind_of(answer(subject(text), worse, way)) for way in BOTH} == {"RefusedError"}


def test_a_diagram_is_listed_or_solved() -> None:
    proof = drawn(press())
    assert {said(proof, way) for way in BOTH} == {CONFIRMED}
    assert kind_of(answer(subject(TRIVIAL), proof)) == "NotAProofError"


def dividing(then: str) -> str:
    """Return a machine with a command whose permissive has no value where b = 0, and is true where b = 1."""
    return (
        "machine: Dividing\noutputs: {b: {range: 0..2}, c: {range: 0..2}}\n"
        "people: {}\ncommands:\n"
        f"  go: {{permissives: {{it divides: 1 / b = 1}}, then: {{c: {then}}}}}\n"
        "  up: {permissives: {below: b < 2}, then: {b: b + 1}}\n  down: {permissives: {above: b > 0}, then: {b: b - 1}}\n"
        "requirements: {R1: {forbid: go, while: b = 0}, R2: {forbid: go, while: b = 1}}\n"
    ).replace("people: {}\n", "")


@pytest.mark.parametrize("way", BOTH)
@pytest.mark.parametrize("then", ["2", "c + b + 1"])
def test_a_command_whose_permissive_has_no_value_is_not_accepted(then: str, way: Way) -> None:
    """One whose permissives hold and whose effects fail is."""
    text = dividing(then)
    proof = subject(text).proof()
    assert [claim.id for claim in proof.cases[0].claims] == ["", "R1"]
    assert answer(subject(text), proof, way) == CONFIRMED
    case = replace(proof.cases[0], claims=(OverSet(kind=Kind.FORBID, id="R2"),))
    assert "the command “go” is accepted" in answer(subject(text), with_case(proof, case), way)
    case = replace(proof.cases[0], claims=(OverSet(kind=Kind.RANGE, id=""),))
    assert "the command “go” fails: “go”: " in answer(subject(text), with_case(proof, case), way)


@pytest.mark.parametrize("way", BOTH)
def test_layers_may_overlap_and_go_beyond_the_set(way: Way) -> None:
    """What counts is the lowest layer that a state of the set is in."""
    proof = drawn(press())
    case = proof.cases[0]
    at = claims(case, Kind.RECOVERABLE)
    claim = case.claims[at]
    assert isinstance(claim, ByLayers)
    everything = Drawn(table=0, root=1)

    def with_layers(*layers: Drawn) -> Proof:
        changed = (*case.claims[:at], replace(claim, layers=layers), *case.claims[at + 1 :])
        return with_case(proof, replace(case, claims=changed))

    assert len(claim.layers) >= 3
    assert said(with_layers(*claim.layers[:-1], everything), way) == CONFIRMED
    assert said(with_layers(*claim.layers[:2], claim.layers[0], *claim.layers[1:]), way) == CONFIRMED
    assert "no step that is no fault leads into a lower layer" in said(with_layers(claim.layers[0], everything), way)
    assert "the lowest layer has no goal" in said(with_layers(everything), way)
    assert "this state is in no layer" in said(with_layers(*claim.layers[:-1]), way)


@pytest.mark.parametrize("way", BOTH)
@pytest.mark.parametrize("named", ["", "up"])
def test_only_is_confirmed_where_nothing_settles(named: str, way: Way) -> None:
    text = "machine: Two ways\noutputs: {a: {range: 0..2}}\n"
    text += "commands: {up: {permissives: {p: a < 2}, then: {a: a + 1}}, down: {permissives: {p: a > 0}, then: {a: a - 1}}}\n"
    its = subject(text + f"requirements: {{R1: {{only: [{named}], makes: a = 1}}, R2: {{only: [up, down], makes: a = 1}}}}\n")
    proof = its.proof()
    assert proof.cases[0].not_proved == ("R1",)
    assert answer(its, proof, way) == CONFIRMED
    forged = replace(proof.cases[0], claims=(OverSet(kind=Kind.ONLY, id="R1"),))
    step = "down" if named else "up"
    assert f"R1: in the state a = {2 if named else 0}, the command “{step}” makes" in answer(its, with_case(proof, forged), way)
