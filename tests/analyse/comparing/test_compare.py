"""What a comparison says of changes whose effect is known, and of random ones what must be so whatever they are."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from seqcheck.analyse.comparing.compare import DifferentTicksError
from seqcheck.analyse.comparing.comparison import Change, Comparison, Outcome
from seqcheck.analyse.comparing.naming import Named, RenameError, Sort
from seqcheck.analyse.verdict import Result, Verdict
from seqcheck.analyse.verify import verify_case
from seqcheck.search.comparing.pair import Side
from seqcheck.search.engine import Limits, Stop
from seqcheck.search.plain.plain import PlainEngine
from tests.analyse.asking import model_of, silent
from tests.analyse.comparing.changing import changed, renamed, reordered
from tests.analyse.comparing.comparing import subject, told
from tests.effort import examples
from tests.outside.machines import machines
from tests.outside.reading import machine_of

FEW = settings(max_examples=examples(30), deadline=None, suppress_health_check=list(HealthCheck))

PRESS = """machine: Press
parts: {ram: [top, bottom], gate: [shut, open]}
panel: {estop: [released, pressed]}
sensors: {gate_shut: gate = shut}
outputs: {drive: [off, on]}
timers: {settled: {kind: TON, in: gate_shut, pt: 2 s}}
commands:
  start: {permissives: {the stop is released: estop = released, the gate is shut: settled.Q}, then: {drive: on}}
  stop: {then: {drive: off}}
trips: {stop pressed: {when: estop = pressed, then: {drive: off}}}
plant:
  down: {when: drive = on AND ram = top, after: 1..2 s, then: {ram: bottom}}
  up: {when: drive = off AND ram = bottom, after: 1 s, then: {ram: top}}
people:
  open: {if: gate = shut AND drive = off, then: {gate: open}}
  shut: {if: gate = open, then: {gate: shut}}
