"""Confirms a proof file against the machine, recompiled for each set of faults. It shares nothing with the engines.

What must be so, for each set of faults: every start settles into the set; every step and every tick from every state of
the set leads into the set; nothing that is claimed not to be is in the set or happens from it.
"""

from collections.abc import Iterator, Mapping, Sequence
from enum import Enum
from typing import Protocol

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.model.model import Forbid, Hazard, Model, Observed, Only, Reachable, Recoverable, Rule, State
from seqcheck.proof.diagram import Drawing, listed, lowest_layers
from seqcheck.proof.form import (
    BUILT_IN,
    ByLayers,
    ByRanks,
    ByRun,
    CaseProof,
    Domain,
    Drawn,
    Kind,
    Listed,
    NotAProofError,
    Proof,
    UndecidedError,
)  # fmt: skip
from seqcheck.proof.generate import behaviour
from seqcheck.proof.listing import Listing, Observer, Task
from seqcheck.proof.packing import Radix
from seqcheck.proof.replaying import confirm_run

FEW = 30_000
"""States up to which a drawn set is examined by visiting each of them."""

FEW_WITH_LAYERS = 300_000
"""The same where there are layers, which make many questions for a solver."""

MOST = 3_000_000
"""States up to which a set can be examined in this way: some 50 microseconds and 500 bytes a state."""

RULES: Mapping[Kind, type] = {
    Kind.HAZARD: Hazard,
    Kind.FORBID: Forbid,
    Kind.ONLY: Only,
    Kind.REACHABLE: Reachable,
    Kind.RECOVERABLE: Recoverable,
    Kind.RESPONSE: Observed,
    Kind.PRECEDENCE: Observed,
}


class Compile(Protocol):
    """Makes the model with some faults under study, and with the observer of a requirement if its id is given.

    Raises `KeyError` for a name that the file does not have.
    """

    def __call__(self, faults: tuple[str, ...], observed: str = "") -> Model:
        """Return the model."""


class Way(Enum):
    """How a set is examined."""

    LISTING = "listing"
    SOLVER = "solver"


class Confirmed(Struct, frozen=True, kw_only=True):
    """What has been confirmed with one set of faults; *states*: how many, None where they were not counted."""

    case: CaseProof
    way: Way | None
    states: int | None
    not_confirmed: tuple[str, ...]


class Origin(Struct, frozen=True, kw_only=True):
    """What the sequence file is: a proof of anything else is none of it."""

    sha256: str
    compile: Compile


def confirm(proof: Proof, origin: Origin, way: Way | None, observer: Observer) -> Iterator[Confirmed]:
    """Confirm case after case. Raises `NotAProofError`, `RefusedError` or `UndecidedError`."""
    if proof.sha256 != origin.sha256:
        raise NotAProofError("it is a proof of another sequence file, or of another revision of this one")
    models = [_compiled(case, origin) for case in proof.cases]
    for case, model in zip(proof.cases, models, strict=True):
        _match(proof, case, model)
    if not any(case.claims for case in proof.cases):
        raise NotAProofError("it claims nothing")
    for case, model in zip(proof.cases, models, strict=True):
        confirmed = _confirm_case(case, model, way, observer)
        elsewhere = {one.observed for one in proof.cases if one.faults == case.faults and one.claims}
        left = tuple(id_ for id_ in confirmed.not_confirmed if case.observed or id_ not in elsewhere)
        yield replace(confirmed, not_confirmed=left)


def _compiled(case: CaseProof, origin: Origin) -> Model:
    try:
        return origin.compile(case.faults, case.observed)
    except KeyError:
        raise NotAProofError("it names a fault that the sequence file does not have, or such a requirement") from None


def _match(proof: Proof, case: CaseProof, model: Model) -> None:
    """Confirm that names, variables and claims are those of the model. Raises `NotAProofError`."""
    domains = tuple(Domain(name=v.name, lowest=v.lowest, highest=v.highest) for v in model.variables)
    if (proof.machine, proof.tick) != (model.name, str(model.tick_s)) or case.domains != domains:
        raise NotAProofError("the machine, its tick or its variables are others than those of the sequence file")
    rules = {p.id: p.rule for p in model.properties}
    for claim in case.claims:
        wanted = claim.id == "" if claim.kind in BUILT_IN else _is_of(claim.kind, rules.get(claim.id))
        if not wanted:
            raise NotAProofError(f"the sequence file has no {claim.kind.value} {claim.id}")
        if not _goes_with(claim.kind, isinstance(claim, ByRun), isinstance(claim, ByRanks | ByLayers), model):
            raise NotAProofError(f"{claim.kind.value} {claim.id} is not claimed in the way that its kind asks for")
    if isinstance(case.states, Listed) and case.states.numbers and case.states.numbers[-1] >= Radix(domains).count:
        raise NotAProofError("a state is listed that the machine does not have")


def _is_of(kind: Kind, rule: Rule | None) -> bool:
    """Tell whether a rule is of a kind that a claim names."""
    return isinstance(rule, RULES[kind]) and (not isinstance(rule, Observed) or rule.kind == kind.value)


