"""What mutation testing showed to be untested in what people type, read and keep. Nothing here is random."""

import json
from fractions import Fraction
from pathlib import Path

import pytest

from seqcheck.simulate import recording
from seqcheck.simulate.asking import MOST_TICKS, NotUnderstoodError, understand_wait
from seqcheck.simulate.errors import RecordingError
from seqcheck.simulate.naming import Naming, near
from seqcheck.simulate.session import Session
from seqcheck.simulate.simulator import Simulator
from seqcheck.simulate.wording import MOST_VALUES
from tests.outside.reading import machine_of
from tests.simulate.test_mutants import BEATS, ENDLESS_START, PANEL

FAILS_FROM_ONE = """
machine: One of two starts fails
parts: {n: {range: 0..1, starts: any}}
plant: {rises: {when: n = 1, after: at once, then: {n: n + 1}}}
"""


# --- what people type and read ---
def test_the_longest_wait() -> None:
    assert understand_wait(f"{MOST_TICKS} ticks", Fraction(1)) == MOST_TICKS
    with pytest.raises(NotUnderstoodError, match="at most"):
        understand_wait(f"{MOST_TICKS + 1} ticks", Fraction(1))


def test_a_number_of_many_digits_is_compared_whole() -> None:
    huge = "machine: M\nparts: {n: {range: 0..1}}\n"
    naming = Naming(machine_of(huge))
    assert naming.value_of("n", "0" * 17 + "1") == ("n", 1)
    with pytest.raises(RecordingError):
        naming.value_of("n", "0" * 18 + "1")


def test_near_names_are_three_at_most_and_misses_have_none() -> None:
    assert len(near("gate", ["gate a", "gate b", "gate c", "gate d"])) == 3
    with pytest.raises(RecordingError, match=r"named zzzz$"):
        Naming(machine_of(PANEL)).value_of("zzzz", 1)


def said(session: Session, typed: str) -> str:
    return "\n".join(line.text for line in session.answer(typed).lines)


def session_of(text: str) -> Session:
    machine = machine_of(text)
    return Session(machine, Simulator(machine), "abc")


def test_plain_words_of_a_session() -> None:
    session = session_of(BEATS)
    assert said(session, "state") == "\n".join(line.text for line in session.overview().lines)
    assert session.answer("quit").ended
    assert not session.answer("undo").went_through
    assert not session.answer("no such thing").went_through
    assert not session.answer("play no such file").went_through


def test_several_misses_and_rules_are_parted_by_commas_and_semicolons() -> None:
    assert "Did you mean: set key to TRUE; set key to FALSE?" in said(session_of(BEATS), "set keyy to")
    opening = session_of(ENDLESS_START).opening()
    assert opening.lines[1].text == "The machine does not come through its start."
    assert "flips, flops go on for ever" in opening.lines[2].text
    assert len(opening.lines) == 3


SHORT = "machine: M\npanel: {key: bool}\nmemory: {m: bool}\ncommands: {go: {then: {m: TRUE}}}\n"


def test_short_names_are_near_too() -> None:
    assert "Did you mean: go?" in said(session_of(SHORT), "goo")
    assert "Did you mean" not in said(session_of(SHORT), "kexy")


DIAL = "machine: M\npanel: {{dial: {{range: 0..{highest}}}}}\n"


@pytest.mark.parametrize(("highest", "said_so"), [(MOST_VALUES, False), (MOST_VALUES + 1, True), (MOST_VALUES + 9, True)])
def test_a_long_list_of_values_is_cut_short_once(highest: int, said_so: bool) -> None:
    """The value that an item has is not offered: up to MOST_VALUES others are."""
    assert said(session_of(DIAL.format(highest=highest)), "state").count("and so on") == said_so


TWO = "machine: M\npanel: {a: bool}\nmemory: {m: {states: [p, q]}, n: bool}\ntrips:\n"
TWO += "  one: {when: NOT a, then: {m: q}}\n  two: {when: NOT a, then: {n: TRUE}}\n"


def test_what_acts_before_the_start_is_listed() -> None:
    assert session_of(TWO).opening().lines[-1].text == "Before anything is done, these act: one, two."


HAZARD = """
machine: A hazard after the first step
parts: {lid: [shut, half_open, full_open]}
people: {lift: {if: lid = shut, then: {lid: half_open}}}
hazards: {H1: {text: The lid is up, must not be: lid = half_open}}
"""