hazards: {H1: {text: Driven while stopped, must not be: drive = on AND estop = pressed}}
requirements: {R1: {text: No start with the stop, forbid: start, while: estop = pressed}}
"""


def count(change: Change | None) -> int:
    return 0 if change is None else change.count


def changes(found: Comparison) -> dict[str, object]:
    """Return all counts and verdicts of a comparison."""
    return {
        "situations": [count(one) for one in (found.gone, found.come, found.starts_gone, found.starts_come)],
        "commands": {one.name: (count(one.accepted), count(one.refused)) for one in found.commands},
        "steps": {one.by: (count(one.gone), count(one.come)) for one in found.steps},
        "verdicts": {(one.old.id if one.old else None, one.new.id if one.new else None) for one in found.verdicts},
        "asked": {one.id: (one.how, count(one.more), count(one.less)) for one in found.asked},
        "names": (set(found.old_names), set(found.new_names)),
        "outcome": (found.outcome, found.quick, found.common, found.unclear),
    }


def mirrored(found: Comparison) -> dict[str, object]:
    """Return what the comparison the other way round must say."""
    return changes(found) | {
        "situations": [count(one) for one in (found.come, found.gone, found.starts_come, found.starts_gone)],
        "commands": {one.name: (count(one.refused), count(one.accepted)) for one in found.commands},
        "steps": {one.by: (count(one.come), count(one.gone)) for one in found.steps},
        "verdicts": {(one.new.id if one.new else None, one.old.id if one.old else None) for one in found.verdicts},
        "asked": {one.id: (one.how, count(one.less), count(one.more)) for one in found.asked},
        "names": (set(found.new_names), set(found.old_names)),
    }


@FEW
@given(machines(with_faults=False))
def test_a_machine_is_the_same_as_itself(text: str) -> None:
    found = told(text, text)
    assert (found.outcome, found.quick) == (Outcome.SAME, True)


@FEW
@given(machines(with_faults=False))
def test_other_names_are_the_same_behaviour(text: str) -> None:
    new, renames = renamed(text)
    found = told(text, new, *renames)
    assert (found.outcome, found.old_names, found.new_names) == (Outcome.SAME, (), ())


@FEW
@given(reordered())
def test_another_order_is_the_same_behaviour(pair: tuple[str, str]) -> None:
    assert told(*pair).outcome is Outcome.SAME


@FEW
@given(changed())
def test_the_other_way_round_is_the_mirror(pair: tuple[str, str]) -> None:
    old, new = pair
    assert changes(told(new, old)) == mirrored(told(old, new))


def results(text: str) -> dict[str, Result]:
    """Return what `verify` says, by id; of the built-in checks only what is violated."""
    model, observing = model_of(text), subject(machine_of(text)).observing
    case = verify_case(model, PlainEngine(), Limits(), silent, observing)
    return {one.id: one for one in case.results if one.kind not in {"range", "settling"} or one.verdict is Verdict.VIOLATED}


@FEW
@given(changed())
def test_the_verdicts_that_differ_are_those_of_verify(pair: tuple[str, str]) -> None:
    old, new = map(results, pair)
    found = told(*pair)
    shown = {one.id: tuple(r.verdict if r else None for r in (one.old, one.new)) for one in found.verdicts}
    expected = {}
    for name in {*old, *new}:
        verdicts = tuple(one[name].verdict if name in one else None for one in (old, new))
        if verdicts[0] is not verdicts[1]:
            expected[name] = verdicts
    assert shown == expected
    for one in found.verdicts:
        for mine, theirs in ((one.old, old), (one.new, new)):
            if mine is not None and mine.run is not None:
                run = theirs[mine.id].run
                assert run is not None
                assert (run.step_count, run.tick_count) == (mine.run.step_count, mine.run.tick_count)


# --- one change at a time -------------------------------------------------------------------------------------------
def test_a_permissive_taken_out() -> None:
    found = told(PRESS, PRESS.replace("the stop is released: estop = released, ", ""))
    (verdict,) = found.verdicts
    assert verdict.id == "R1"
    assert verdict.new is not None
    assert verdict.new.verdict is Verdict.VIOLATED
    (command,) = found.commands
    assert (command.name, count(command.refused)) == ("start", 0)
    assert command.accepted is not None
    assert command.accepted.shown is not None
    assert [step.by.name for step in command.accepted.shown.run.steps] == ["estop", "", "start"]
    assert found.outcome is Outcome.DIFFERS
    # The trip takes the drive off at once, so that nothing else is different.
    assert (found.gone, found.come, found.steps) == (None, None, ())


def test_a_permissive_put_in_says_who_refuses() -> None:
    found = told(PRESS.replace("the stop is released: estop = released, ", ""), PRESS)
    (command,) = found.commands
    assert command.refused is not None
    assert command.refused.shown is not None
    assert (command.refused_by, command.refused.shown.side) == (("the stop is released",), Side.NEW)
    assert [step.by.name for step in command.refused.shown.run.steps] == ["estop", ""]


def test_a_longer_timer_is_compared_by_what_has_elapsed() -> None:
    found = told(PRESS, PRESS.replace("pt: 2 s", "pt: 3 s"))
    assert found.notes == (
        "the timer settled takes 3 s instead of 2 s: compared by how long it has run, or that it has run out",
    )
    # At rest everything is as it was: what is new is the third second, and a wait that no longer runs the timer out.
    assert found.gone is None
    assert found.come is not None
    assert found.come.shown is not None
    assert (found.come.shown.run.step_count, found.come.shown.run.tick_count) == (0, 2)
    assert {step.by.kind.value for step in found.steps} == {"wait"}
    assert found.commands == ()


def test_a_shorter_interval_takes_situations_away() -> None:
    found = told(PRESS, PRESS.replace("after: 1..2 s", "after: 1 s"))
    assert found.gone is not None
    assert found.come is None
    assert {step.by.kind.value for step in found.steps} == {"wait"}
    assert any("“down” may wait 1 s instead of 2 s" in note for note in found.notes)


def test_another_start() -> None:
    found = told(PRESS, PRESS.replace("gate: [shut, open]", "gate: {states: [shut, open], starts: open}"))
    assert (count(found.starts_gone), count(found.starts_come)) == (1, 1)
    assert found.outcome is Outcome.DIFFERS


def test_a_hazard_that_is_no_longer_asked_differs() -> None:
    found = told(
        PRESS, PRESS.replace("hazards: {H1: {text: Driven while stopped, must not be: drive = on AND estop = pressed}}\n", "")
    )
    (verdict,) = found.verdicts
    assert (verdict.id, verdict.new, found.outcome) == ("H1", None, Outcome.DIFFERS)
    assert found.old_names == (Named(sort=Sort.PROPERTY, name="H1"),)


def test_a_hazard_that_asks_less_differs_though_its_verdict_does_not() -> None:
    found = told(PRESS, PRESS.replace("must not be: drive = on AND estop = pressed", "must not be: gate = open AND drive = on"))
    assert found.verdicts == ()
    found = told(PRESS, PRESS.replace("must not be: drive = on AND", "must not be: ram = bottom AND"))
    (asked,) = found.asked
    assert (asked.id, count(asked.more) > 0, asked.less) == ("H1", True, None)


def test_the_same_condition_in_other_words_is_the_same() -> None:
    other = PRESS.replace("drive = on AND estop = pressed", "NOT (drive = off OR estop <> pressed)")
    found = told(PRESS, other)
    assert (found.outcome, found.quick, found.asked) == (Outcome.SAME, False, ())


def test_what_only_one_file_has_is_left_out_and_said() -> None:
    found = told(
        PRESS,
        PRESS.replace("timers:", "memory: {made: {range: 0..1}}\ntimers:").replace(
            "then: {drive: off}}\ntrips", "then: {drive: off, made: 1}}\ntrips"
        ),
    )
    assert found.notes == ("the memory made is compared with nothing: the old file has none like it",)
    assert found.new_names == (Named(sort=Sort.VARIABLE, name="made"),)
    assert found.outcome is Outcome.SAME


def test_what_hidden_memory_decides_on_both_sides_is_undecided() -> None:
    blinking = (
        "machine: M\nparts: {p: [a, b]}\nmemory: {NAME: [x, y]}\ncommands: {turn: {then: {NAME: y}}}\n"
        "plant: {go: {when: p = a AND NAME = y, then: {p: b}}, back: {when: p = b, then: {p: a}}}\n"
    )
    found = told(blinking.replace("NAME", "one"), blinking.replace("NAME", "two"))
    assert (found.outcome, found.unclear > 0) == (Outcome.UNDECIDED, True)
    assert told(blinking.replace("NAME", "one"), blinking.replace("NAME", "two"), "one=two").outcome is Outcome.SAME


def test_a_command_that_is_gone_and_one_that_is_new() -> None:
    found = told(PRESS, PRESS.replace("  stop: {", "  halt: {"))
    assert [(one.name, one.only, count(one.accepted) > 0, count(one.refused) > 0) for one in found.commands] == [
        ("halt", Side.NEW, True, False),
        ("stop", Side.OLD, False, True),
    ]
    assert told(PRESS, PRESS.replace("  stop: {", "  halt: {"), "stop=halt").outcome is Outcome.SAME


@pytest.mark.parametrize(
    ("given_", "problem"),
    [
        ("gate", "“gate” has no =; write it as OLD=NEW"),
        ("gaet=door", "the old file has nothing named “gaet”; did you mean “gate”"),
        ("gate=door", "the new file has nothing named “door”"),
        ("gate=start", "“gate” is a variable of the old file, “start” a command of the new one"),
        ("stop=start", None),
    ],
)
def test_renamings_that_cannot_be_followed(given_: str, problem: str | None) -> None:
    if problem is None:
        assert told(PRESS, PRESS, given_).outcome is Outcome.DIFFERS
        return
    with pytest.raises(RenameError) as raised:
        told(PRESS, PRESS, given_)
    assert problem in str(raised.value)


def test_two_renamings_of_one_name() -> None:
    with pytest.raises(RenameError, match="another renaming of the same command"):
        told(PRESS, PRESS, "stop=start", "stop=stop")


def test_different_ticks_are_not_compared() -> None:
    with pytest.raises(DifferentTicksError):
        told(PRESS, PRESS.replace("machine: Press", "machine: Press\ntick: 500 ms"))


# --- order and time -------------------------------------------------------------------------------------------------
TIMED = (
    PRESS
    + "  R2: {text: Comes up in time, when: drive = off AND ram = bottom, within: 1 s, then: ram = top, unless: drive = on}\n"
)
TIMED = TIMED.replace("requirements: {R1:", "requirements:\n  R1:").replace(
    "while: estop = pressed}}", "while: estop = pressed}"
)


def test_a_deadline_that_is_no_longer_kept() -> None:
    found = told(TIMED, TIMED.replace("after: 1 s, then: {ram: top}", "after: 2 s, then: {ram: top}"))
    changed_ = {one.id: one.new.verdict for one in found.verdicts if one.new is not None}
    assert changed_ == {"R2": Verdict.VIOLATED}
    assert found.outcome is Outcome.DIFFERS


def test_another_deadline_asks_something_else() -> None:
    found = told(TIMED, TIMED.replace("within: 1 s", "within: 2 s"))
    assert [(one.id, one.how) for one in found.asked] == [("R2", "its conditions or its time are not the same")]
    assert (found.verdicts, found.outcome) == ((), Outcome.DIFFERS)


# --- limits ---------------------------------------------------------------------------------------------------------
def test_a_limit_leaves_it_undecided() -> None:
    found = told(
        PRESS, PRESS.replace("drive = on AND estop = pressed", "NOT (drive = off OR estop <> pressed)"), limits=Limits(states=2)
    )
    assert (found.outcome, found.stopped) == (Outcome.UNDECIDED, Stop.STATES)
    assert (found.gone, found.come, found.verdicts) == (None, None, ())


@settings(max_examples=examples(25), deadline=None, suppress_health_check=list(HealthCheck))
@given(changed(), st.integers(1, 60))
def test_what_is_told_within_a_limit_is_so(pair: tuple[str, str], most: int) -> None:
    whole, limited = told(*pair), told(*pair, limits=Limits(states=most))
    if limited.stopped is None:
        assert changes(limited) == changes(whole)
        return
    assert limited.outcome is not Outcome.SAME
    if limited.outcome is Outcome.DIFFERS:
        assert whole.outcome is Outcome.DIFFERS


HIDING = """machine: Hiding
parts: {part: {range: 0..2}, first: {range: 0..2}}
panel: {switch: bool}
sensors: {apart: NOT (part = ABS(first))}
outputs: {lamp: {range: 0..3, starts: any}}
timers: {timer: {kind: TON, in: NOT apart, pt: 1 s}}
trips: {trip: {when: NOT apart, then: {lamp: 0}}}
people: {resets: {then: {part: 0}}, raises: {then: {first: "MIN(first + 1, 2)"}}}
"""


def test_within_a_limit_nothing_is_told_of_situations_that_may_have_further_states() -> None:
    """What one file calls first and the other second is compared with nothing, and hidden in situations."""
    other = HIDING.replace("first", "second")
    limited = [told(HIDING, other, limits=Limits(states=most)) for most in range(1, 7)]
    assert {found.stopped for found in limited} == {Stop.STATES}
    assert {found.outcome for found in limited} == {Outcome.UNDECIDED}
    assert not any(found.steps or found.commands for found in limited)


WIDE = """machine: Wide
parts: {level: {range: 0..20000}, tap: [shut, open]}
people: {turn on: {if: tap = shut, then: {tap: open}}}
plant: {fills: {when: tap = open AND level < 3, then: {level: level + 1}}}
hazards: {H1: {must not be: level > 2}}
"""


def test_a_machine_that_is_not_made_for_sets_is_compared_state_by_state() -> None:
    found = told(WIDE, WIDE.replace("level < 3", "level < 2"))
    assert [one.id for one in found.verdicts] == ["H1"]
    assert (count(found.gone), count(found.come)) == (1, 0)
    assert [(step.by.name, count(step.gone)) for step in found.steps] == [("fills", 1)]
    assert told(WIDE, WIDE.replace("level < 3", "NOT (level >= 3)")).outcome is Outcome.SAME
