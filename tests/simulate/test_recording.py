"""Recordings: written and read back; results of a verification; clear errors for all else."""

import json
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seqcheck.check.machine import Machine, Section
from seqcheck.model.run import By, RunStep, StepKind
from seqcheck.simulate import recording
from seqcheck.simulate.errors import RecordingError
from seqcheck.simulate.simulator import Simulator
from tests.simulate.build import Parts, number, states, truth
from tests.simulate.press import press

RESET = {"by": {"kind": "command", "name": "reset"}, "wait_s": None}
RUN = [
    {"step": 1, "by": {"kind": "command", "name": "reset"}, "wait_s": None, "changes": {"ready": "yes"}},
    {"step": None, "by": {"kind": "wait", "name": ""}, "wait_s": 1.5, "changes": {}},
    {"step": 2, "by": {"kind": "panel", "name": "ESTOP"}, "wait_s": None, "changes": {"estop": "pressed", "ready": "no"}},
]
STEPS = (
    RunStep(by=By(kind=StepKind.COMMAND, name="reset")),
    RunStep(by=By(kind=StepKind.WAIT), ticks=3),
    RunStep(by=By(kind=StepKind.PANEL, name="estop", to="pressed")),
)


def read(content: object, machine: Machine | None = None, result_id: str | None = None) -> recording.Recording:
    return recording.read(json.dumps(content).encode(), machine or press(), result_id)


def own(**changes: object) -> dict[str, object]:
    return {"schema": "seqcheck-run/1", "machine": "m", "file_sha256": "ff", "start": {}, "faults": [], "steps": []} | changes


def test_written_and_read_back(tmp_path: Path) -> None:
    simulator = Simulator(press(), faults=["air pressure lost"])
    for typed in STEPS:
        (simulator.wait(typed.ticks) if typed.ticks else simulator.take(typed.by))
    path = tmp_path / "run.json"
    recording.save(path, simulator.timeline(), press(), "abc")
    loaded = recording.load(path, press())
    assert (loaded.machine_name, loaded.file_sha256) == ("Hand-loaded press", "abc")
    assert loaded.faults == ("air pressure lost",)
    assert dict(loaded.start) == dict(simulator.timeline().start)
    assert [(step.by, step.ticks) for step in loaded.steps] == [(s.by, s.ticks) for s in simulator.timeline().steps]
    assert [each.name for each in tmp_path.iterdir()] == ["run.json"]


def test_what_a_recording_looks_like() -> None:
    simulator = Simulator(press(), faults=())
    simulator.wait(1)
    simulator.take(STEPS[2].by)
    written = json.loads(recording.write(simulator.timeline(), press(), "abc"))
    assert written["schema"] == "seqcheck-run/1"
    assert written["steps"] == [
        {"by": {"kind": "wait", "name": ""}, "wait_s": 0.5},
        {"by": {"kind": "panel", "name": "estop", "to": "pressed"}, "wait_s": None},
    ]


def test_a_result_of_a_verification() -> None:
    recorded = read({"id": "H1", "faults": ["drive fails to stop"], "start": {"RAM": "TOP"}, "run": RUN})
    assert recorded.steps == STEPS
    assert recorded.start == (("ram", "top"),)
    assert recorded.faults == ("drive fails to stop",)
    assert recorded.file_sha256 == ""


def test_a_whole_verification_gives_the_first_result_with_a_run_or_the_one_asked_for() -> None:
    one, other = {"id": "H2", "run": RUN[:1]}, {"id": "H3", "run": RUN}
    none: dict[str, object] = {"id": "H1", "run": [], "start": {}, "steps": None}
    whole = {"machine": "Hand-loaded press", "file_sha256": "abc", "results": [none, one, other]}
    assert read(whole).steps == STEPS[:1]
    assert read(whole).file_sha256 == "abc"
    assert read(whole, result_id="H3").steps == STEPS
    cases = [{"faults": [], "results": [none]}, {"faults": ["f"], "results": [{"id": "H1", "faults": ["f"], "run": RUN}]}]
    assert read({"results": [none], "cases": cases}).faults == ("f",)
    files = {"files": [{"machine": "other", "results": [one]}, whole]}
    assert read(files, result_id="H3").steps == STEPS


