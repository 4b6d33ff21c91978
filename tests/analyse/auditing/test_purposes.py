"""What each part is for, and each pair, against machines built without them and searched by brute force."""

from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st

from seqcheck.analyse.auditing.parts import Part, PartKind, conjuncts, parts, without
from seqcheck.analyse.auditing.purposes import Need, Purposes, purposes
from seqcheck.analyse.auditing.removing import OneByOne, Removals, Removing, removals
from seqcheck.analyse.auditing.removing import sets as all_sets
from seqcheck.analyse.record import record
from seqcheck.check.machine import Machine
from seqcheck.cli.audit import without as without_in_tree
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model import semantics
from seqcheck.model.expression import TRUE, Expression
from seqcheck.model.model import Model
from seqcheck.search.engine import Limits
from seqcheck.search.plain.plain import PlainEngine
from tests.analyse.auditing import plainly
from tests.analyse.auditing.driven import driven
from tests.effort import examples
from tests.outside.independent import Graph
from tests.outside.machines import machines
from tests.outside.reading import machine_of

REMOVING = Removing(limits=Limits, observer=lambda _: None, engine=PlainEngine())
MOST_PARTS = 6
TEXTS = st.one_of(driven(), machines(with_faults=False))
RELAXED = settings(max_examples=examples(40), deadline=None, suppress_health_check=list(HealthCheck))


def audited(machine: Machine) -> Purposes:
    return purposes(compile_machine(machine), lambda id_: compile_observed(machine, id_), REMOVING)


def shown(needs: tuple[Need, ...]) -> dict[str, int | None]:
    assert all(need.run is not None or not need.failing for need in needs)
    return {need.id: None if need.run is None else need.run.step_count for need in needs}


def beyond(found: dict[str, int | None], *known: dict[str, int | None]) -> dict[str, int | None]:
    return {id_: steps for id_, steps in found.items() if not any(id_ in other for other in known)}


@settings(RELAXED, max_examples=examples(16))
@given(text=TEXTS)
def test_parts_and_pairs_are_for_what_their_absence_violates(text: str) -> None:
    """Source: every machine without a set of parts, written as a file without them."""
    machine = machine_of(text)
    every = parts(compile_machine(machine))
    assume(0 < len(every) <= MOST_PARTS)
    try:
        found = {missing: plainly.violated(plainly.taken_out(text, missing)) for missing in plainly.sets(every, 2)}
    except (plainly.TooManyStatesError, semantics.Impossible):
        event("not worth it")
        return
    told = audited(machine)
    already = found[frozenset()]
    assert shown(told.already) == already
    assert [purpose.part for purpose in told.purposes] == list(every)
    alone = {part: beyond(found[frozenset({part})], already) for part in every}
    for purpose in told.purposes:
        part = purpose.part
        assert shown(purpose.needs) == alone[part], part
        event(f"{part.kind.value}: {'needed' if purpose.needs else 'spare'}")
        for other in every:
            covers = tuple(cover.need for cover in purpose.covers if cover.other == other)
            both = frozenset({part, other})
            due = {} if other == part or alone[part] or alone[other] else beyond(found[both], already)
            event(f"pair covers: {bool(due)}")
            assert shown(covers) == due, (part, other)


@RELAXED
@given(text=TEXTS)
def test_what_never_decides_is_told(text: str) -> None:
    """A permissive or clause decides where all else that the command asks holds and it does not; a trip where it acts."""
    machine = machine_of(text)
    model = compile_machine(machine)
    assume(parts(model))
    try:
        graph = plainly.graph_of(model)
    except plainly.TooManyStatesError:
        return
    for purpose in audited(machine).purposes:
        part = purpose.part
        event(f"{part.kind.value} decides: {purpose.decisive}")
        if part.kind is not PartKind.TRIP:
            assert purpose.decisive == any(decides(graph, part, state) for state in graph.moves)
        elif not purpose.decisive:
            assert part.name not in graph.acted
        else:
            assert len(model.reactions) > 1 or graph.failing or part.name in graph.acted | graph.woken


def decides(graph: Graph, part: Part, state: tuple[int, ...]) -> bool:
    (step,) = [step for step in graph.model.steps if step.name == part.step]
    own: list[Expression] = []
    others: list[Expression] = []
    for guard in step.guards:
        for number, clause in enumerate(conjuncts(graph.model, guard.test)):
            is_own = guard.name == part.name and part.clause in {None, number}
            (own if is_own else others).append(clause)
    try:
        values = [graph.truth(test, state) for test in own]
        return not all(values) and all([graph.truth(test, state) for test in others])
    except semantics.Impossible:
        return False


def told_of(model: Model, found: Removals) -> dict[object, object]:
    """Return all that two ways to search must tell alike."""
    told: dict[object, object] = {
        (number, missing): None if trace is None else steps(model, missing, trace)
        for number, sets in found.violated.items()
        for missing, trace in sets
    }
    told["never"], told["acted"] = found.never, found.acted
    smallest: dict[tuple[str, frozenset[Part]], int] = {}
    for missing, trace in found.failed:
        run, _ = record(without(model, tuple(missing)), trace)
        smallest.setdefault((str(run.failure), missing), run.step_count)
    return told | {"failed": smallest, "unjudged": {(missing, number) for missing, number, _ in found.unjudged}}


def steps(model: Model, missing: frozenset[Part], trace: object) -> int:
    return record(without(model, tuple(missing)), trace)[0].step_count  # type: ignore[arg-type]


@RELAXED
@given(text=TEXTS)
def test_one_search_tells_what_a_search_for_each_set_tells(text: str) -> None:
    model = compile_machine(machine_of(text))
    every = parts(model, people=True)
    assume(0 < len(every) <= 2 * MOST_PARTS)
    watches = tuple(reaction.when.test for reaction in model.reactions)
    apart = OneByOne(model, REMOVING).removals(all_sets(every, 2), watches)
    assert not apart.left
    together = removals(model, every, 2, watches, REMOVING)
    event(f"fails: {bool(apart.failed or apart.unjudged)}")
    assert told_of(model, together) == told_of(model, apart)


@RELAXED
@given(text=TEXTS)
def test_a_tree_is_changed_as_a_model_is(text: str) -> None:
    machine = machine_of(text)
    model = compile_machine(machine)
    for missing in plainly.sets(parts(model, people=True), 2):
        changed = compile_machine(without_in_tree(machine, tuple(missing)))
        assert asking(changed) == asking(without(model, tuple(missing)))


def asking(model: Model) -> tuple[object, ...]:
    """Return a model as far as it is changed, without conditions that are always true and without their texts."""
    steps = [(s.kind, s.name, s.to, [(g.name, g.test) for g in s.guards if g.test != TRUE], s.program) for s in model.steps]
    return steps, [(r.name, r.when.test, r.program) for r in model.reactions], model.variables, model.properties, model.timers
