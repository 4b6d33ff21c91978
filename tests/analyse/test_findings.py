"""Each kind of finding on a tiny machine that has it, and its absence on one that has not."""

import pytest

from seqcheck.analyse.verdict import Verdict
from seqcheck.search.engine import Limits
from tests.analyse.asking import case_of, findings, judged, result, violated

GOOD = """
machine: A good door
parts: {door: [shut, open], lit: bool}
sensors: {door_shut: door = shut}
panel: {estop: [released, pressed]}
outputs: {drive: [off, on]}
timers: {rest: {kind: TON, in: drive = off, pt: 1 s}}
commands:
  start: {permissives: {door is shut: door_shut, estop is out: estop = released, has rested: rest.Q}, then: {drive: on}}
  stop: {then: {drive: off}}
trips: {emergency stop: {when: estop = pressed, then: {drive: off}}}
plant:
  lamp lights: {when: drive = on AND NOT lit, after: at once, then: {lit: TRUE}}
  lamp cools: {when: drive = off AND lit, after: 1..2 s, then: {lit: FALSE}}
people:
  open it: {if: door = shut AND drive = off, then: {door: open}}
  shut it: {if: door = open, then: {door: shut}}
hazards:
  H1: {must not be: door = open AND drive = on}
requirements:
  R1: {reachable: drive = on}
  R2: {recoverable: door = shut AND drive = off}
  R3: {forbid: start, while: estop = pressed}
  R4: {only: [start], makes: drive = on}
"""


def test_a_good_machine_has_no_findings_and_no_violations() -> None:
    case = case_of(GOOD)
    assert (violated(case), findings(case)) == ([], [])
    assert {one.verdict for one in case.results} == {Verdict.HOLDS}


def changed(old: str, new: str) -> list[tuple[str, str]]:
    assert old in GOOD
    return findings(case_of(GOOD.replace(old, new)))


def test_a_clause_that_is_never_true() -> None:
    text = GOOD.replace("[shut, open]", "[shut, open, gone]").replace(
        "door = open AND drive = on}", "door = gone AND drive = on}"
    )
    (told,) = [finding.text for finding in case_of(text).findings if finding.kind == "never_true"]
    assert told == "H1 may hold for an empty reason: “door = gone” in its condition is never true"


@pytest.mark.parametrize(
    ("old", "new", "about"),
    [
        ("while: estop = pressed", "while: estop = pressed AND estop = released", "R3"),
        ("makes: drive = on", "makes: drive = on AND drive = off", "R4"),
    ],
)
def test_a_requirement_that_holds_for_an_empty_reason(old: str, new: str, about: str) -> None:
    assert ("never_true", about) in changed(old, new)


def test_an_alternative_that_stands_alone_may_never_be() -> None:
    """That one of two things never is says nothing against the other."""
    text = GOOD.replace("[shut, open]", "[shut, open, gone]")
    joined = text.replace("door = open AND drive = on}", "drive = on AND (door = open OR door = gone)}")
    alone = text.replace("door = open AND drive = on}", "door = open AND drive = on OR door = gone}")
    assert ("never_true", "H1") in findings(case_of(joined))
    assert ("never_true", "H1") not in findings(case_of(alone))


def test_a_command_that_is_never_accepted() -> None:
    assert ("never_accepted", "start") in changed("has rested: rest.Q", "has rested: rest.Q AND drive = on AND drive = off")


def test_a_permissive_that_never_decides() -> None:
    found = changed("has rested: rest.Q", "has rested: rest.Q, is off: drive = off")
    assert found == [("never_decisive", "is off")]


def test_a_permissive_that_always_holds() -> None:
    text = GOOD.replace("stop: {then", "stop: {permissives: {always: drive = off OR drive = on}, then")
    (finding,) = case_of(text).findings
    assert (finding.kind, finding.about) == ("never_decisive", "always")
    assert finding.text == "the permissive “always” of “stop” never decides anything: it always holds"


def test_two_commands_on_one_line_are_told_apart() -> None:
    """A file written without line breaks is judged like any other."""
    go = "go: {permissives: {always: drive = off OR drive = on}, then: {drive: on}}"
    fly = "fly: {permissives: {no: FALSE}, then: {drive: off}}"
    text = f"machine: M\noutputs: {{drive: [off, on]}}\ncommands: {{{go}, {fly}, stop: {{then: {{drive: off}}}}}}\n"
    assert findings(case_of(text)) == [("never_decisive", "always"), ("never_accepted", "fly")]


@pytest.mark.parametrize(
    ("old", "new", "about"),
    [
        (
            "emergency stop: {when: estop = pressed",
            "emergency stop: {when: estop = pressed AND estop = released",
            "emergency stop",
        ),
        ("{when: drive = on AND NOT lit, after", "{when: drive = on AND drive = off, after", "lamp lights"),
        ("{when: drive = off AND lit, after", "{when: drive = off AND drive = on, after", "lamp cools"),
        ("shut it: {if: door = open", "shut it: {if: door = open AND door = shut", "shut it"),
    ],
)
def test_what_never_happens(old: str, new: str, about: str) -> None:
    assert ("never_happens", about) in changed(old, new)


def test_a_plant_rule_whose_time_never_comes() -> None:
    text = """
machine: M
parts: {p: [a, b]}
panel: {s: bool}
plant:
  first: {when: p = a, after: 1 s, then: {p: b}}
  second: {when: p = a, after: 2 s or more, then: {p: b}}
  back: {when: p = b, then: {p: a}}
"""
    assert findings(case_of(text)) == [("never_happens", "second")]


