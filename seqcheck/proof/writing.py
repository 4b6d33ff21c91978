"""Makes a proof of what a verification found to hold: the only place that knows both the engines' evidence and the form."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import assert_never

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.verdict import Case, Result, Verdict
from seqcheck.model.model import Elsewhere, Model, Property, Reachable, State, condition_of
from seqcheck.model.run import Run
from seqcheck.model.semantics import Impossible, evaluate
from seqcheck.proof.form import (
    BUILT_IN,
    ByLayers,
    ByRanks,
    ByRun,
    CaseProof,
    Claim,
    Domain,
    Drawn,
    Kind,
    Listed,
    OverSet,
    Proof,
    StateSet,
    Table,
)  # fmt: skip
from seqcheck.proof.generate import behaviour
from seqcheck.proof.packing import Radix
from seqcheck.search import engine


class Verified(Struct, frozen=True, kw_only=True):
    """One set of faults with its verdicts, and the evidence that the engine gave (None: it did not visit every state).

    *model* has an observer where the evidence is of a search of its own for one requirement; that comes after the others.
    """

    model: Model
    case: Case
    evidence: engine.Evidence | None


def proof_of(verified: Sequence[Verified], sha256: str) -> Proof:
    """Return the proof of all that holds; *sha256* is that of the sequence file."""
    model = verified[0].model
    made = [_case(one) for one in verified]
    elsewhere = {(case.faults, case.observed) for case in made if case.claims}
    cases = (_without(case, {id_ for faults, id_ in elsewhere if faults == case.faults}) for case in made)
    return Proof(machine=model.name, sha256=sha256, tick=str(model.tick_s), cases=tuple(cases))


def _without(case: CaseProof, proved: Collection[str]) -> CaseProof:
    """Return a case that does not call unproved what another case proves."""
    return case if case.observed else replace(case, not_proved=tuple(id_ for id_ in case.not_proved if id_ not in proved))


def domains(model: Model) -> tuple[Domain, ...]:
    """Return the names and bounds of a model's variables."""
    return tuple(Domain(name=v.name, lowest=v.lowest, highest=v.highest) for v in model.variables)


def _case(one: Verified) -> CaseProof:
    evidence = _evidence(one.model, one.evidence)
    observed = next((p.id for p in one.model.properties if one.model.observers), "")
    builtin = {kind.value for kind in BUILT_IN}
    results = {result.id: result for result in one.case.results if result.kind not in builtin}
    claims = [] if observed else [*_built_in(one.case.results, evidence.states)]
    for number, p in enumerate(one.model.properties):
        claim = _claim(number, p, results[p.id], evidence)
        claims += [claim] if claim is not None else []
    known = {claim.id for claim in claims}
    return CaseProof(
        faults=one.model.faults,
        observed=observed,
        domains=domains(one.model),
        tables=evidence.tables,
        states=evidence.states,
        claims=tuple(claims),
        not_proved=tuple(p.id for p in one.model.properties if p.id not in known),
    )


class Evidence(Struct, frozen=True, kw_only=True):
    """The engine's evidence in the form of the file; *ranked*: by the number of a property, what proves it."""

    tables: tuple[Table, ...] = ()
    states: StateSet | None = None
    ranked: Mapping[int, ByRanks | ByLayers]


def _evidence(model: Model, evidence: engine.Evidence | None) -> Evidence:
    match evidence:
        case engine.Listed():
            return _listed(model, evidence)
        case engine.Drawn():
            return _drawn(model, evidence)
        case None:
            return Evidence(ranked={})
        case _:
            assert_never(evidence)


def _built_in(results: Sequence[Result], states: StateSet | None) -> Iterator[Claim]:
    """Yield the built-in checks that hold: all results of the kind do."""
    for kind in (Kind.RANGE, Kind.SETTLING):
        found = [result.verdict for result in results if result.kind == kind.value]
        if states is not None and found and all(verdict is Verdict.HOLDS for verdict in found):
            yield OverSet(kind=kind, id="")


