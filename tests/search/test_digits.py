"""Numbers kept as their bits: they say what numbers kept value by value say, and every engine's answers stay what they are."""

from collections.abc import Callable
from operator import ge, gt, le, lt
from unittest.mock import patch

import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from seqcheck.compile.compile import compile_machine
from seqcheck.model.expression import Apply, Const, Load, Op
from seqcheck.model.model import Model
from seqcheck.search.engine import Limits
from seqcheck.search.engines import engine
from seqcheck.search.symbolic import valuing
from seqcheck.search.symbolic.diagrams import Node, Space
from seqcheck.search.symbolic.digits import Digits, increased, paired, unequal, within
from seqcheck.search.symbolic.valuing import Facts, Valuation
from tests.effort import examples
from tests.outside.machines import machines
from tests.outside.reading import machine_of
from tests.search.test_agreement import conditions
from tests.search.test_engines_agree import MOST_STATES, models, refined, told

RELAXED = settings(max_examples=examples(50), deadline=None, suppress_health_check=list(HealthCheck))
COMPARED = {Op.LESS: lt, Op.GREATER: gt, Op.AT_MOST: le, Op.AT_LEAST: ge}


def space_of(lowest: int, highest: int) -> tuple[Model, Space]:
    """Two numbers of one range and a truth: 2 variables of wide range, 1 of two values."""
    text = f"machine: Numbers\nparts: {{a: {{range: {lowest}..{highest}}}, b: {{range: {lowest}..{highest}}}, c: bool}}\n"
    model = compile_machine(machine_of(text + "people: {flip: {if: NOT c, then: {c: TRUE}}}\n"), ())
    bits = [(n, bit) for n, v in enumerate(model.variables) for bit in reversed(range((v.highest - v.lowest).bit_length()))]
    return model, Space(model, bits, 1 << 16, 1 << 12)


def digits(model: Model, space: Space, variable: int) -> Digits:
    v = model.variables[variable]
    return Digits(space, v.lowest, v.highest, [space.literal(bit) for bit in space.now[variable]])


def holding(space: Space, node: Node, model: Model) -> set[tuple[int, int, int]]:
    """Return the states of a set, each looked at by itself."""
    a, b, _ = (range(v.lowest, v.highest + 1) for v in model.variables)
    return {(x, y, z) for x in a for y in b for z in (0, 1) if (node & space.point((x, y, z))).satisfiable()}


def every_state(model: Model) -> set[tuple[int, int, int]]:
    return where(model, lambda _x, _y, _z: True)


def where(model: Model, test: Callable[[int, int, int], bool]) -> set[tuple[int, int, int]]:
    a, b, _ = (range(v.lowest, v.highest + 1) for v in model.variables)
    return {(x, y, z) for x in a for y in b for z in (0, 1) if test(x, y, z)}


RANGES = [(0, 18), (-3, 9), (5, 12), (0, 1)]


@pytest.mark.parametrize(("lowest", "highest"), RANGES)
def test_sums_choices_and_bounds(lowest: int, highest: int) -> None:
    model, space = space_of(lowest, highest)
    a, b = digits(model, space, 0), digits(model, space, 1)
    first, last = model.variables[0].lowest, model.variables[0].highest
    chosen = a.chosen(space.has(2, 1), b)
    more = a.increased()
    every = every_state(model)
    for raw in range(first - 1, last + 2):
        assert holding(space, a.get(raw, space.false), model) == {(x, y, z) for x, y, z in every if x == raw}
        assert holding(space, chosen.get(raw, space.false), model) == {(x, y, z) for x, y, z in every if (y, x)[z] == raw}
        if first < raw <= last:
            assert holding(space, more[raw], model) == {(x, y, z) for x, y, z in every if x + 1 == raw}
        for high in range(raw, last + 3):
            assert holding(space, within(space, a, raw, high), model) == {(x, y, z) for x, y, z in every if raw <= x <= high}
    assert list(a) == list(range(first, last + 1))
    assert len(chosen) == last - first + 1


