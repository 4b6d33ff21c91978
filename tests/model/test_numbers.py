"""Arithmetic against other definitions of it, over all small numbers, and how what has no value is told."""

import math
from collections.abc import Callable
from fractions import Fraction
from itertools import product

import pytest

from seqcheck.compile.compile import compile_machine
from seqcheck.model import semantics
from seqcheck.model.run import Beyond
from tests.outside.reading import machine_of

SMALL = range(-7, 8)


def test_division_and_mod_over_all_small_numbers() -> None:
    """Truncation towards zero (IEC 61131-3); what is left is made up by MOD."""
    for a, b in product(SMALL, SMALL):
        if b:
            assert semantics.divide(a, b) == math.trunc(Fraction(a, b)), (a, b)
            assert semantics.modulo(a, b) == a - b * math.trunc(Fraction(a, b)), (a, b)


def test_powers_over_all_small_numbers() -> None:
    for a, b in product(SMALL, range(6)):
        assert semantics.power(a, b) == math.prod([a] * b), (a, b)


def test_a_choice_counts_from_zero() -> None:
    assert [semantics.select(index, 7, 8, 9) for index in range(3)] == [7, 8, 9]


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda: semantics.divide(1, 0), "divides by zero"),
        (lambda: semantics.modulo(1, 0), "takes MOD of zero"),
        (lambda: semantics.power(2, -1), "raises to a negative power"),
        (lambda: semantics.select(3, 5, 6, 7), "selects input 3 of a MUX that has inputs 0 to 2"),
        (lambda: semantics.select(-1, 5, 6), "selects input -1 of a MUX that has inputs 0 to 1"),
    ],
)
def test_what_has_no_value_says_why(call: Callable[[], int], told: str) -> None:
    with pytest.raises(semantics.Impossible) as impossible:
        call()
    assert str(impossible.value) == told


def test_a_step_that_lacks_a_value_says_why() -> None:
    model = compile_machine(machine_of("machine: M\nparts: {n: {range: 0..3}}\npeople: {act: {if: 3 / n = 1, then: {n: 1}}}\n"))
    failure = dict(semantics.steps(model, (0,)))[0]
    assert failure == Beyond(rule="act", variable=None, problem="divides by zero")


def test_a_failure_is_carried_and_said() -> None:
    failure = Beyond(rule="fills", variable="level", problem="level would become 4, its range is 0..3")
    failed = semantics.Failed(failure)
    assert failed.failure == failure
    assert "level would become 4" in str(failed)