def _claim(number: int, p: Property, result: Result, evidence: Evidence) -> Claim | None:
    """Return what proves a property that holds; None if it does not, or where there is nothing to prove it with."""
    is_known = result.kind in {kind.value for kind in Kind} and not isinstance(p.rule, Elsewhere)
    if result.verdict is not Verdict.HOLDS or not is_known:
        return None
    kind = Kind(result.kind)
    if kind is Kind.REACHABLE and result.run is not None:
        return _run(kind, p.id, result.run)
    if kind in {Kind.REACHABLE, Kind.RECOVERABLE}:
        return evidence.ranked.get(number)
    return None if evidence.states is None else OverSet(kind=kind, id=p.id)


def _run(kind: Kind, id_: str, run: Run) -> ByRun:
    return ByRun(kind=kind, id=id_, start=run.start, steps=tuple((step.by, step.ticks) for step in run.steps))


def _listed(model: Model, evidence: engine.Listed) -> Evidence:
    radix = Radix(domains(model))
    numbers = [radix.number(state) for state in evidence.states]
    places = sorted(range(len(numbers)), key=numbers.__getitem__)
    ranks = {number: [given[place] for place in places] for number, given in evidence.ranks.items()}
    if model.faults:
        states = [evidence.states[place] for place in places]
        goals = [(number, p) for number, p in enumerate(model.properties) if isinstance(p.rule, Reachable)]
        ranks |= {number: after_all_faults(model, p, states) for number, p in goals}
    claims = {
        number: ByRanks(kind=_kind(model, number), id=model.properties[number].id, ranks=tuple(given))
        for number, given in ranks.items()
    }
    return Evidence(states=Listed(numbers=tuple(numbers[place] for place in places)), ranked=claims)


def _kind(model: Model, number: int) -> Kind:
    return Kind.REACHABLE if isinstance(model.properties[number].rule, Reachable) else Kind.RECOVERABLE


def after_all_faults(model: Model, p: Property, states: Sequence[State]) -> list[int]:
    """Return how many steps each state in which all faults have occurred is from a goal; -1 for all others."""
    flags = model.fault_variables
    index = {state: place for place, state in enumerate(states) if all(state[flag] for flag in flags)}
    visit = behaviour(model).visit
    before: dict[int, list[int]] = {}
    for state, place in index.items():
        for _, after in visit(state):
            if isinstance(after, tuple) and after != state:
                before.setdefault(index[after], []).append(place)
    ranks = [-1] * len(states)
    nearest = [place for state, place in index.items() if _is_goal(model, p, state)]
    rank = 0
    while nearest:
        for place in nearest:
            ranks[place] = rank
        rank += 1
        nearest = list({other for place in nearest for other in before.get(place, ()) if ranks[other] < 0})
    return ranks


def _is_goal(model: Model, p: Property, state: State) -> bool:
    try:
        return bool(evaluate(model, condition_of(p.rule).test, state))
    except Impossible:
        return False


def _drawn(model: Model, evidence: engine.Drawn) -> Evidence:
    merging = Merging()
    states = merging.add(evidence.states)
    claims = {
        number: ByLayers(kind=_kind(model, number), id=model.properties[number].id, layers=tuple(map(merging.add, given)))
        for number, given in evidence.ranks.items()
    }
    return Evidence(tables=merging.tables, states=states, ranked=claims)


class Merging:
    """Joins diagrams of one order of bits into one table with shared nodes."""

    def __init__(self) -> None:
        self._orders: list[tuple[tuple[int, int], ...]] = []
        self._nodes: list[dict[tuple[int, int, int], int]] = []

    @property
    def tables(self) -> tuple[Table, ...]:
        """The tables so far."""
        pairs = zip(self._orders, self._nodes, strict=True)
        return tuple(Table(order=order, nodes=tuple(nodes)) for order, nodes in pairs)

    def add(self, diagram: engine.Diagram) -> Drawn:
        """Return a diagram as a node of a table."""
        if diagram.order not in self._orders:
            self._orders.append(diagram.order)
            self._nodes.append({})
        table = self._orders.index(diagram.order)
        known = self._nodes[table]
        places = [0, 1]
        for place, low, high in diagram.nodes:
            node = (place, places[low], places[high])
            places.append(known.setdefault(node, len(known) + 2))
        return Drawn(table=table, root=places[diagram.root])
