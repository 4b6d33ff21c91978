"""How requirements on time and order are judged by searches of their own: what ends them, and what has no value."""

from dataclasses import dataclass, field

import pytest
from msgspec.structs import replace

from seqcheck.analyse.verdict import Case, Result, Verdict
from seqcheck.analyse.verify import verify_case
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.search.engine import NO_EXTRAS, Engine, Exploration, Extras, Limits, Observer, Stop
from seqcheck.search.engines import engine
from tests.outside.reading import machine_of

COUNTER = """
machine: Counter
parts: {n: {range: 0..3}}
people: {"COUNT": {if: n < 3, then: {n: n + 1}}}
plant: {"B": {when: WHEN, then: {n: 0}}}
requirements:
  A: {when: n = 1, within: 2 s, then: n = 2}
  B: {when: VALUE, within: 2 s, then: n = 2}
  C: {before: n = 3, first: n = 2}
"""


def counter(value: str = "n = 1", when: str = "n = 3") -> str:
    return COUNTER.replace("VALUE", value).replace("WHEN", when)


@dataclass
class Ending:
    """An engine whose searches of models with an observer end early; *asked* are what they were about."""

    stop: Stop
    name: str = "plain"
    asked: list[str] = field(default_factory=list)

    def explore(
        self, model: Model, watches: tuple[Expression, ...], limits: Limits, observer: Observer, extras: Extras = NO_EXTRAS
    ) -> Exploration:
        found = engine("plain").explore(model, watches, limits, observer, extras)
        self.asked.append(model.study[-1] if model.observers else "")
        return replace(found, stopped=self.stop, found={}) if model.observers else found


def judged(text: str, by: Engine) -> Case:
    machine = machine_of(text)
    return verify_case(compile_machine(machine), by, Limits(), lambda _: None, lambda id_: compile_observed(machine, id_))


def of(case: Case, id_: str) -> Result:
    (found,) = [result for result in case.results if result.id == id_]
    return found


@pytest.mark.parametrize("stop", [Stop.INTERRUPTED, Stop.SECONDS, Stop.FIRST])
def test_what_ends_the_whole_call_ends_the_searches_that_follow(stop: Stop) -> None:
    by = Ending(stop)
    case = judged(counter(), by)
    assert by.asked == ["", "A"]
    assert [one.id for one in case.observed] == ["A"]
    assert (case.complete, case.interrupted) == (False, stop is Stop.INTERRUPTED)
    assert [of(case, id_).verdict for id_ in "ABC"] == [Verdict.UNDECIDED] * 3
    assert of(case, "A").reason == f"the search ended at {stop.value}"
    assert of(case, "B").reason == "it takes a search of its own, which was not made"


@pytest.mark.parametrize("stop", [Stop.STATES, Stop.MEMORY])
def test_a_limit_on_one_search_leaves_the_others(stop: Stop) -> None:
    by = Ending(stop)
    case = judged(counter(), by)
    assert by.asked == ["", "A", "B", "C"]
    assert not case.complete


def test_a_condition_without_value_and_a_rule_of_the_same_name_that_fails_are_two_things() -> None:
    """The plant rule and the requirement are both called B, and both divide by zero, in different states."""
    case = judged(counter(value="2 / (n - 1) = 1", when="6 / (2 - n) = 7"), engine("plain"))
    steps = {result.text: result.run.step_count for result in case.results if result.id == "range: B" and result.run}
    assert steps == {
        "“B” divides by zero": 3,
        "a condition of B has no value: it divides by zero": 1,
    }
    assert of(case, "B").verdict is Verdict.UNDECIDED


def test_a_check_that_holds_is_not_said_beside_one_that_does_not() -> None:
    case = judged(counter(value="2 / (n - 1) = 1"), engine("plain"))
    assert [result.verdict for result in case.results if result.kind == "range"] == [Verdict.VIOLATED]
