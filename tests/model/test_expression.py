"""Expressions of the model: joining, splitting, what they read, how they are worded."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seqcheck.compile.compile import compile_machine
from seqcheck.model.expression import TRUE, Apply, Const, Expression, Load, Op, Sense, clauses, conjunction, negation, reads
from seqcheck.model.model import Hazard
from seqcheck.model.wording import wording
from tests.outside.reading import machine_of

A, B, C = Load(0), Load(1), Load(2)


def test_conjunction_leaves_out_what_is_true() -> None:
    assert conjunction() == TRUE
    assert conjunction(TRUE, A) == A
    assert conjunction(A, TRUE, B) == Apply(Op.AND, (A, B))


def test_clauses_are_what_is_neither_and_nor_or() -> None:
    both = Apply(Op.OR, (Apply(Op.AND, (A, negation(B))), C))
    assert clauses(both) == (A, negation(B), C)
    assert clauses(negation(both)) == (negation(both),)


def test_reading_goes_through_sensors_of_sensors() -> None:
    sensors = (Apply(Op.EQUAL, (Sense(1), A)), negation(B))
    assert reads(Sense(0), sensors) == {0, 1}
    assert reads(Apply(Op.MAX, (Const(1), C)), sensors) == {2}


MACHINE = """
machine: M
tick: 1 s
parts: {{door: [shut, ajar, open], level: {{range: -3..9}}, wet: bool, other: {{range: 0..4}}}}
sensors: {{is_shut: door = shut, high: level, dry: NOT wet, place: door}}
memory: {{kept: [no, yes]}}
outputs: {{lamp: [dark, lit]}}
timers:
  on_t: {{kind: TON, in: is_shut, pt: 2 s}}
  off_t: {{kind: TOF, in: is_shut, pt: 3 s}}
  pulse: {{kind: TP, in: is_shut, pt: 4 s}}
faults: {{lamp stuck: {{output: lamp, stuck: lit}}}}
hazards:
  H1:
    must not be: "{condition}"
"""

NUMBERS = st.sampled_from(["level", "high", "other", "3", "-2", "on_t.ET", "pulse.ET"])
TRUTHS = st.sampled_from(
    [
        "wet",
        "dry",
        "is_shut",
        "door = ajar",
        "place <> open",
        "kept = yes",
        "lamp = lit",
        "on_t.Q",
        "off_t.Q",
        "pulse.Q",
        "wet = TRUE",
    ]
)


def _numbers(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    infix = st.builds("({} {} {})".format, inner, st.sampled_from(["+", "-", "*"]), inner)
    return (
        infix
        | st.builds("MAX({}, {})".format, inner, inner)
        | st.builds("(-{})".format, inner)
        | st.builds("ABS({})".format, inner)
    )


def _truths(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    infix = st.builds("({} {} {})".format, inner, st.sampled_from(["AND", "OR", "XOR"]), inner)
    chosen = st.builds("SEL({}, {}, {})".format, inner, inner, inner)
    return infix | chosen | st.builds("NOT ({})".format, inner)


SUMS = st.recursive(NUMBERS, _numbers, max_leaves=4)
COMPARED = st.builds("({} {} {})".format, SUMS, st.sampled_from(["<", "<=", ">", ">=", "=", "<>"]), SUMS)
CONDITIONS = st.recursive(TRUTHS | COMPARED, _truths, max_leaves=6)


def hazard(condition: str, *faults: str) -> tuple[str, Expression]:
    """Return the wording of a condition read from a file, and its expression."""
    model = compile_machine(machine_of(MACHINE.format(condition=condition)), faults)
    rule = model.properties[0].rule
    assert isinstance(rule, Hazard)
    return wording(model, rule.must_not_be.test), rule.must_not_be.test


@settings(max_examples=150, deadline=None)
@given(condition=CONDITIONS)
def test_a_condition_as_worded_means_the_same(condition: str) -> None:
    worded, meant = hazard(condition)
    assert hazard(worded)[1] == meant


@pytest.mark.parametrize(
    ("written", "worded"),
    [
        ("((door = open) AND (NOT (wet)))", "door = open AND NOT wet"),
        ("NOT (wet OR dry) AND level + 1 > 2 * (other - 1)", "NOT (wet OR dry) AND level + 1 > 2 * (other - 1)"),
        ("wet = TRUE", "wet = TRUE"),
        ("on_t.Q OR off_t.Q OR pulse.Q", "on_t.Q OR off_t.Q OR pulse.Q"),
        ("place = ajar", "place = ajar"),
        ("door = SEL(wet, open, place)", "door = SEL(wet, open, place)"),
        ("SEL(wet, 1, 0) = other", "SEL(wet, 1, 0) = other"),
        ("MUX(other, shut, door, ajar) = open", "MUX(other, shut, door, ajar) = open"),
        ("level < -2", "level < -2"),
        ("pulse.ET > 2", "pulse.ET > 2"),
    ],
)
def test_wording(written: str, worded: str) -> None:
    assert hazard(written)[0] == worded


def test_an_output_that_may_be_stuck_is_worded_by_its_name() -> None:
    assert hazard("lamp = lit", "lamp stuck")[0] == "lamp = lit"