def test_a_state_never_entered() -> None:
    found = case_of(GOOD.replace("[shut, open]", "[shut, open, gone]"))
    assert findings(found) == [("never_entered", "door")]
    assert found.findings[0].text == "door is never gone"


def test_a_number_never_reached_is_no_finding() -> None:
    assert changed("lit: bool}", "lit: bool, count: {range: 0..9}}") == []


def test_a_dead_end_counts_and_shows_the_way() -> None:
    dead = case_of(
        "machine: M\nparts: {p: [a, b, c]}\npeople: {go: {if: p = a, then: {p: b}}, on: {if: p = b, then: {p: c}}}\n"
    )
    (finding,) = dead.findings
    assert (finding.kind, finding.text) == ("dead_end", "1 state that nobody and nothing leaves, reached after 2 steps")
    assert finding.run is not None
    assert dict(finding.run.end) == {"p": "c"}


def test_a_state_that_only_waiting_leaves_is_no_dead_end() -> None:
    text = "machine: M\nparts: {p: [a, b]}\npanel: {s: bool}\ntimers: {t: {kind: TON, in: s, pt: 2 s}}\n"
    assert "dead_end" not in [kind for kind, _ in findings(case_of(text))]


def test_a_state_whose_every_step_fails_is_not_one_that_nobody_leaves() -> None:
    """Somebody does act there: the step is a violation of its own, and what comes after it is not known."""
    text = "machine: M\npanel: {s: bool}\nmemory: {n: {range: 0..3}}\ntrips: {counts: {when: s, then: {n: n + 2}}}\n"
    case = case_of(text)
    assert violated(case) == ["range: counts, n"]
    assert "dead_end" not in [kind for kind, _ in findings(case)]


def test_time_is_stuck_where_a_plant_rule_must_happen_and_cannot() -> None:
    text = "machine: M\nparts: {n: {range: 0..1}}\npanel: {s: bool}\n"
    text += "plant: {grows: {when: n >= 0, after: 1 s, then: {n: n + 1}}}\n"
    case = case_of(text)
    (finding,) = [finding for finding in case.findings if finding.kind == "time_stuck"]
    assert finding.text.startswith("2 states in which time is stuck")
    assert finding.run is not None
    assert dict(finding.run.end) == {"n": 1, "s": False}
    mended = text.replace("when: n >= 0", "when: n = 0")
    assert "time_stuck" not in [kind for kind, _ in findings(case_of(mended))]


def test_time_is_not_stuck_where_the_plant_only_has_to_move_first() -> None:
    text = "machine: M\nparts: {n: [a, b]}\n"
    text += "plant: {on: {when: n = a, after: 1 s, then: {n: b}}, back: {when: n = b, after: 1 s, then: {n: a}}}\n"
    assert findings(case_of(text)) == []


PASSING = """
machine: M
parts: {guard: {states: [shut, open]}}
sensors: {guard_shut: guard = shut}
outputs: {drive: {states: [off, on], starts: on}}
commands: {start: {permissives: {guard is shut: guard_shut}, then: {drive: on}}}
trips: {guard opened: {when: NOT guard_shut, then: {drive: off}}}
people:
  open it: {if: guard = shut, then: {guard: open}}
  shut it: {if: guard = open, then: {guard: shut}}
hazards: {H1: {must not be: guard = open AND drive = on}}
"""


def test_a_hazard_in_passing() -> None:
    assert findings(case_of(PASSING)) == [("in_passing", "H1")]


def test_a_hazard_that_is_violated_is_not_in_passing_too() -> None:
    text = PASSING.replace("guard opened: {when: NOT guard_shut", "guard opened: {when: NOT guard_shut AND FALSE")
    case = case_of(text)
    assert violated(case) == ["H1"]
    assert "in_passing" not in [kind for kind, _ in findings(case)]


def test_a_hazard_in_passing_while_a_start_settles() -> None:
    text = """
machine: M
parts: {guard: {states: [shut, open], starts: any}}
sensors: {guard_shut: guard = shut}
outputs: {drive: {states: [off, on], starts: on}}
trips: {guard opened: {when: NOT guard_shut, then: {drive: off}}}
hazards: {H1: {must not be: guard = open AND drive = on}}
"""
    assert ("in_passing", "H1") in findings(case_of(text))


def test_under_faults_only_what_the_faults_bring_about_is_found() -> None:
    text = (
        PASSING.replace("[shut, open]", "[shut, open, gone]")
        + "faults:\n  never: {if: guard = gone, then: {guard: shut}}\n  slams: {then: {guard: shut}}\n"
    )
    first, never, slams = judged(text, ("never",), ("slams",)).cases
    assert ("never_entered", "guard") in findings(first)
    assert ("never_entered", "guard") not in findings(never)
    assert ("never_happens", "never") in findings(never)
    assert ("never_happens", "slams") not in findings(slams)


def test_an_unfinished_search_says_nothing_of_what_never_is() -> None:
    text = "machine: M\npanel: {a: {range: 0..9}, b: {range: 0..9}, c: [no, yes]}\n"
    text += "hazards: {H1: {must not be: a = 9 AND b = 9 AND c = yes}}\n"
    case = case_of(text, limits=Limits(states=3))
    assert result(case, "H1").verdict is Verdict.UNDECIDED
    assert findings(case) == []
