"""Makes proofs of machines with the `plain` engine, and tells what the checker says of them."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache

from msgspec.structs import replace

from seqcheck.analyse.verdict import Verdict
from seqcheck.analyse.verify import verify_case
from seqcheck.check.machine import Machine
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model.expression import Expression
from seqcheck.model.model import Model, State
from seqcheck.proof.checking import Compile, Origin, Way, confirm, drawn_form
from seqcheck.proof.form import ByRanks, CaseProof, Listed, NotAProofError, Proof, RefusedError, UndecidedError
from seqcheck.proof.packing import Radix
from seqcheck.proof.reading import read_proof
from seqcheck.proof.text import text_of
from seqcheck.proof.writing import Verified, proof_of
from seqcheck.search.engine import NO_EXTRAS, Evidence, Exploration, Extras, Limits, Observer
from seqcheck.search.engines import engine
from tests.check.examples import accepted

CONFIRMED = "confirmed"
BOTH = (Way.LISTING, Way.SOLVER)


@dataclass(frozen=True)
class Subject:
    """A sequence file with its origin."""

    text: str
    machine: Machine

    @property
    def origin(self) -> Origin:
        def compiled(faults: tuple[str, ...], observed: str = "") -> Model:
            return compile_observed(self.machine, observed, faults) if observed else compile_machine(self.machine, faults)

        return Origin(sha256=digest(self.text), compile=compiled)

    def proof(self, *sets: Sequence[str], name: str = "plain") -> Proof:
        """Verify with each set of faults by an engine and return the proof; each requirement that takes an observer too."""
        compiled = self.origin.compile
        found = [one for faults in sets or [()] for one in all_verified(compiled(tuple(faults)), compiled, name)]
        return proof_of(found, digest(self.text))


@cache
def subject(text: str) -> Subject:
    return Subject(text, accepted(text))


def digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


@dataclass
class Keeping:
    """An engine that asks for evidence and keeps it: of the last search, and of each."""

    name: str
    evidence: Evidence | None = None
    kept: dict[tuple[str, ...], Evidence | None] = field(default_factory=dict)

    def explore(
        self,
        model: Model,
        watches: tuple[Expression, ...],
        limits: Limits,
        observer: Observer,
        extras: Extras = NO_EXTRAS,
    ) -> Exploration:
        found = engine(self.name).explore(model, watches, limits, observer, replace(extras, evidence=True))
        self.evidence = self.kept[model.study] = found.evidence
        return found


def verified(model: Model, limits: Limits | None = None, name: str = "plain") -> Verified:
    """Search a model and judge it."""
    keeping = Keeping(name)
    case = verify_case(model, keeping, limits or Limits(), lambda _progress: None)
    return Verified(model=model, case=case, evidence=keeping.evidence)


def all_verified(model: Model, compiled: Compile, name: str = "plain") -> list[Verified]:
    """Search a model, and with each observer; those whose requirement holds come after it."""
    keeping = Keeping(name)
    case = verify_case(model, keeping, Limits(), lambda _progress: None, lambda id_: compiled(model.faults, id_))
    holding = {result.id for result in case.results if result.verdict is Verdict.HOLDS}
    models = [model, *(compiled(model.faults, one.id) for one in case.observed if one.id in holding)]
    return [Verified(model=each, case=case, evidence=keeping.kept[each.study]) for each in models]


def answer(subject: Subject, proof: Proof, way: Way | None = None) -> str:
    """Return `confirmed`, or what kind of bad end the check comes to and why."""
    try:
        list(confirm(proof, subject.origin, way, lambda *_: None))
    except (NotAProofError, RefusedError, UndecidedError) as error:
        return f"{type(error).__name__}: {error}"
    return CONFIRMED


def kind_of(answered: str) -> str:
    return answered.split(":", 1)[0]


def again(proof: Proof) -> Proof:
    """Write a proof with its digest and read it back."""
    return read_proof(text_of(proof).encode())


def with_case(proof: Proof, case: CaseProof, place: int = 0) -> Proof:
    """Replace a case."""
    return replace(proof, cases=(*proof.cases[:place], case, *proof.cases[place + 1 :]))


def drawn(proof: Proof) -> Proof:
    """Return a proof with diagrams in place of lists."""
    return replace(proof, cases=tuple(map(drawn_form, proof.cases)))


def states(case: CaseProof) -> list[State]:
    """Return the listed states of a case."""
    assert isinstance(case.states, Listed)
    return list(map(Radix(case.domains).state, case.states.numbers))


def without(case: CaseProof, place: int) -> CaseProof:
    """Leave the state at a place out of a listed set."""
    assert isinstance(case.states, Listed)
    numbers = case.states.numbers
    claims = tuple(
        replace(claim, ranks=(*claim.ranks[:place], *claim.ranks[place + 1 :])) if isinstance(claim, ByRanks) else claim
        for claim in case.claims
    )
    return replace(case, states=Listed(numbers=(*numbers[:place], *numbers[place + 1 :])), claims=claims)


def with_state(case: CaseProof, state: State, rank: int) -> CaseProof:
    """Add a state to a listed set, with one rank for all that is ranked."""
    assert isinstance(case.states, Listed)
    number = Radix(case.domains).number(state)
    numbers = sorted({*case.states.numbers, number})
    place = numbers.index(number)
    claims = tuple(
        replace(claim, ranks=(*claim.ranks[:place], rank, *claim.ranks[place:])) if isinstance(claim, ByRanks) else claim
        for claim in case.claims
    )
    return replace(case, states=Listed(numbers=tuple(numbers)), claims=claims)