@pytest.mark.parametrize(("lowest", "highest"), RANGES)
def test_numbers_that_differ(lowest: int, highest: int) -> None:
    model, space = space_of(lowest, highest)
    a, b = digits(model, space, 0), digits(model, space, 1)
    assert holding(space, unequal(space, a, b), model) == where(model, lambda x, y, _z: x != y)
    for raw in range(lowest, highest + 1):
        constant = {raw: space.true}
        found = holding(space, unequal(space, constant, a), model)
        assert found == {(x, y, z) for x, y, z in every_state(model) if x != raw}
    listed = dict(b.items())
    assert paired(a, listed) is None or len(listed) == 1
    assert holding(space, unequal(space, a, listed), model) == where(model, lambda x, y, _z: x != y)


def test_what_is_no_number_of_the_range_is_not_made_one() -> None:
    model, space = space_of(0, 18)
    a = digits(model, space, 0)
    other = Digits(space, 1, 19, a.bits)
    assert paired(a, {19: space.true}) is None
    assert paired({-1: space.true}, a) is None
    assert paired(a, other) is None
    assert paired({0: space.true}, {1: space.true}) is None


def test_values_that_no_state_has_are_none() -> None:
    model, space = space_of(0, 18)
    few = digits(model, space, 0).chosen(space.false, Digits(space, 0, 18, [space.true, *[space.false] * 4]))
    assert dict(few) == {1: space.true}
    assert 0 not in few
    assert increased(few).keys() == {2}


@pytest.mark.parametrize("op", COMPARED)
def test_comparisons_with_constants_and_numbers(op: Op) -> None:
    model, space = space_of(-3, 9)
    with patch.object(valuing, "MANY_VALUES", 1):
        valuation = Valuation(space, Facts(model))
        for bound in range(-5, 12):
            left = valuation.truth(Apply(op, (Load(0), Const(bound))))
            right = valuation.truth(Apply(op, (Const(bound), Load(0))))
            every = every_state(model)
            assert holding(space, left, model) == {(x, y, z) for x, y, z in every if COMPARED[op](x, bound)}
            assert holding(space, right, model) == {(x, y, z) for x, y, z in every if COMPARED[op](bound, x)}
        between = valuation.truth(Apply(op, (Load(0), Load(1))))
    assert holding(space, between, model) == where(model, lambda x, y, _z: COMPARED[op](x, y))


def test_equal_numbers() -> None:
    model, space = space_of(-3, 9)
    with patch.object(valuing, "MANY_VALUES", 1):
        valuation = Valuation(space, Facts(model))
        same = valuation.truth(Apply(Op.EQUAL, (Load(0), Load(1))))
        four = valuation.truth(Apply(Op.EQUAL, (Const(4), Load(0))))
        neither = valuation.truth(Apply(Op.UNEQUAL, (Load(0), Const(99))))
    assert holding(space, same, model) == where(model, lambda x, y, _z: x == y)
    assert holding(space, four, model) == where(model, lambda x, _y, _z: x == 4)
    assert holding(space, neither, model) == every_state(model)


@settings(RELAXED, max_examples=examples(15))
@given(text=machines(), finer=st.sampled_from([1, 1, 3, 10]))
def test_answers_are_those_of_the_definition_with_every_number_as_bits(text: str, finer: int) -> None:
    """Numbers of two values and more are kept as bits here, so that all that is done to numbers is done to bits."""
    for model in models(machine_of(refined(text, finer))):
        watches = tuple(conditions(model))
        plain = engine("plain").explore(model, watches, Limits(states=MOST_STATES), lambda _: None)
        if plain.stopped is not None:
            event("too many states")
            return
        with patch.object(valuing, "MANY_VALUES", 1):
            found = engine("symbolic").explore(model, watches, Limits(), lambda _: None)
        assert told(model, found) == told(model, plain)


@RELAXED
@given(values=st.sets(st.integers(-3, 9)), among=st.sampled_from([0, 1]))
def test_values_found_in_a_set(values: set[int], among: int) -> None:
    _, space = space_of(-3, 9)
    other = space.any(space.has(1 - among, raw) for raw in (-3, 4))
    states = space.any(space.has(among, raw) for raw in values) & other
    assert list(space.values(states, among)) == sorted(values)
    assert set(space.values(states, 1 - among)) == ({-3, 4} if values else set())
