"""The order of bits: which machines stand apart, and where what drives time stands. It decides how long a search takes."""

from itertools import pairwise
from pathlib import Path

import pytest

from seqcheck.compile.compile import compile_machine
from seqcheck.model.idling import TIME
from seqcheck.model.model import Model
from seqcheck.search.symbolic.ordering import drivers, split, variables
from seqcheck.search.symbolic.valuing import Facts
from tests.analyse.asking import model_of
from tests.benchmarks.lines import lines
from tests.outside.reading import machine_of

FILES = sorted((Path(__file__).parents[2] / "sequences").glob("*.yaml"))
MACHINES = [compile_machine(machine_of(file.read_text(encoding="utf-8"))) for file in FILES]


def names(model: Model, numbers: list[int]) -> list[str]:
    return [model.variables[number].name for number in numbers]


@pytest.mark.parametrize("model", MACHINES, ids=[file.stem for file in FILES])
def test_one_machine_stays_whole_with_time_below_and_its_drivers_right_above(model: Model) -> None:
    order = variables(Facts(model))
    driving = drivers(Facts(model))
    rank = [2 if model.variables[number].kind in TIME else number in driving for number in order]
    assert rank == sorted(rank)
    assert rank[-1] == 2
    assert rank[0] == 0


def chains(parts: int, size: int) -> tuple[tuple[int, ...], tuple[frozenset[int], ...]]:
    """Return a hub, 0, and chains of so many variables that hang on it by every one of theirs."""
    links = [[1 + part * size + place for place in range(size)] for part in range(parts)]
    groups = [frozenset({0, one}) for link in links for one in link]
    groups += [frozenset(pair) for link in links for pair in pairwise(link)]
    return tuple(range(1 + parts * size)), tuple(groups)


@pytest.mark.parametrize(("parts", "size", "apart"), [(2, 8, True), (2, 7, False), (3, 7, False), (4, 3, True), (9, 3, True)])
def test_machines_are_two_large_parts_or_four_of_any_size(parts: int, size: int, apart: bool) -> None:
    hubs, machines = split(*chains(parts, size))
    assert hubs == ([0] if apart else [])
    assert [len(machine) for machine in machines] == (parts * [size] if apart else [1 + parts * size])


@pytest.mark.parametrize("many", [2, 4])
def test_a_line_of_machines_stands_machine_by_machine(many: int) -> None:
    model = model_of(lines(many))
    order = variables(Facts(model))
    assert names(model, order[:1]) == ["mode"]
    owners = [next(character for character in name if character.isdigit()) for name in names(model, order[1:])]
    assert owners == sorted(owners, key=owners.index)
