"""What a person types and is answered, apart from the golden dialogues of `test_cli`."""

from pathlib import Path

import pytest

from seqcheck.check.machine import Machine, Section
from seqcheck.check.typed import Operator
from seqcheck.model.run import By, StepKind
from seqcheck.simulate.asking import MOST_TICKS, NotUnderstoodError, understand_wait
from seqcheck.simulate.session import Answer, Session
from seqcheck.simulate.simulator import Simulator
from seqcheck.simulate.wording import Tone
from tests.simulate.build import (
    Parts,
    asked,
    command,
    hazard,
    number,
    op,
    person,
    plant,
    q,
    read,
    states,
    stuck,
    timer,
    trip,
    truth,
    upset,
)
from tests.simulate.press import press


def session_of(machine: Machine, faults: tuple[str, ...] | None = None) -> Session:
    return Session(machine, Simulator(machine, faults=faults), "abc")


def text_of(answer: Answer) -> str:
    return "\n".join(line.text for line in answer.lines)


@pytest.mark.parametrize(
    ("text", "ticks"),
    [
        ("", 1),
        ("2 s", 4),
        ("2s", 4),
        ("1.5 S", 3),
        ("500 ms", 1),
        ("1 min", 120),
        ("0.5 h", 3600),
        ("3 ticks", 3),
        ("1 tick", 1),
    ],
)
def test_waits(text: str, ticks: int) -> None:
    assert understand_wait(text, press().tick_s) == ticks


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("2", "is no time"),
        ("a while", "is no time"),
        ("2 weeks", "is no time"),
        ("-1 s", "is no time"),
        ("0.3 s", "whole ticks of 0.5 s"),
        ("0 s", "one at least"),
        ("0 ticks", "one at least"),
        ("1.5 ticks", "whole ticks"),
        (f"{MOST_TICKS + 1} ticks", "500000 s at most"),
    ],
)
def test_waits_that_are_none(text: str, told: str) -> None:
    with pytest.raises(NotUnderstoodError, match=told):
        understand_wait(text, press().tick_s)


@pytest.mark.parametrize(
    ("typed", "step"),
    [
        ("reset", By(kind=StepKind.COMMAND, name="reset")),
        ("  RESET ", By(kind=StepKind.COMMAND, name="reset")),
        ("command reset", By(kind=StepKind.COMMAND, name="reset")),
        ("1", By(kind=StepKind.COMMAND, name="reset")),
        ("do reset", By(kind=StepKind.COMMAND, name="reset")),
        ("estop pressed", By(kind=StepKind.PANEL, name="estop", to="pressed")),
        ("estop=pressed", By(kind=StepKind.PANEL, name="estop", to="pressed")),
        ("Estop to pressed", By(kind=StepKind.PANEL, name="estop", to="pressed")),
        ("set ESTOP to pressed", By(kind=StepKind.PANEL, name="estop", to="pressed")),
        ("gate_switch stuck shut", By(kind=StepKind.FAULT, name="gate switch stuck shut")),
        ("wait", By(kind=StepKind.WAIT)),
        ("13", By(kind=StepKind.WAIT)),
        ("do wait", By(kind=StepKind.WAIT)),
    ],
)
def test_steps_by_number_and_by_name(typed: str, step: By) -> None:
    session = session_of(press())
    assert session.answer(typed).went_through
    assert session.simulator.timeline().steps[-1].by == step


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("", ""),
        ("0", "The list has numbers 1 to 13."),
        ("14", "The list has numbers 1 to 13."),
        ("9" * 99, "The list has numbers 1 to 13."),
        ("frobnicate", 'Nothing here is called "frobnicate". Say "state" for what can be done, "help" for the rest.'),
        ("opn the gate", 'Nothing here is called "opn the gate". Did you mean: person open the gate'),
        ("estop presed", 'Nothing here is called "estop presed". Did you mean: set estop to pressed'),
        ("estop released", "REFUSED: set estop to released. Estop is released already."),
        ("shut the gate", "REFUSED: shut the gate. Its condition does not hold: gate = open."),
        ("undo", "There is nothing to undo."),
        ("timeline", "Nothing has happened yet."),
        ("save", 'Nothing here is called "save".'),
        ("play none.json", "The file none.json can't be read: No such file or directory."),
        ("save none/none.json", "The file none/none.json can't be written: No such file or directory."),
    ],
)
def test_answers_that_change_nothing(typed: str, told: str) -> None:
    session = session_of(press())
    before = session.simulator.timeline()
    answer = session.answer(typed)
    assert text_of(answer).startswith(told)
    assert not answer.ended
    assert session.simulator.timeline() == before


