"""Verdicts: each kind of question answered either way, what an unfinished search may say, and what has no value."""

import pytest
from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.verdict import Verdict
from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.search.engine import NO_EXTRAS, Exploration, Extras, Limits, Observer, Stop
from seqcheck.search.plain.plain import PlainEngine
from seqcheck.search.planner.beside import Beside
from tests.analyse.asking import case_of, judged, result, violated

LAMP = """
machine: Lamp
parts: {lamp: [dark, lit], filament: [whole, burnt]}
panel: {mode: [hand, self]}
people:
  light: {if: lamp = dark AND filament = whole AND mode = hand, then: {lamp: lit}}
  put out: {if: lamp = lit, then: {lamp: dark}}
faults: {burns out: {then: {filament: burnt, lamp: dark}}}
requirements: {R1: {ASKED}}
"""


def verdict(asked: str, *faults: str) -> Verdict:
    return result(case_of(LAMP.replace("ASKED", asked), *faults), "R1").verdict


@pytest.mark.parametrize(
    ("asked", "answer"),
    [
        ("reachable: lamp = lit", Verdict.HOLDS),
        ("reachable: lamp = lit AND mode = self", Verdict.HOLDS),
        ("reachable: filament = burnt", Verdict.VIOLATED),
        ("recoverable: lamp = dark", Verdict.HOLDS),
        ("recoverable: lamp = lit", Verdict.HOLDS),
        ("recoverable: filament = burnt", Verdict.VIOLATED),
    ],
)
def test_without_faults(asked: str, answer: Verdict) -> None:
    assert verdict(asked) is answer


@pytest.mark.parametrize(
    ("asked", "answer"),
    [
        ("reachable: lamp = lit", Verdict.VIOLATED),
        ("reachable: mode = self", Verdict.HOLDS),
        ("recoverable: lamp = lit", Verdict.VIOLATED),
        ("recoverable: lamp = dark", Verdict.HOLDS),
    ],
)
def test_with_a_fault(asked: str, answer: Verdict) -> None:
    assert verdict(asked, "burns out") is answer


def test_recovery_does_not_count_on_a_fault() -> None:
    """The only way to `burnt` is the fault itself: without a new fault there is none."""
    assert verdict("recoverable: filament = burnt", "burns out") is Verdict.VIOLATED


def test_a_fault_that_never_occurs_leaves_reachable_alone() -> None:
    """There is no state just after it, so there is none that cannot reach the goal."""
    text = LAMP.replace("ASKED", "reachable: lamp = lit").replace("burns out: {then", "burns out: {if: filament = burnt, then")
    assert result(case_of(text, "burns out"), "R1").verdict is Verdict.HOLDS


ORDERS = """
machine: Orders
panel: {estop: [released, pressed]}
outputs: {drive: [off, on]}
memory: {ready: [no, yes]}
commands:
  reset: {permissives: {estop is out: estop = released}, then: {ready: yes}}
  start: {permissives: {ready: ready = yes}, then: {drive: on}}
  stop: {then: {drive: off}}
requirements: {R1: {ASKED}}
"""


@pytest.mark.parametrize(
    ("asked", "answer", "steps"),
    [
        ("forbid: reset, while: estop = pressed", Verdict.HOLDS, None),
        ("forbid: start, while: estop = pressed", Verdict.VIOLATED, 3),
        ("forbid: stop, while: drive = off", Verdict.VIOLATED, 1),
        ("only: [start], makes: drive = on", Verdict.HOLDS, None),
        ("only: [reset, stop], makes: drive = on", Verdict.VIOLATED, 2),
        ("only: [], makes: ready = yes", Verdict.VIOLATED, 1),
        ("only: [], makes: drive = off", Verdict.VIOLATED, 3),
        ("only: [stop], makes: drive = off", Verdict.HOLDS, None),
    ],
)
def test_commands_forbidden_and_commands_that_alone_start_something(asked: str, answer: Verdict, steps: int | None) -> None:
    found = result(case_of(ORDERS.replace("ASKED", asked)), "R1")
    assert found.verdict is answer
    assert (found.run.step_count if found.run else None) == steps


