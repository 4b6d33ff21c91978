"""Circuits of expressions have the values of the definition, for all values of the variables."""

from itertools import product

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from seqcheck.model import semantics
from seqcheck.model.expression import Apply, Const, Expression, Load, Op
from seqcheck.model.model import Model
from seqcheck.proof.circuits import FALSE, TRUE, Circuits, Literal
from seqcheck.proof.drawn import FreeState
from seqcheck.proof.encode import Encoder, Moment
from seqcheck.proof.numbers import Number, TooWideError, constant, width
from tests.proof.proving import subject

TEXT = """
machine: Numbers
parts:
  a: {range: -3..4}
  b: {range: 0..5}
  c: {range: -9..-7}
  t: bool
hazards:
  H1: {must not be: a > 100}
"""
RANGES = (range(-3, 5), range(6), range(-9, -6), range(2))
TRUTHS = (Op.LESS, Op.GREATER, Op.AT_MOST, Op.AT_LEAST, Op.EQUAL, Op.UNEQUAL)
TWO = (Op.PLUS, Op.MINUS, Op.TIMES, Op.DIVIDE, Op.MOD, Op.MIN, Op.MAX)


def model() -> Model:
    return subject(TEXT).origin.compile(())


def of(op: Op, *operands: Expression) -> Expression:
    return Apply(op, operands)


def numbers() -> st.SearchStrategy[Expression]:
    leaves = st.one_of(st.integers(-6, 6).map(Const), st.sampled_from([Load(0), Load(1), Load(2)]))
    return st.recursive(leaves, deeper, max_leaves=5)


def deeper(inner: st.SearchStrategy[Expression]) -> st.SearchStrategy[Expression]:
    return st.one_of(
        st.builds(of, st.sampled_from(TWO), inner, inner),
        st.builds(of, st.sampled_from([Op.NEG, Op.ABS]), inner),
        st.builds(of, st.just(Op.SEL), truths(inner), inner, inner),
        st.builds(of, st.sampled_from([Op.LIMIT, Op.MUX]), inner, inner, inner),
        st.builds(of, st.just(Op.POWER), inner, st.sampled_from([Load(0), Load(1), Const(2)])),
    )


def truths(inner: st.SearchStrategy[Expression]) -> st.SearchStrategy[Expression]:
    compared = st.builds(of, st.sampled_from(TRUTHS), inner, inner)
    joined = st.builds(of, st.sampled_from([Op.AND, Op.OR, Op.XOR]), compared, st.just(Load(3)))
    return st.one_of(compared, joined, st.builds(of, st.just(Op.NOT), compared))


def value(circuits: Circuits, true: frozenset[Literal], literal: Literal, known: dict[int, bool]) -> bool:
    """Follow the clauses' gates from the inputs: the plain meaning of a circuit."""
    if literal < 0:
        return not value(circuits, true, Literal(-literal), known)
    if literal not in known:
        match circuits._gates[literal]:
            case (a, b):
                known[literal] = value(circuits, true, a, known) and value(circuits, true, b, known)
            case (c, a, b):
                known[literal] = value(circuits, true, a if value(circuits, true, c, known) else b, known)
            case _:
                known[literal] = literal in {TRUE, *true}
    return known[literal]


@settings(deadline=None, max_examples=150, suppress_health_check=list(HealthCheck))
@given(st.one_of(numbers(), truths(numbers())))
def test_an_expression_has_the_value_of_the_definition(expression: Expression) -> None:
    machine, circuits = model(), Circuits()
    free = FreeState(machine, circuits)
    try:
        number, missing = Encoder(machine, circuits).evaluate(expression, Moment(free.values))
    except TooWideError:
        return
    for state in product(*RANGES):
        true = frozenset(
            bit
            for place, variable in enumerate(machine.variables)
            for worth, bit in enumerate(free.offset_bits(place))
            if state[place] - variable.lowest >> worth & 1
        )
        known: dict[int, bool] = {}
        assert value(circuits, true, free.sound, known)
        try:
            wanted = semantics.evaluate(machine, expression, state)
        except semantics.Impossible:
            assert value(circuits, true, missing, known)
            continue
        assert not value(circuits, true, missing, known)
        assert number.lowest <= wanted <= number.highest
        assert signed([value(circuits, true, bit, known) for bit in number.bits]) == wanted


def signed(bits: list[bool]) -> int:
    return sum(1 << place for place, bit in enumerate(bits) if bit) - (bits[-1] << len(bits))


@pytest.mark.parametrize(
    ("lowest", "highest", "bits"), [(0, 0, 1), (0, 1, 2), (-1, 0, 1), (-2, 1, 2), (-128, 127, 8), (0, 128, 9)]
)
def test_widths(lowest: int, highest: int, bits: int) -> None:
    assert width(lowest, highest) == bits


def test_constants_need_no_gates() -> None:
    assert constant(-2) == Number((FALSE, TRUE), -2, -2)
    assert constant(5) == Number((TRUE, FALSE, TRUE, FALSE), 5, 5)


def test_numbers_that_are_too_wide_are_not_encoded() -> None:
    expression: Expression = Const(10**9)
    for _ in range(10):
        expression = of(Op.TIMES, expression, Const(10**9))
    with pytest.raises(TooWideError):
        Encoder(model(), Circuits()).evaluate(expression, Moment(()))
