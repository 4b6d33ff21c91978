"""The C rival finds what the engines find; skipped where there is no gcc."""

import subprocess
from collections.abc import Iterator, Mapping
from itertools import combinations
from pathlib import Path

import pytest

from seqcheck.analyse.verdict import Case, Verdict
from seqcheck.analyse.verify import verify_case
from seqcheck.compile.compile import compile_machine
from seqcheck.model.model import Hazard, Model
from seqcheck.search.engine import Limits
from seqcheck.search.engines import engine
from tests.benchmarks import c_rival
from tests.benchmarks.c_program import asked_of
from tests.benchmarks.cells import cells
from tests.benchmarks.searched import Searched, searched
from tests.outside import puzzles
from tests.outside.reading import machine_of

pytestmark = pytest.mark.skipif(c_rival.compiler() is None, reason="there is no gcc")

MACHINES = sorted((Path(__file__).parents[1] / "search" / "cases").glob("*.yaml"))
DEMO = Path(__file__).parents[2] / "sequences" / "separator.yaml"


def run(model: Model, folder: Path, *, stop: int | None = None, block: int = 1, expected: int = 0) -> Searched:
    target = c_rival.built(model, folder, block=block, optimise=False)
    done = subprocess.run(c_rival.arguments(target, expected, stop), capture_output=True, text=True, check=True)
    return searched(done.stdout)


def models(path: Path) -> Iterator[Model]:
    """Yield the machine of a file without faults, and with the first two of its faults where they may meet."""
    machine = machine_of(path.read_text(encoding="utf-8"))
    yield compile_machine(machine)
    for chosen in list(combinations(machine.faults, min(2, len(machine.faults))))[-1:]:
        stuck = {one.stuck.signal for one in chosen if one.stuck is not None}
        if chosen and len(stuck) == sum(one.stuck is not None for one in chosen):
            yield compile_machine(machine, [fault.name for fault in chosen])


def least_steps(case: Case, model: Model) -> Mapping[int, int]:
    """Return the least steps to each hazard and goal that the engine reached; under faults a goal is asked otherwise."""
    numbers = [number for number, _ in asked_of(model)]
    runs = {number: case.results[number].run for number in numbers if is_judged_alike(model, number)}
    verdicts = {number: case.results[number].verdict for number in runs}
    return {
        number: run.step_count
        for number, run in runs.items()
        if run is not None and (verdicts[number] is Verdict.VIOLATED) == isinstance(model.properties[number].rule, Hazard)
    }


def is_judged_alike(model: Model, number: int) -> bool:
    return isinstance(model.properties[number].rule, Hazard) or not model.faults


@pytest.mark.parametrize("path", MACHINES, ids=lambda path: path.stem)
def test_it_agrees_with_the_plain_engine(path: Path, tmp_path: Path) -> None:
    for model in models(path):
        case = verify_case(model, engine("plain"), Limits(), lambda _: None)
        found = run(model, tmp_path)
        assert (found.states, found.transitions) == (case.states, case.transitions), model.faults
        assert sum(found.layers) == found.states
        met = {number: steps for number, steps in found.met.items() if is_judged_alike(model, number)}
        assert met == least_steps(case, model), model.faults


def test_the_demo(tmp_path: Path) -> None:
    found = run(compile_machine(machine_of(DEMO.read_text(encoding="utf-8"))), tmp_path)
    assert (found.states, found.transitions) == (21_264, 194_888)


@pytest.mark.parametrize("block", [1, 8])
def test_one_cell(tmp_path: Path, block: int) -> None:
    found = run(compile_machine(machine_of(cells(1))), tmp_path, block=block)
    assert (found.states, found.transitions, dict(found.met)) == (7_176, 43_020, {})


def test_one_cell_with_the_mistake(tmp_path: Path) -> None:
    model = compile_machine(machine_of(cells(1, mistake=True)))
    found = run(model, tmp_path)
    assert (found.states, found.met[0]) == (19_896, 22)
    stopped = run(model, tmp_path, stop=0)
    assert (len(stopped.layers), stopped.met[0]) == (23, 22)
    assert stopped.layers == found.layers[:23]
    assert stopped.states < found.states


def test_the_pocket_cube_has_the_published_layers(tmp_path: Path) -> None:
    """OEIS A079761: positions of the cube of two by two by two by distance, a half turn being one move."""
    target = c_rival.built(compile_machine(machine_of(puzzles.pocket_cube())), tmp_path)
    done = subprocess.run(c_rival.arguments(target, 3_674_160, None), capture_output=True, text=True, check=True)
    found = searched(done.stdout)
    assert found.layers == (1, 9, 54, 321, 1847, 9992, 50136, 227536, 870072, 1887748, 623800, 2644)
    assert (found.states, found.transitions) == (3_674_160, 33_067_440)