def test_a_start_state_that_has_it_already_is_made_by_nobody() -> None:
    text = ORDERS.replace("drive: [off, on]", "drive: {states: [off, on], starts: on}").replace(
        "ASKED", "only: [start], makes: drive = on"
    )
    assert result(case_of(text), "R1").verdict is Verdict.HOLDS


def test_the_clauses_that_are_met_are_named_and_no_others() -> None:
    text = LAMP.replace(
        "requirements: {R1: {ASKED}}", "hazards: {H1: {must not be: lamp = lit AND (mode = self OR filament = whole)}}"
    )
    assert result(case_of(text), "H1").clauses == ("lamp = lit", "filament = whole")


COUNTING = """
machine: Counting
panel: {a: {range: 0..9}, b: {range: 0..9}}
hazards:
  near: {must not be: a = 1}
  far: {must not be: a = 9 AND b = 9}
requirements:
  at hand: {reachable: a = 2}
  far away: {reachable: a = 9 AND b = 9}
  back: {recoverable: a = 0}
"""


def test_an_unfinished_search_judges_only_what_it_has_seen() -> None:
    case = case_of(COUNTING, limits=Limits(states=60))
    assert (case.complete, case.stopped) == (False, Stop.STATES)
    verdicts = {one.id: one.verdict for one in case.results}
    assert verdicts == {
        "near": Verdict.VIOLATED,
        "far": Verdict.UNDECIDED,
        "at hand": Verdict.HOLDS,
        "far away": Verdict.UNDECIDED,
        "back": Verdict.UNDECIDED,
        "range": Verdict.UNDECIDED,
        "settling": Verdict.UNDECIDED,
    }
    assert all(
        one.reason == "the search ended at the limit on states" for one in case.results if one.verdict is Verdict.UNDECIDED
    )


def test_a_finished_search_decides_everything() -> None:
    case = case_of(COUNTING)
    assert (case.states, case.transitions, case.complete) == (100, 1800, True)
    assert Verdict.UNDECIDED not in {one.verdict for one in case.results}


RATIO = "machine: Ratio\npanel: {d: {range: 0..2, starts: 1}}\noutputs: {pump: [off, on]}\n"


@pytest.mark.parametrize(
    ("rest", "identity"),
    [
        ("hazards: {H1: {must not be: 2 / d = 5}}", "range: H1"),
        ("requirements: {R1: {reachable: 2 / d = 2}}", "range: R1"),
        ("requirements: {R1: {recoverable: 2 / d = 2}}", "range: R1"),
        ("commands: {go: {then: {pump: on}}}\nrequirements: {R1: {forbid: go, while: 2 MOD d = 5}}", "range: R1"),
        ("commands: {go: {then: {pump: on}}}\nrequirements: {R1: {only: [go], makes: 2 / d = 5}}", "range: R1"),
        ("commands: {go: {permissives: {p: 2 / d = 1}, then: {pump: on}}}", "range: go"),
        ("people: {act: {if: 2 ** (d - 1) = 1, then: {d: 1}}}", "range: act"),
        ("plant: {moves: {when: 'MUX(d, 1, 2) = 1', after: 1 s, then: {p: b}}}\nparts: {p: [a, b]}", "range: moves"),
        ("timers: {t: {kind: TON, in: 2 / d = 1, pt: 1 s}}", "range: t"),
        ("trips: {trips: {when: 2 / d = 1, then: {pump: off}}}", "range: trips"),
        ("commands: {go: {then: {pump: 'MUX(d, off, on)'}}}", "range: go"),
    ],
)
def test_a_condition_without_a_value_is_a_violation_wherever_it_stands(rest: str, identity: str) -> None:
    assert identity in violated(case_of(RATIO + rest + "\n"))