def test_faults_not_under_study_can_be_asked_for_and_are_refused() -> None:
    session = session_of(press(), faults=())
    told = text_of(session.answer("drive fails to stop"))
    assert told == "REFUSED: drive fails to stop. It is not among the faults under study."


def test_names_that_may_mean_several_things() -> None:
    parts = Parts(
        variables=(truth("on", Section.PANEL),),
        commands=(command("Stop", {}, {}), command("undo", {}, {})),
        people=(person("stop", True, {}),),
    )
    session = session_of(parts.machine)
    told = text_of(session.answer("STOP"))
    assert told == '"STOP" may mean any of: command Stop; person stop. Say which, or its number.'
    assert "A person acts: stop." in text_of(session.answer("stop"))
    assert "The command is accepted: Stop." in text_of(session.answer("command stop"))
    assert session.answer("undo").went_through
    assert session.simulator.timeline().step_count == 1
    assert "The command is accepted: undo." in text_of(session.answer("do undo"))


def test_a_failing_step_is_told_loudly_and_undone() -> None:
    parts = Parts(
        variables=(number("fill_level", 0, 1, Section.MEMORY), states("mode", "a b", Section.MEMORY)),
        commands=(
            command("fill", {}, {"fill_level": 2}),
            command("chase", {}, {"mode": "b"}),
            command("divide", {"never": op(Operator.DIVIDE, 1, asked("fill_level")) > 0}, {}),
        ),
        trips=(
            trip("up", asked("mode").is_("b") & asked("fill_level").is_(0), {"fill_level": 1}),
            trip("down_again", asked("mode").is_("b") & asked("fill_level").is_(1), {"mode": "a"}),
            trip("back", asked("mode").is_("a") & asked("fill_level").is_(1), {"mode": "b", "fill_level": 0}),
        ),
    )
    session = session_of(parts.machine)
    fails = session.answer("fill")
    assert fails.lines[0].text == "*** FAILS: fill: fill level would become 2, and its range is 0..1. ***"
    assert fails.lines[0].tone is Tone.ALARM
    assert (fails.went_through, fails.ended) == (False, False)
    assert "divide - FAILS if tried" in text_of(session.overview())
    assert "divide: 1 is divided by zero" in text_of(session.answer("divide"))
    assert "changes" not in text_of(session.answer("fill"))


def test_settling_that_never_ends_is_told_with_the_names() -> None:
    parts = Parts(
        variables=(truth("lit", Section.OUTPUT), truth("go", Section.PANEL)),
        trips=(trip("turn_over", asked("go"), {"lit": ~asked("lit")}),),
    )
    told = text_of(session_of(parts.machine).answer("go true"))
    assert told.startswith("*** FAILS: the machine never settles: turn over go on for ever. ***")


def test_a_wait_that_fails_tells_what_passed_before() -> None:
    parts = Parts(
        variables=(truth("dry", Section.PANEL), number("level", 0, 1, Section.MEMORY)),
        timers=(timer("t", "TON", ~asked("dry"), 3),),
        trips=(trip("spills", q("t"), {"level": 2}),),
    )
    answer = session_of(parts.machine).answer("wait 9 ticks")
    told = text_of(answer)
    assert told.startswith("     At 2 s: 2 s pass.\n*** FAILS: spills: level would become 2")
    assert "State at 2 s" in told
    assert not answer.went_through


def test_a_wait_that_stops_early_tells_why() -> None:
    session = session_of(press())
    for typed in ("reset", "wait 1 s", "start the stroke"):
        session.answer(typed)
    told = text_of(session.answer("wait 9 s"))
    assert told.startswith("     At 3 s: 2 s pass.\nSTOPPED after 2 s: ram lands must happen first.")
    assert text_of(session.answer("wait 9 s")) == "REFUSED: wait one tick (0.5 s). Ram lands must happen first."


