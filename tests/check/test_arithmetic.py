"""Bounds of arithmetic against all values, one by one."""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seqcheck.check.arithmetic import GREATEST, CannotComputeError, bounds, fits, truncated, union
from seqcheck.check.typed import NumberType, Operator

TWO = (Operator.PLUS, Operator.MINUS, Operator.TIMES, Operator.DIVIDE, Operator.MOD, Operator.POWER)
ENDS = st.integers(min_value=-7, max_value=7)
KINDS = st.tuples(ENDS, ENDS).map(lambda ends: NumberType(min(ends), max(ends)))


def values(kind: NumberType) -> range:
    return range(kind.lowest, kind.highest + 1)


def computed(operator: Operator, left: int, right: int) -> int | None:
    """Compute by Python's own rules where they agree with Structured Text, else by hand; None if it fails."""
    if operator is Operator.PLUS:
        return left + right
    if operator is Operator.MINUS:
        return left - right
    if operator is Operator.TIMES:
        return left * right
    if operator is Operator.POWER:
        return None if right < 0 else int(left**right)
    if right == 0:
        return None
    quotient = int(left / right)  # the numbers are small: exact
    return quotient if operator is Operator.DIVIDE else left - quotient * right


@given(operator=st.sampled_from(TWO), left=KINDS, right=KINDS)
def test_two_operands(operator: Operator, left: NumberType, right: NumberType) -> None:
    results = [r for a, b in product(values(left), values(right)) if (r := computed(operator, a, b)) is not None]
    if not results:
        with pytest.raises(CannotComputeError):
            bounds(operator, (left, right))
        return
    found = bounds(operator, (left, right))
    assert found.lowest <= min(results)
    assert found.highest >= max(results)
    if operator is not Operator.MOD:
        assert found == NumberType(min(results), max(results))


@given(first=KINDS, second=KINDS, third=KINDS)
def test_functions(first: NumberType, second: NumberType, third: NumberType) -> None:
    triples = list(product(values(first), values(second), values(third)))
    limited = [min(max(value, lowest), highest) for lowest, value, highest in triples]
    assert bounds(Operator.LIMIT, (first, second, third)) == NumberType(min(limited), max(limited))
    assert bounds(Operator.MIN, (first, second, third)) == NumberType(min(map(min, triples)), max(map(min, triples)))
    assert bounds(Operator.MAX, (first, second, third)) == NumberType(min(map(max, triples)), max(map(max, triples)))
    absolute = [abs(value) for value in values(first)]
    assert bounds(Operator.ABS, (first,)) == NumberType(min(absolute), max(absolute))
    assert bounds(Operator.NEG, (first,)) == NumberType(-first.highest, -first.lowest)
    assert union((first, second)) == NumberType(min(first.lowest, second.lowest), max(first.highest, second.highest))


@pytest.mark.parametrize(
    ("dividend", "divisor", "quotient"),
    [(7, 2, 3), (-7, 2, -3), (7, -2, -3), (-7, -2, 3), (0, -3, 0), (10**18 - 1, 7, 142857142857142857)],
)
def test_division_drops_the_remainder_towards_zero(dividend: int, divisor: int, quotient: int) -> None:
    assert truncated(dividend, divisor) == quotient


def test_powers_of_any_size_end_soon() -> None:
    assert bounds(Operator.POWER, (NumberType(-1, 1), NumberType(0, 10**17))) == NumberType(-1, 1)
    assert not fits(bounds(Operator.POWER, (NumberType(0, 2), NumberType(0, 10**17))))
    assert fits(bounds(Operator.POWER, (NumberType(2, 2), NumberType(62, 62))))
    assert not fits(NumberType(0, GREATEST + 1))
    assert not fits(NumberType(-GREATEST - 1, 0))