def test_every_operand_is_evaluated() -> None:
    assert "range: H1" in violated(case_of(RATIO + "hazards: {H1: {must not be: d <> 0 AND 2 / d > 2}}\n"))


def test_a_condition_guarded_by_a_choice_of_values_has_always_one() -> None:
    assert violated(case_of(RATIO + "hazards: {H1: {must not be: 'd <> 0 AND 2 / MAX(d, 1) > 2'}}\n")) == []


def test_failures_are_counted_by_rule_and_variable_the_cheapest_first() -> None:
    text = """
machine: M
memory: {n: {range: 0..1}, k: {range: 0..1}}
commands:
  up: {then: {n: n + 1}}
  both: {then: {n: n + 1, k: k + 1}}
  down: {then: {n: n - 1}}
"""
    assert set(violated(case_of(text))) == {"range: down, n", "range: up, n", "range: both, n", "range: both, k"}
    assert violated(case_of(text))[0] == "range: down, n"


def test_each_set_of_faults_has_a_case_of_its_own() -> None:
    text = LAMP.replace("ASKED", "reachable: lamp = lit")
    told = judged(text, ("burns out",))
    assert [case.faults for case in told.cases] == [(), ("burns out",)]
    assert [one.faults for one in told.cases[1].results] == [("burns out",)] * 3
    assert told.has(Verdict.VIOLATED)
    assert not told.has(Verdict.UNDECIDED)


class Ending(Struct, frozen=True):
    """An engine whose searches end for some reason, whatever they found."""

    why: Stop | None
    name: str = "ending"

    def explore(
        self,
        model: Model,
        watches: tuple[Expression, ...],
        limits: Limits,
        observer: Observer,
        extras: Extras = NO_EXTRAS,
    ) -> Exploration:
        return replace(PlainEngine().explore(model, watches, limits, observer, extras), stopped=self.why)


LARGE = """
machine: Lamp with long numbers
parts: {lamp: [dark, lit], one: {range: 0..1000000}, other: {range: 0..1000000}}
people:
  light: {if: lamp = dark, then: {lamp: lit}}
  put out: {if: lamp = lit, then: {lamp: dark}}
procedures:
  twice: {steps: [light, put out, light], ends with: lamp = lit}
  out of order: {steps: [put out, light]}
"""


@pytest.mark.parametrize("why", [None, Stop.STATES, Stop.FIRST, Stop.INTERRUPTED])
def test_procedures_of_a_large_machine_are_judged_beside_its_search(why: Stop | None, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the same verdicts as after it; where the search is all that was to be done, none is asked for."""
    answered: list[object] = []
    asked = Beside.answer

    def answer(beside: Beside[object]) -> object:
        answered.append(asked(beside))
        return answered[-1]

    monkeypatch.setattr(Beside, "answer", answer)
    beside = case_of(LARGE, engine=Ending(why))
    after = case_of(LARGE, engine=Ending(why), limits=Limits(seconds=1000))
    assert len(answered) == (why in {None, Stop.STATES})
    assert beside.results == after.results
    assert beside.procedures_stopped == after.procedures_stopped
    expected = [Verdict.HOLDS, Verdict.VIOLATED] if answered else [Verdict.UNDECIDED] * 2
    assert [one.verdict for one in beside.results[-2:]] == expected


def test_no_process_is_begun_where_there_is_little_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    def enter(_beside: Beside[object]) -> Beside[object]:
        raise AssertionError

    monkeypatch.setattr(Beside, "__enter__", enter)
    assert violated(case_of(LARGE.replace("1000000", "1"))) == ["procedure: out of order"]
    assert violated(case_of(LARGE[: LARGE.index("procedures:")])) == []
    assert violated(case_of(LARGE, limits=Limits(memory_mb=100_000))) == ["procedure: out of order"]