def test_a_run_without_steps_is_a_run_if_it_says_where_it_starts() -> None:
    assert read({"id": "H1", "start": {"ram": "top"}, "run": []}).steps == ()


def test_faults_not_named_are_not_known() -> None:
    assert read(own(faults=None)).faults is None


def test_values_written_as_text() -> None:
    machine = Parts(variables=(number("n", -5, 5, Section.PANEL), truth("on", Section.PANEL))).machine
    steps = [
        {"by": {"kind": "panel", "name": "N", "to": "-3"}},
        {"by": {"kind": "panel", "name": "on", "to": "true"}},
        {"by": {"kind": "panel", "name": "on", "to": False}},
        {"by": {"kind": "wait"}, "wait_s": "2"},
    ]
    read_back = read(own(steps=steps), machine).steps
    assert [step.by.to for step in read_back] == [-3, True, False, None]
    assert read_back[-1].ticks == 2


def test_a_wait_in_decimals_is_taken_exactly() -> None:
    machine = Parts(tick_s=Fraction(1, 10), variables=(truth("on"),)).machine
    steps = [{"by": {"kind": "wait"}, "wait_s": 0.30000000000000004}, {"by": {"kind": "wait"}, "wait_s": 0.7}]
    assert [step.ticks for step in read(own(steps=steps), machine).steps] == [3, 7]


def panel_step(**by: object) -> dict[str, object]:
    return own(steps=[{"by": {"kind": "panel", "name": "estop"} | by}])


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        ([], "the file is no JSON object"),
        ({}, "it has neither steps nor a result with a run"),
        ({"results": {}}, "results is no list"),
        ({"results": [3]}, "each of its results is no JSON object"),
        ({"results": [{"id": "H1", "run": []}]}, "there is no run with any of its results"),
        ({"files": [{"machine": "lift"}]}, "none of its files is about the machine Hand-loaded press"),
        ({"id": "H1", "run": []}, "there is no run with this result"),
        (own(schema="seqcheck-run/9"), "its schema is seqcheck-run/9, and only seqcheck-run/1 is understood"),
        (own(faults=["f", 1]), "a fault is missing or no text"),
        (own(faults="f"), "faults is no list"),
        (own(start=[]), "start is no JSON object"),
        (own(start={"lid": "open"}), "the machine has no part, panel item, output or memory named lid"),
        (own(start={"gat": "open"}), "named gat; near names: gate"),
        (own(start={"gate": "ajar"}), "gate has no value ajar; it has shut, open"),
        (own(start={"gate": 1}), "gate has no value 1; it has shut, open"),
        (own(start={"gate": [1]}), "the value of gate is no truth, whole number or text"),
        (own(start={"parts_made": 9}), "parts_made has no value 9; its range is 0..3"),
        (own(start={"parts_made": "9"}), "parts_made has no value 9; its range is 0..3"),
        (own(start={"parts_made": "many"}), "parts_made has no value many; its range is 0..3"),
        (own(steps=[RESET, 5]), "step 2: it is no JSON object"),
        (own(steps=[{}]), "step 1: by is no JSON object"),
        (own(steps=[{"by": {}}]), "step 1: kind is missing or no text"),
        (own(steps=[{"by": {"kind": "ghost"}}]), "step 1: ghost is no kind of step; the kinds are command, person"),
        (own(steps=[{"by": {"kind": "command"}}]), "step 1: name is missing or no text"),
        (own(steps=[{"by": {"kind": "wait"}}]), "step 1: a wait needs wait_s, a number of seconds"),
        (own(steps=[{"by": {"kind": "wait"}, "wait_s": True}]), "step 1: a wait needs wait_s, a number of seconds"),
        (own(steps=[{"by": {"kind": "wait"}, "wait_s": 0.7}]), "a wait of 0.7 s is no whole number of ticks of 0.5 s"),
        (own(steps=[{"by": {"kind": "wait"}, "wait_s": 0}]), "a wait of 0 s is no whole number of ticks"),
        (own(steps=[{"by": {"kind": "wait"}, "wait_s": -1}]), "a wait of -1 s is no whole number of ticks"),
        (own(steps=[{"by": {"kind": "wait"}, "wait_s": 1e300}]), "out of proportion"),
        (panel_step(), "step 1: it does not say what estop is set to"),
        (panel_step(to="sideways"), "step 1: estop has no value sideways; it has released, pressed"),
        (panel_step(to=None), "step 1: the value of estop is no truth, whole number or text"),
        (own(steps=[{"by": {"kind": "panel", "name": "estop"}, "changes": {"ready": "no"}}]), "it does not say what estop"),
    ],
)
def test_clear_errors(content: object, problem: str) -> None:
    with pytest.raises(RecordingError) as raised:
        read(content)
    assert problem in raised.value.problem
    assert raised.value.problem.startswith("the recording: ")