def test_a_hazard_met_while_playing_is_told_once() -> None:
    session = session_of(HAZARD)
    session.answer("lift")
    machine = machine_of(HAZARD)
    recorded = recording.read(recording.write(session.simulator.timeline(), machine, "abc").encode(), machine)
    assert sum("HAZARD H1" in line.text for line in session_of(HAZARD).play(recorded).lines) == 1


def test_values_are_listed_as_the_file_writes_them() -> None:
    with pytest.raises(RecordingError, match=r"it has shut, half_open, full_open$"):
        Naming(machine_of(HAZARD)).value_of("lid", "ajar")
    with pytest.raises(RecordingError, match=r"near names: lid_a, lid_b$|near names: lid_b, lid_a$"):
        Naming(machine_of("machine: M\nparts: {lid_a: bool, lid_b: bool}\n")).value_of("lid_c", 1)


# --- recordings ---
def test_a_recording_may_leave_out_its_machine() -> None:
    content = {"schema": "seqcheck-run/1", "start": {}, "steps": []}
    assert recording.read(json.dumps(content).encode(), machine_of(PANEL)).machine_name == ""


def test_a_result_is_loaded_by_its_id(tmp_path: Path) -> None:
    path = tmp_path / "results.json"
    runs: list[dict[str, object]] = [{"id": name, "start": {"dial": 0}, "run": []} for name in ("H1", "H2")]
    path.write_text(json.dumps({"machine": "M", "results": runs}), encoding="utf-8")
    assert recording.load(path, machine_of(PANEL), "H2").steps == ()
    with pytest.raises(RecordingError, match="has no result H3"):
        recording.load(path, machine_of(PANEL), "H3")


def test_a_recording_whose_start_fails_is_told(tmp_path: Path) -> None:
    machine = machine_of(FAILS_FROM_ONE)
    path = tmp_path / "run.json"
    content = {"schema": "seqcheck-run/1", "start": {"n": 1}, "faults": [], "steps": []}
    path.write_text(json.dumps(content), encoding="utf-8")
    answer = Session(machine, Simulator(machine), "abc").answer(f"play {path}")
    assert answer.ended
    assert "The machine does not come through its start." in [line.text for line in answer.lines]


STARTS = "machine: M\nparts: {p: {states: [x, größe], starts: any}, q: bool}\npeople: {go: {if: p = größe, then: {q: TRUE}}}\n"


def test_a_recording_starts_where_it_says() -> None:
    text = STARTS.replace("größe", "y")
    machine = machine_of(text)
    session = Session(machine, Simulator(machine), "abc")
    recorded = recording.read(
        recording.write(Simulator(machine, start={"p": "y"}).timeline(), machine, "abc").encode(), machine
    )
    assert session.play(recorded).went_through
    assert session.simulator.value("p") == "y"


def test_a_recording_is_laid_out_and_keeps_its_letters(tmp_path: Path) -> None:
    machine = machine_of("machine: Größe\nparts: {p: bool}\n")
    path = tmp_path / "run.json"
    recording.save(path, Simulator(machine).timeline(), machine, "abc")
    assert path.read_text(encoding="utf-8").splitlines()[1].startswith('  "')
    assert "Größe" in path.read_text(encoding="utf-8")


def test_a_file_that_is_no_recording_is_named(tmp_path: Path) -> None:
    path = tmp_path / "no run.json"
    path.write_text("[", encoding="utf-8")
    with pytest.raises(RecordingError, match=r"no run\.json is not JSON"):
        recording.load(path, machine_of(PANEL))


@pytest.mark.parametrize(
    ("content", "told"),
    [
        ({"files": 1}, "files"),
        ({"files": [1]}, "each of its files"),
        ({"results": [], "cases": 1}, "cases"),
        ({"results": [], "cases": [1]}, "each of its cases"),
        ({"schema": "seqcheck-run/1", "start": {}, "steps": 1}, "steps"),
    ],
)
def test_what_is_wrong_in_a_recording_is_named_as_the_file_does(content: object, told: str) -> None:
    with pytest.raises(RecordingError, match=told):
        recording.read(json.dumps(content).encode(), machine_of(PANEL))


def test_a_wait_that_is_whole_is_written_as_a_whole_number() -> None:
    machine = machine_of(BEATS)
    simulator = Simulator(machine)
    simulator.wait(2)
    assert '"wait_s": 2,' in recording.write(simulator.timeline(), machine, "abc").replace("\n", ",")
