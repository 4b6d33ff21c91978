"""A search that is to end with the first violation ends after its layer, as that of `plain` does."""

from pathlib import Path

import pytest

from seqcheck.compile.compile import compile_machine
from seqcheck.model.model import Model
from seqcheck.search.engine import Extras, Limits, Stop
from seqcheck.search.packed.packed import PackedEngine
from seqcheck.search.plain.plain import PlainEngine
from tests.analyse.asking import model_of, silent
from tests.cli.calling import counters
from tests.outside.reading import machine_of
from tests.search.packed.comparing import answers

CASES = sorted((Path(__file__).parents[1] / "cases").glob("*.yaml"))
FIRST = Extras(first=True)


def models(path: Path) -> list[Model]:
    machine = machine_of(path.read_text(encoding="utf-8"))
    names = tuple(fault.name for fault in machine.faults)
    return [compile_machine(machine, faults) for faults in ((), *((name,) for name in names))]


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_it_ends_where_plain_ends(path: Path) -> None:
    for model in models(path):
        plain = PlainEngine().explore(model, (), Limits(), silent, FIRST)
        packed = PackedEngine(2).explore(model, (), Limits(), silent, FIRST)
        assert packed.stopped is plain.stopped
        if plain.stopped is Stop.FIRST:
            assert packed.complete_steps == plain.complete_steps
        mine, theirs = answers(model, packed), answers(model, plain)
        assert (mine.found, mine.failures, mine.unjudged) == (theirs.found, theirs.failures, theirs.unjudged)


def test_what_is_beyond_is_not_searched() -> None:
    model = model_of(counters(6, 9).replace("c0 = 1", "c0 = 2"))
    found = PackedEngine().explore(model, (), Limits(), silent, FIRST)
    assert (found.stopped, found.complete_steps) == (Stop.FIRST, 2)
    assert found.found.keys() == {0}
    assert found.states < 100


def test_without_a_violation_everything_is_searched() -> None:
    model = model_of(counters(3, 6).replace("c0 = 1", "c0 = 7").replace("c0 = 6", "c0 = 7"))
    found = PackedEngine().explore(model, (), Limits(), silent, FIRST)
    assert (found.stopped, found.states) == (None, 343)
