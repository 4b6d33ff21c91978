"""Evidence is the set that `plain` finds, with the same ranks, whether or not there is memory to list the transitions."""

from collections.abc import Mapping
from pathlib import Path

import pytest
from msgspec.structs import replace

from seqcheck.compile.compile import compile_machine
from seqcheck.model.model import Model, State
from seqcheck.search.engine import Exploration, Extras, Limits, Listed, Unfit
from seqcheck.search.packed import graph, visited
from seqcheck.search.packed.packed import PackedEngine
from seqcheck.search.packed.visited import Visited
from seqcheck.search.plain.plain import PlainEngine
from tests.analyse.asking import model_of, silent
from tests.cli.calling import counters
from tests.outside.reading import machine_of
from tests.search.packed.comparing import answers

CASES = sorted((Path(__file__).parents[1] / "cases").glob("*.yaml"))
EVIDENCE = Extras(evidence=True)


def listed(found: Exploration) -> Mapping[State, Mapping[int, int]]:
    """Return each state with its ranks."""
    assert isinstance(found.evidence, Listed)
    ranks = {number: list(of_states) for number, of_states in found.evidence.ranks.items()}
    states = list(found.evidence.states)
    assert len(states) == len(set(states)) == found.states
    assert [found.evidence.states[place] for place in range(len(states))] == states
    assert list(found.evidence.states[1:3]) == states[1:3]
    return {state: {number: of_states[place] for number, of_states in ranks.items()} for place, state in enumerate(states)}


def models(path: Path) -> list[Model]:
    machine = machine_of(path.read_text(encoding="utf-8"))
    names = tuple(fault.name for fault in machine.faults)
    return [compile_machine(machine, faults) for faults in ((), *((name,) for name in names))]


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_the_same_states_and_ranks(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for model in models(path):
        plain = PlainEngine().explore(model, (), Limits(), silent, EVIDENCE)
        packed = PackedEngine(2).explore(model, (), Limits(), silent, EVIDENCE)
        assert listed(packed) == listed(plain)
        with monkeypatch.context() as patched:
            patched.setattr(graph, "fits", lambda _search: False)
            again = PackedEngine(2).explore(model, (), Limits(), silent, EVIDENCE)
        assert listed(again) == listed(plain)
        assert answers(model, again) == answers(model, packed)


def test_no_evidence_unless_asked_or_complete() -> None:
    model = model_of(counters(3, 6))
    assert PackedEngine().explore(model, (), Limits(), silent).evidence is None
    assert PackedEngine().explore(model, (), Limits(states=100), silent, EVIDENCE).evidence is None


def test_full_tables_and_chains_lose_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """A table that is nearly full has long runs of slots, round its end too."""
    for name in ("MOST_LOAD", "MOST_LOAD_SMALL"):
        monkeypatch.setattr(visited, name, 0.98)
    monkeypatch.setattr(visited, "FIRST_SLOTS", 8)
    monkeypatch.setattr(Visited, "_most", property(lambda table: max(1, table.slots - 1)))
    for width_of in (3, 5, 9):
        model = model_of(counters(width_of, 9 if width_of < 6 else 2))
        found = PackedEngine(3).explore(model, (), Limits(), silent, EVIDENCE)
        assert found.states == (10 if width_of < 6 else 3) ** width_of
        assert isinstance(found.evidence, Listed)
        assert len(set(found.evidence.states)) == found.states


@pytest.mark.parametrize("highest", [2**40, 2**63])
def test_values_that_may_be_too_great_are_refused(highest: int) -> None:
    """No file can ask for such a range; a model might."""
    text = "machine: M\nparts:\n  a: {range: 0..9}\npeople:\n  go: {if: a < 3, then: {a: a + 1}}\n"
    model = model_of(text + "hazards:\n  h: {must not be: a * a = 4}\n")
    great = replace(model, variables=(replace(model.variables[0], highest=highest),))
    assert PackedEngine().explore(model, (), Limits(), silent).found.keys() == {0}
    with pytest.raises(Unfit, match="more than 62 bits"):
        PackedEngine().explore(great, (), Limits(), silent)


def test_great_numbers_are_exact() -> None:
    """Registers of 64 bits, and a field of more than 16."""
    model = model_of(
        "machine: M\nparts:\n  a: {range: -500000..500000}\n"
        "people:\n  go: {if: a < 5, then: {a: a + 1}}\n  far: {if: a = 5, then: {a: 499999}}\n"
        "  back: {if: a > 6, then: {a: -500000}}\n  on: {if: a < -499998, then: {a: a + 499990}}\n"
        "hazards:\n  h: {must not be: a * a * 4 = 1000000000000}\n"
    )
    limits = Limits(states=2000)
    plain, packed = (engine.explore(model, (), limits, silent) for engine in (PlainEngine(), PackedEngine()))
    assert packed.found.keys() == plain.found.keys() == {0}
    assert len(packed.found[0].states) == len(plain.found[0].states)