def test_hazards_that_can_not_be_judged_are_told() -> None:
    parts = Parts(
        name="Tank",
        variables=(number("n", 0, 5, Section.PANEL),),
        hazards=(hazard("H2", "odd", op(Operator.DIVIDE, 4, read("n")) > 1),),
    )
    session = session_of(parts.machine)
    assert "*** HAZARD H2 can't be judged here: 4 is divided by zero. ***" in text_of(session.overview())
    assert session.opening().lines[0].text == "Tank. One tick is 1 s."


def test_what_acts_before_the_start_is_told() -> None:
    parts = Parts(variables=(truth("lit", Section.OUTPUT),), trips=(trip("light", ~asked("lit"), {"lit": True}),))
    assert "Before anything is done, these act: light." in text_of(session_of(parts.machine).opening())


def test_a_start_that_fails_is_told() -> None:
    parts = Parts(variables=(number("n", 0, 1, Section.MEMORY),), trips=(trip("up", asked("n").is_(0), {"n": 2}),))
    opening = session_of(parts.machine).opening()
    assert not opening.went_through
    assert "The machine does not come through its start." in text_of(opening)
    assert "*** FAILS: up: n would become 2, and its range is 0..1. ***" in text_of(opening)


def test_several_trips_and_rules_are_told_in_one_line_each() -> None:
    parts = Parts(
        variables=(truth("go", Section.PANEL), truth("a", Section.OUTPUT), truth("b", Section.OUTPUT), truth("wet")),
        trips=(trip("one", asked("go"), {"a": True}), trip("two", asked("go"), {"b": True})),
        plant=(plant("wets", read("a"), (0, 0), {"wet": True}),),
        faults=(upset("leak", True, {"wet": True}), stuck("a dead", "a", False, is_sensor=False)),
    )
    session = session_of(parts.machine)
    told = text_of(session.answer("go true"))
    assert "     Trips that acted: one, two." in told
    assert "     The machine moved at once: wets." in told
    session.answer("leak")
    told = text_of(session.answer("a dead"))
    assert "   faults    leak, a dead (a does FALSE, whatever is asked)" in told


def test_saved_and_played_again(tmp_path: Path) -> None:
    path = tmp_path / "my run.json"
    session = session_of(press())
    for typed in ("reset", "wait 1 s", "start the stroke", "wait 1 s"):
        session.answer(typed)
    run = session.simulator.timeline()
    assert text_of(session.answer(f"save {path}")) == f"Saved to {path}."
    other = session_of(press())
    other.answer("estop pressed")
    answer = other.answer(f"play {path}")
    assert answer.went_through
    assert "changed since" not in text_of(answer)
    assert other.simulator.timeline() == run


def test_playing_stops_where_a_step_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "run.json"
    session = session_of(press())
    for typed in ("reset", "wait 1 s", "start the stroke", "wait 2 s"):
        session.answer(typed)
    session.answer(f"save {path}")
    path.write_text(path.read_text().replace('"wait_s": 2', '"wait_s": 3'))
    answer = session.answer(f"play {path}")
    assert not answer.went_through
    told = text_of(answer)
    assert "The run stops after step 2: wait.\nSTOPPED after 2 s: ram lands must happen first." in told


def test_playing_a_run_whose_start_fails_ends_the_session(tmp_path: Path) -> None:
    machine = Parts(variables=(number("n", 0, 1, Section.MEMORY),), trips=(trip("up", asked("n").is_(0), {"n": 2}),)).machine
    path = tmp_path / "run.json"
    path.write_text('{"schema": "seqcheck-run/1", "steps": []}')
    answer = session_of(machine).answer(f"play {path}")
    assert (answer.ended, answer.went_through) == (True, False)


def test_playing_with_faults_that_are_not_in_the_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "run.json"
    path.write_text('{"schema": "seqcheck-run/1", "faults": ["rust"], "steps": []}')
    answer = session_of(press()).answer(f"play {path}")
    assert text_of(answer) == "The file has no fault named rust."


def test_a_panel_item_with_many_values_does_not_bury_the_rest() -> None:
    parts = Parts(variables=(number("speed_wish", 0, 40, Section.PANEL), truth("on", Section.PANEL)))
    session = session_of(parts.machine)
    told = text_of(session.overview())
    assert (
        "  12. set speed wish to 12\n      and so on: set speed wish to any other of its values\n  41. set on to TRUE" in told
    )
    assert session.answer("40").went_through
    assert session.simulator.value("speed_wish") == 40
    assert session.answer("speed wish 17").went_through