def test_a_result_that_is_not_there() -> None:
    with pytest.raises(RecordingError, match="it has no result H9; it has H1, H2"):
        read({"results": [{"id": "H1", "run": RUN}, {"id": "H2"}]}, result_id="H9")
    with pytest.raises(RecordingError, match="there is no run with the result H2"):
        read({"results": [{"id": "H1", "run": RUN}, {"id": "H2"}]}, result_id="H2")
    with pytest.raises(RecordingError, match="it is the result H1, not H9"):
        read({"id": "H1", "run": RUN}, result_id="H9")


def test_a_truth_has_its_values_named() -> None:
    machine = Parts(variables=(truth("on"), states("mode", "a b"))).machine
    with pytest.raises(RecordingError, match="on has no value maybe; it has FALSE, TRUE"):
        read(own(start={"on": "maybe"}), machine)


@pytest.mark.parametrize(
    ("data", "problem"),
    [
        (b"\xff\xfe", "is not UTF-8 text"),
        (b'{"machine": "\\ud800"}', "is not UTF-8 text"),
        (b"{", "is not JSON: line 1, column 2"),
        (b"", "is not JSON: line 1, column 1"),
        (b"[" * 100_000, "is not JSON that can be read"),
        (b'{"steps": NaN}', "is not JSON that can be read: NaN is no number"),
        (b"[" + b"9" * 5000 + b"]", "is not JSON that can be read"),
    ],
)
def test_what_is_no_json(data: bytes, problem: str) -> None:
    with pytest.raises(RecordingError) as raised:
        recording.read(data, press())
    assert problem in raised.value.problem


def test_files_that_can_not_be_read_or_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(RecordingError, match="can't be read: No such file"):
        recording.load(tmp_path / "none.json", press())
    with pytest.raises(RecordingError, match="can't be read: Is a directory"):
        recording.load(tmp_path, press())
    with pytest.raises(RecordingError, match="no file can have the name"):
        recording.load(tmp_path / "a\0b", press())
    run = Simulator(press()).timeline()
    with pytest.raises(RecordingError, match="can't be written"):
        recording.save(tmp_path / "none" / "run.json", run, press(), "")
    with pytest.raises(RecordingError, match="can't be written"):
        recording.save(tmp_path, run, press(), "")
    with pytest.raises(RecordingError, match="no file can have the name"):
        recording.save(Path("/"), run, press(), "")
    monkeypatch.setattr(recording, "MOST_BYTES", 3)
    (tmp_path / "big.json").write_text("[1, 2]")
    with pytest.raises(RecordingError, match="too large"):
        recording.load(tmp_path / "big.json", press())


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from([*own(), "by", "kind", "run"]), inner),
    max_leaves=12,
)


@given(JSON)
@settings(max_examples=200, deadline=None)
def test_any_json_is_read_or_refused(content: object) -> None:
    for whole in (content, own(steps=[content]), own(start=content), {"results": [content]}):
        try:
            recorded = read(whole)
        except RecordingError:
            continue
        assert all(step.ticks > 0 or step.by.name for step in recorded.steps)


@given(st.binary(max_size=60))
@settings(max_examples=200, deadline=None)
def test_bytes_at_random_are_refused(data: bytes) -> None:
    with pytest.raises(RecordingError):
        recording.read(data, press())
