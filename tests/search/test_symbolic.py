"""The symbolic engine beyond its answers: order of variables, large counts, limits, snapshots, evidence, an early stop."""

from collections.abc import Mapping
from pathlib import Path

import pytest

from seqcheck.analyse.auditing.parts import loosened, parts
from seqcheck.compile.compile import compile_machine
from seqcheck.model.idling import TIME
from seqcheck.model.model import Model, State, condition_of
from seqcheck.search.engine import Diagram, Drawn, Exploration, Extras, Limits, Snapshot, Stop, Unfit
from seqcheck.search.engines import engine
from seqcheck.search.limits import Allowance
from seqcheck.search.symbolic.budget import Budget
from seqcheck.search.symbolic.cone import Cones
from seqcheck.search.symbolic.ordering import variables
from seqcheck.search.symbolic.symbolic import Search, SymbolicEngine
from seqcheck.search.symbolic.valuing import Facts
from tests.benchmarks.cells import cells
from tests.outside.reading import machine_of

DEMO = (Path(__file__).parents[2] / "sequences" / "separator.yaml").read_text(encoding="utf-8")


def model_of(text: str, *faults: str) -> Model:
    return compile_machine(machine_of(text), faults)


def explored(model: Model, limits: Limits | None = None, *, first: bool = False, evidence: bool = False) -> Exploration:
    extras = Extras(first=first, evidence=evidence)
    return SymbolicEngine().explore(model, (), limits or Limits(), lambda _: None, extras)


class Memory:
    """Keeps the last snapshot."""

    def __init__(self, *, always: bool = False) -> None:
        self.snapshot: Snapshot | None = None
        self.saved = 0
        self._always = always

    def due(self) -> bool:
        return self._always

    def save(self, snapshot: Snapshot) -> None:
        self.snapshot = snapshot
        self.saved += 1

    def kept(self, _engine: str) -> Snapshot | None:
        return self.snapshot


def counters(count: int, most: int) -> str:
    """Independent counters that go round: (most + 1) ** count states."""
    parts = "\n".join(f"  c{i}: {{range: 0..{most}}}" for i in range(count))
    people = "\n".join(f'  turn {i}: {{if: TRUE, then: {{c{i}: "(c{i} + 1) MOD {most + 1}"}}}}' for i in range(count))
    return (
        f"machine: Counters\nparts:\n{parts}\npeople:\n{people}\nhazards:\n  H1: {{must not be: c0 = {most} AND c1 = {most}}}\n"
    )


def test_counts_of_any_size_are_exact() -> None:
    """Source: k independent counters mod m have m ** k states and k * m ** k transitions (a product)."""
    found = explored(model_of(counters(60, 6)))
    assert found.states == 7**60
    assert found.transitions == 60 * 7**60
    assert found.entered == tuple(frozenset(range(7)) for _ in range(60))
    assert len(found.found[0].states) == 13


def test_three_small_separators() -> None:
    """Source: known count of the family, by independent searches (T=3, S=2)."""
    assert explored(model_of(cells(3, oil=3, speed=2, mistake=False))).states == 411_830_784


def test_what_holds_machines_together_comes_first() -> None:
    model = model_of(cells(4, oil=10, speed=7, mistake=False))
    names = [model.variables[n].name for n in variables(Facts(model))]
    assert set(names[:2]) == {"mode", "fault"}
    copies = [name[-1] for name in names[2:]]
    assert copies == sorted(copies)


def test_an_order_names_every_variable_once() -> None:
    model = model_of(DEMO)
    assert sorted(variables(Facts(model))) == list(range(len(model.variables)))


def test_what_nothing_writes_stands_below_what_it_is_read_with_but_above_time() -> None:
    model = model_of(PRESS)
    apart = loosened(model, parts(model))
    order = variables(Facts(apart.model))
    names = [apart.model.variables[number].name for number in order]
    assert sorted(order) == list(range(len(apart.model.variables)))
    assert [name for name in names if name.startswith("without")] == ["without start not stopped", "without  stops"]
    assert names.index("stop") + 1 == names.index("without start not stopped")
    time = [number for number in order if apart.model.variables[number].kind in TIME]
    assert order[-len(time) :] == time


def test_a_variable_of_very_many_values_is_not_for_diagrams() -> None:
    with pytest.raises(Unfit, match="n has 100,001 values"):
        explored(model_of("machine: Wide\nparts: {n: {range: 0..100000}}\nhazards:\n  H1: {must not be: n = 7}\n"))


def test_a_search_stops_at_the_first_violation() -> None:
    found = explored(model_of(cells(1, oil=10, speed=7, mistake=True)), first=True)
    assert (found.stopped, found.complete_steps) == (Stop.FIRST, 22)
    assert [len(trace.states) - 1 for trace in found.found.values()] == [22]
    assert found.states < 19_896


def test_without_a_violation_it_goes_on_to_the_end() -> None:
    found = explored(model_of(cells(1, oil=10, speed=7, mistake=False)), first=True)
    assert (found.stopped, found.states) == (None, 7_176)


@pytest.mark.parametrize("states", [1, 500, 15_000])
def test_a_limit_on_states_leaves_what_is_covered(states: int) -> None:
    found = explored(model_of(DEMO), Limits(states=states))
    assert found.stopped is Stop.STATES
    assert found.states > states
    assert found.complete_steps is not None


def test_no_time_at_all_is_no_error() -> None:
    found = explored(model_of(DEMO), Limits(seconds=0.0))
    assert (found.stopped, found.complete_steps) == (Stop.SECONDS, -1)
    assert not found.found


