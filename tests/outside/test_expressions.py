"""Expressions: the standard's precedence, and random expressions against Python, through the whole tool."""

import tempfile
from collections.abc import Mapping
from pathlib import Path

from hypothesis import HealthCheck, event, given, settings

from tests.outside.answer import Answer, ask
from tests.outside.conftest import Verify
from tests.outside.expressions import (
    NUMBERS,
    TRUTHS_GROWN,
    VARIABLES,
    NoValueError,
    Tree,
    settings_of,
    spelled,
    worked_out,
)
from tests.outside.puzzles import quoted

LOWEST, HIGHEST = -500_000, 500_000


def computing(number: str, truth: str, values: Mapping[str, int | bool]) -> str:
    """Return a file in which a person works out a number and a truth."""
    parts = [f"  {name}: {{range: {low}..{high}, starts: {values[name]}}}" for name, (low, high) in VARIABLES.items()]
    parts += [f"  {name}: {{states: [FALSE, TRUE], starts: {str(value).upper()}}}" for name, value in values.items()
              if isinstance(value, bool)]  # fmt: skip
    return "\n".join([
        "machine: A calculator",
        "parts:",
        *parts,
        f"  number: {{range: {LOWEST}..{HIGHEST}, starts: 0}}",
        "  truth: bool",
        "  done: bool",
        "people:",
        f"  compute: {{if: NOT done, then: {{number: {quoted(number)}, truth: {quoted(truth)}, done: TRUE}}}}",
        "requirements:",
        "  R: {reachable: done}",
        "",
    ])  # fmt: skip


def asked(text: str) -> Answer:
    """Put a text to the tool in a folder of its own."""
    with tempfile.TemporaryDirectory() as folder:
        return ask(text, Path(folder))


CONSTANTS = {"va": 1, "vb": 2, "vc": 3, "vd": 1, "ta": False, "tb": False}


def test_the_standards_own_example(verify: Verify) -> None:
    """IEC 61131-3, evaluation of expressions: with 1, 2, 3, 4, A+B-C*ABS(D) is -9 and (A+B-C)*ABS(D) is 0 (from memory)."""
    given_back = verify("""machine: The example of the standard
parts:
  a: {range: 0..9, starts: 1}
  b: {range: 0..9, starts: 2}
  c: {range: 0..9, starts: 3}
  d: {range: 0..9, starts: 4}
requirements:
  plain: {reachable: A+B-C*ABS(D) = -9}
  parentheses: {reachable: (A+B-C)*ABS(D) = 0}
hazards:
  plain_else: {must not be: A+B-C*ABS(D) <> -9}
  parentheses_else: {must not be: (A+B-C)*ABS(D) <> 0}
""")
    assert given_back.exit_code == 0
    assert {result.verdict for result in given_back.plain.results} == {"holds"}
    assert given_back.plain.states == 1


def test_the_check_can_fail(verify: Verify) -> None:
    """The same machine with left-to-right evaluation as the claim: (1+2-3)*4 is not -9."""
    text = computing("va + vb - vc * 4", "va + vb - vc * 4 = 0", CONSTANTS)
    end = verify(text).plain.of("R").end
    assert (end["number"], end["truth"]) == (-9, False)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
@given(number=NUMBERS, truth=TRUTHS_GROWN, values=settings_of())
def test_random_expressions_have_pythons_value(number: Tree, truth: Tree, values: dict[str, int | bool]) -> None:
    """Division is checked as C does it (towards zero, MOD with the sign of the left side)."""
    given_back = asked(computing(spelled(number), spelled(truth), values))
    try:
        expected = worked_out(number, values), worked_out(truth, values)
    except NoValueError:
        assert fails(given_back, "no value")
        return
    if not LOWEST <= expected[0] <= HIGHEST:
        assert fails(given_back, "out of range")
        return
    event("has a value")
    assert not given_back.diagnostics, given_back.diagnostics
    result = given_back.plain.of("R")
    assert (result.verdict, result.steps) == ("holds", 1)
    assert (result.end["number"], result.end["truth"]) == expected
    assert given_back.exit_code == 0


def fails(given_back: Answer, how: str) -> bool:
    """Tell whether the tool refused the file or found the failing step."""
    event(how)
    if given_back.diagnostics:
        return given_back.exit_code == 2
    (found,) = [result for result in given_back.plain.results if result.kind == "range"]
    return (found.verdict, found.steps, given_back.exit_code) == ("violated", 1, 1)