def _goes_with(kind: Kind, is_run: bool, is_ranked: bool, model: Model) -> bool:  # noqa: FBT001 - two answers
    if kind is Kind.REACHABLE:
        return is_ranked if model.faults else is_run
    return (is_ranked, is_run) == (kind is Kind.RECOVERABLE, False)


def _confirm_case(case: CaseProof, model: Model, way: Way | None, observer: Observer) -> Confirmed:
    numbers = {p.id: number for number, p in enumerate(model.properties)}
    for claim in case.claims:
        if isinstance(claim, ByRun):
            confirm_run(model, claim, numbers[claim.id])
    known = {claim.id for claim in case.claims if claim.kind not in BUILT_IN}
    left = tuple(p.id for p in model.properties if p.id not in known)
    if case.states is None:
        return Confirmed(case=case, way=None, states=None, not_confirmed=left)
    states = None if way is Way.SOLVER else states_of(case, _most(case, way))
    if states is not None:
        task = Task(claimed=_claimed(case, numbers), built_in=_built_in(case), ranks=_ranks(case, numbers, states))
        Listing(model, behaviour(model), states, task).confirm(observer)
        return Confirmed(case=case, way=Way.LISTING, states=len(states), not_confirmed=left)
    if way is Way.LISTING:
        raise UndecidedError("the set has too many states to visit each of them")
    _solve(case, model, numbers, observer)
    count = len(case.states.numbers) if isinstance(case.states, Listed) else None
    return Confirmed(case=case, way=Way.SOLVER, states=count, not_confirmed=left)


def _most(case: CaseProof, way: Way | None) -> int:
    """Return how many states are few enough to visit each of them."""
    if way is Way.LISTING or isinstance(case.states, Listed):
        return MOST
    return FEW_WITH_LAYERS if any(isinstance(claim, ByLayers) for claim in case.claims) else FEW


def _claimed(case: CaseProof, numbers: Mapping[str, int]) -> frozenset[int]:
    return frozenset(numbers[claim.id] for claim in case.claims if claim.kind not in BUILT_IN and not isinstance(claim, ByRun))


def _built_in(case: CaseProof) -> frozenset[Kind]:
    return frozenset(claim.kind for claim in case.claims if claim.kind in BUILT_IN)


def states_of(case: CaseProof, most: int) -> list[State] | None:
    """Return the states of the closed set; None if they are more than *most*."""
    if isinstance(case.states, Listed):
        return list(map(Radix(case.domains).state, case.states.numbers)) if len(case.states.numbers) <= most else None
    if case.states is None:
        return None
    return listed(case.tables[case.states.table], case.states.root, case.domains, most)


def _ranks(case: CaseProof, numbers: Mapping[str, int], states: Sequence[State]) -> dict[int, Sequence[int]]:
    """Return the layer of each state for each claim that has layers, -1 for none."""
    found: dict[int, Sequence[int]] = {}
    for claim in case.claims:
        if isinstance(claim, ByRanks):
            found[numbers[claim.id]] = claim.ranks
        elif isinstance(claim, ByLayers):
            found[numbers[claim.id]] = lowest_layers(case, claim.layers, states)
    return found


def _solve(case: CaseProof, model: Model, numbers: Mapping[str, int], observer: Observer) -> None:
    from seqcheck.proof.numbers import TooWideError
    from seqcheck.proof.solving import Sets, Solving

    drawn = drawn_form(case)
    if drawn.states is None or isinstance(drawn.states, Listed):
        raise TypeError(drawn.states)
    layers = {numbers[claim.id]: claim.layers for claim in drawn.claims if isinstance(claim, ByLayers)}
    task = Task(claimed=_claimed(case, numbers), built_in=_built_in(case), ranks={})
    try:
        Solving(model, Sets(case=drawn, states=drawn.states, layers=layers), task, observer).confirm()
    except TooWideError:
        raise UndecidedError("the sequence computes with numbers too large for the solver") from None


def drawn_form(case: CaseProof) -> CaseProof:
    """Return a case with its listed states and ranks as diagrams."""
    if not isinstance(case.states, Listed):
        return case
    states = list(map(Radix(case.domains).state, case.states.numbers))
    drawing = Drawing(case.domains)
    root = drawing.draw(states)
    claims = [
        ByLayers(kind=claim.kind, id=claim.id, layers=tuple(_drawn_layers(drawing, claim, states)))
        if isinstance(claim, ByRanks)
        else claim
        for claim in case.claims
    ]
    return replace(case, tables=(drawing.table,), states=Drawn(table=0, root=root), claims=tuple(claims))


def _drawn_layers(drawing: Drawing, claim: ByRanks, states: Sequence[State]) -> Iterator[Drawn]:
    layers: dict[int, list[State]] = {}
    for state, rank in zip(states, claim.ranks, strict=True):
        layers.setdefault(rank, []).append(state)
    for rank in range(max(claim.ranks, default=-1) + 1):
        yield Drawn(table=0, root=drawing.draw(layers.get(rank, ())))