@pytest.mark.parametrize("states", [1, 100, 5_000, 20_000])
def test_a_search_goes_on_from_a_snapshot(states: int) -> None:
    model, memory = model_of(DEMO), Memory()
    stopped = SymbolicEngine().explore(model, (), Limits(states=states), lambda _: None, Extras(keeper=memory))
    assert stopped.stopped is Stop.STATES
    ended = SymbolicEngine().explore(model, (), Limits(), lambda _: None, Extras(keeper=memory))
    whole = explored(model)
    assert (ended.states, ended.transitions, ended.entered) == (whole.states, whole.transitions, whole.entered)
    assert ended.found == whole.found


def test_snapshots_are_kept_while_it_goes_on() -> None:
    memory = Memory(always=True)
    SymbolicEngine().explore(
        model_of(cells(1, oil=3, speed=3, mistake=False)), (), Limits(), lambda _: None, Extras(keeper=memory)
    )
    assert memory.saved > 10


def members(diagram: Diagram, model: Model) -> frozenset[State]:
    """List the states of a diagram, by its description alone."""
    found: list[dict[tuple[int, int], int]] = []

    def follow(node: int, place: int, bits: dict[tuple[int, int], int]) -> None:
        if node == 0:
            return
        if place == len(diagram.order):
            found.append(dict(bits))
            return
        here, zero, one = (place, node, node) if node == 1 or diagram.nodes[node - 2][0] != place else diagram.nodes[node - 2]
        for value, following in ((0, zero), (1, one)):
            bits[diagram.order[here]] = value
            follow(following, place + 1, bits)

    follow(diagram.root, 0, {})
    return frozenset(state_of(bits, model) for bits in found)


def state_of(bits: Mapping[tuple[int, int], int], model: Model) -> State:
    values = [v.lowest for v in model.variables]
    for (variable, bit), value in bits.items():
        values[variable] += value << bit
    return tuple(values)


PRESS = """
machine: Small press
tick: 1 s
parts: {ram: [top, moving, bottom]}
panel: {stop: [out, in]}
outputs: {drive: [off, down]}
timers:
  held: {kind: TON, in: drive = down, pt: 2 s}
commands:
  start: {permissives: {not stopped: stop = out}, then: {drive: down}}
trips:
  stops: {when: stop = in OR held.Q, then: {drive: off}}
plant:
  goes: {when: drive = down AND ram = top, after: 0..1 s, then: {ram: moving}}
  lands: {when: ram = moving, after: 1 s, then: {ram: bottom}}
  returns: {when: ram = bottom AND drive = off, after: 1 s, then: {ram: top}}
requirements:
  R1: {text: It comes back, recoverable: ram = top AND drive = off}
"""


def test_the_evidence_is_the_set_of_reachable_states_with_ranks() -> None:
    model = model_of(PRESS)
    plain = engine("plain").explore(model, (), Limits(), lambda _: None, Extras(evidence=True))
    found = explored(model, evidence=True)
    assert isinstance(found.evidence, Drawn)
    assert plain.evidence is not None
    listed = plain.evidence
    assert not isinstance(listed, Drawn)
    assert members(found.evidence.states, model) == frozenset(listed.states)
    ranks = [members(rank, model) for rank in found.evidence.ranks[0]]
    by_plain = [
        frozenset(state for state, rank in zip(listed.states, listed.ranks[0], strict=True) if rank == number)
        for number in range(max(listed.ranks[0]) + 1)
    ]
    assert ranks == by_plain


TWO_CELLS = """
machine: Two cells and a shared clock
tick: 1 s
parts: {a: {range: 0..3}, b: {range: 0..3}, c: [off, on]}
outputs: {lamp: [dark, lit]}
sensors: {a_full: a = 3}
timers:
  rest: {kind: TON, in: lamp = lit, pt: 2 s}
commands:
  light: {permissives: {a is full: a_full}, then: {lamp: lit}}
plant:
  drifts: {when: c = on, after: 0..3 s, then: {b: "(b + 1) MOD 4"}}
people:
  more a: {if: a < 3, then: {a: a + 1}}
  more b: {if: b < 3, then: {b: b + 1}}
  switch: {if: c = off, then: {c: on}}
hazards:
  H1: {text: Lit, must not be: lamp = lit}
  H2: {text: B is full, must not be: b = 3}
  H3: {text: The rest is over, must not be: rest.Q}
"""


def test_a_run_is_looked_for_among_the_steps_that_can_matter() -> None:
    """Time matters to H3, and with it the plant rule that can hold time up."""
    model = model_of(TWO_CELLS)
    search = Search(model, Budget(Allowance(Limits()), Limits(), lambda _: None), Extras())
    cones = Cones(Facts(model), search.parts.space, search.parts.every)
    names = {p.id: condition_of(p.rule).test for p in model.properties}
    kept = {name: {model.steps[n].name for n in cones.steps(Facts(model).reads(test))} for name, test in names.items()}
    assert kept["H1"] == {"light", "more a"}
    assert kept["H2"] == {"drifts", "more b", "switch"}
    assert kept["H3"] == {"light", "more a", "drifts", "switch", "more b"}


def test_a_long_way_among_many_machines_is_found_by_its_own_steps() -> None:
    """Eighteen turns of two counters among 30: layers of all of them would not end."""
    found = explored(model_of(counters(30, 9)))
    assert len(found.found[0].states) == 19
