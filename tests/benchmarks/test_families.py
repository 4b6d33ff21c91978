"""The generated machines are legal files with the answers that their docstrings state."""

import pytest

from seqcheck.analyse.verdict import Case, Verdict
from seqcheck.analyse.verify import verify_case
from seqcheck.compile.compile import compile_machine
from seqcheck.model import semantics
from seqcheck.model.model import Hazard
from seqcheck.search.engine import Limits
from seqcheck.search.engines import engine
from tests.benchmarks import cases, graph
from tests.benchmarks.c_program import asked_of
from tests.benchmarks.cells import cells
from tests.benchmarks.lines import lines
from tests.outside import puzzles
from tests.outside.reading import machine_of


def plainly(text: str) -> Case:
    return verify_case(compile_machine(machine_of(text)), engine("plain"), Limits(), lambda _: None)


def violated(case: Case) -> dict[str, int]:
    """Return what is violated, in how many steps."""
    found = {result.id: result.run for result in case.results if result.verdict is Verdict.VIOLATED}
    return {name: run.step_count for name, run in found.items() if run is not None}


@pytest.mark.parametrize("case", cases.CASES, ids=lambda case: str(case.name))
def test_each_case_is_a_legal_file_with_the_hazard_asked_for(case: cases.Case) -> None:
    model = compile_machine(machine_of(case.write()))
    hazards = {p.id for p in model.properties if isinstance(p.rule, Hazard)}
    assert case.hazard is None or case.hazard in hazards
    assert (case.within is not None) <= (case.hazard is not None)


def test_one_cell() -> None:
    found = plainly(cells(1))
    assert (found.states, found.transitions) == (7_176, 43_020)
    assert violated(found) == {}


def test_one_cell_with_the_mistake() -> None:
    found = plainly(cells(1, mistake=True))
    assert found.states == 19_896
    assert violated(found) == {"open_turning1": 22}


def test_one_of_a_line_as_the_definition_has_it() -> None:
    model = compile_machine(machine_of(lines(1)))
    defined = graph.searched(model)
    found = plainly(lines(1))
    assert (found.states, found.transitions) == (defined.states, defined.transitions) == (3_945, 25_315)
    assert violated(found) == {}
    assert defined.met == {number: 10 for number, _ in asked_of(model) if not isinstance(model.properties[number].rule, Hazard)}


def test_one_of_a_line_with_the_mistake() -> None:
    found = plainly(lines(1, mistake=True))
    assert (found.states, found.transitions) == (11_065, 84_019)
    assert violated(found) == {"open_turning1": 11}


def test_every_trip_of_a_line_acts() -> None:
    findings = {finding.kind for finding in plainly(lines(1)).findings}
    assert findings == {"in_passing", "never_decisive"}


def test_the_families_grow_by_their_copies() -> None:
    for written in (cells, lines):
        one, three = (compile_machine(machine_of(written(n))) for n in (1, 3))
        assert len(three.properties) == 3 * len(one.properties)
        assert (len(three.variables), len(three.timers)) >= (2 * len(one.variables), 3 * len(one.timers))


def test_the_pocket_cube_turns_back() -> None:
    """Four quarters, two halves, and a quarter with three quarters, leave the cube as it was."""
    model = compile_machine(machine_of(puzzles.pocket_cube()))
    start = tuple(variable.starts[0] for variable in model.variables)
    steps = {step.name: step for step in model.steps}
    assert len(steps) == 9
    for face in ("up", "right", "front"):
        for turns in (["a quarter"] * 4, ["a half"] * 2, ["a quarter", "three quarters"], ["a quarter", "a quarter", "a half"]):
            state = start
            for turn in turns:
                state = semantics.take(model, steps[f"{face} {turn}"], state)
            assert state == start, (face, turns)


def test_a_demo_without_its_tick_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cases, "TICK", "tick: 7 s\n")
    with pytest.raises(ValueError, match="tick"):
        cases.demo("1 s")
