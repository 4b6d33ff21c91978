"""Automatic sequences of whole machines: what is known of the demo, and what must be so on any."""

from pathlib import Path

import pytest

from seqcheck.analyse.automatic.automatic import automatic_sequences
from seqcheck.analyse.automatic.records import Automatic, Sequence
from seqcheck.model.model import Model
from seqcheck.model.run import StepKind
from seqcheck.search.engine import Limits
from seqcheck.search.engines import engine
from seqcheck.simulate.replay import replay
from tests.analyse.asking import model_of, silent
from tests.outside.reading import machine_of

SEQUENCES = Path(__file__).parents[3] / "sequences"


def automatic(text: str, engine_name: str = "symbolic") -> tuple[Model, Automatic]:
    model = model_of(text)
    return model, automatic_sequences(model, engine(engine_name), Limits(), silent)


def told(model: Model, sequence: Sequence) -> list[str]:
    """Say what happens, in a sequence that has no branches, one after the other."""
    said: list[str] = []
    place = 0
    while sequence.situations[place].happenings:
        (one,) = sequence.situations[place].happenings
        name = model.steps[one.step].name if one.step is not None else " and ".join(one.acted)
        said.append(f"{name} {one.earliest}..{one.latest}")
        place = one.to
    return said


def test_the_clean_out_run_of_the_demo() -> None:
    model, found = automatic((SEQUENCES / "separator.yaml").read_text(encoding="utf-8"))
    by_name = {one.trip or model.steps[one.step].name: one for one in found.sequences}
    assert told(model, by_name["start the clean-out run"]) == [
        "the rotor begins to turn 0..1",
        "the clean-out run is over 6..6",
        "the rotor comes to standstill 3..4",
    ]
    assert told(model, by_name["emergency stop"]) == [
        "the rotor falls below working speed 1..2",
        "the rotor comes to standstill 3..4",
    ]
    assert told(model, by_name["start flushing"]) == ["the flush is over 2..2"]
    assert found.complete
    assert not {"reset", "open the feed", "lock the cover"} & by_name.keys()


@pytest.mark.parametrize("name", ["burner", "lift_gate_draft", "robot_cell", "two_hand_press"])
def test_every_sequence_begins_with_a_run_that_replays(name: str) -> None:
    text = (SEQUENCES / f"{name}.yaml").read_text(encoding="utf-8")
    model, found = automatic(text)
    machine = machine_of(text)
    assert found.sequences
    for one in found.sequences:
        step = model.steps[one.step]
        assert one.run.steps[-1].by.name == step.name
        assert one.situations[0].happenings
        assert step.kind is StepKind.COMMAND or one.trip in one.acted
        assert one.run.steps[-1].acted == one.acted
        assert replay(machine, one.run).disagreement is None


def test_engines_find_the_same() -> None:
    text = (SEQUENCES / "robot_cell.yaml").read_text(encoding="utf-8")
    (_, one), (_, other) = automatic(text), automatic(text, "plain")
    assert [(s.step, s.trip, s.situations) for s in one.sequences] == [(s.step, s.trip, s.situations) for s in other.sequences]


def test_few_sequences_show_all_that_happens() -> None:
    """With the gas main shut the burner never lights: that alone would not tell what lighting it sets off."""
    model, found = automatic((SEQUENCES / "burner.yaml").read_text(encoding="utf-8"))
    lit = [one for one in found.sequences if model.steps[one.step].name == "light the burner"]
    names = {model.steps[h.step].name for one in lit for s in one.situations for h in s.happenings if h.step is not None}
    assert {"the air begins to flow", "the gas lights", "gas gathers"} <= names
    assert len(lit) <= 3


def test_a_limit_is_told() -> None:
    model = model_of((SEQUENCES / "separator.yaml").read_text(encoding="utf-8"))
    found = automatic_sequences(model, engine("plain"), Limits(states=5), silent)
    assert not found.complete


def test_nothing_that_happens_by_itself() -> None:
    _, found = automatic("machine: M\nparts: {p: [a, b]}\noutputs: {o: [off, on]}\ncommands: {go: {then: {o: on}}}\n")
    assert found.sequences == ()
    assert found.complete
