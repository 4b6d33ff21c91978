"""The committed sequences: what each must show, that their mistakes are independent, and that planted faults are found."""

import re
from functools import cache
from pathlib import Path

import pytest

from tests.sequences.mistakes import MISTAKES, Mistake
from tests.sequences.plants import PLANTS, Plant
from tests.sequences.verifying import SEQUENCES, Answer, replaced, verify, verify_text

GOOD = sorted(path.stem for path in SEQUENCES.glob("*.yaml") if not path.stem.endswith("_draft"))
ALL = sorted(path.stem for path in SEQUENCES.glob("*.yaml"))
SLIPS = frozenset(
    {"never_true", "never_accepted", "never_decisive", "never_happens", "never_entered", "dead_end", "time_stuck"}
)
EACH_MISTAKE = [
    pytest.param(name, number, id=f"{name}-{number + 1}") for name in MISTAKES for number in range(len(MISTAKES[name]))
]


def text_of(name: str) -> str:
    return (SEQUENCES / f"{name}.yaml").read_text(encoding="utf-8")


@cache
def answer(name: str) -> Answer:
    return verify(SEQUENCES / f"{name}.yaml")


def hazards(name: str) -> frozenset[str]:
    return frozenset(re.findall(r"^  (H\d+):", text_of(name), re.MULTILINE))


def mended(text: str, mistakes: tuple[Mistake, ...]) -> str:
    for mistake in mistakes:
        text = replaced(text, mistake.draft, mistake.mended)
    return text


def body(text: str) -> str:
    """Return what a machine and its twin have in common: no heading, no revision, no procedures."""
    rest = text[text.index("\nmachine:") :].split("\nprocedures:", maxsplit=1)[0]
    lines = [line for line in rest.splitlines() if line and not line.lstrip().startswith("#")]
    return "\n".join(line for line in lines if not line.startswith("revision:"))


def test_every_good_sequence_has_a_violated_twin() -> None:
    assert len(GOOD) >= 5
    assert {f"{name}_draft" for name in GOOD} == set(ALL) - set(GOOD)
    assert set(MISTAKES) == set(GOOD)


@pytest.mark.parametrize("name", ALL)
def test_opens_with_what_it_shows_and_with_the_caution(name: str) -> None:
    heading = text_of(name).split("\nmachine:")[0]
    assert "# What it shows: " in heading
    assert "invented" in heading
    assert "no substitute for a risk assessment, for lockout, or for validation on the real machine" in heading


@pytest.mark.parametrize("name", ALL)
def test_has_as_many_states_as_it_says(name: str) -> None:
    said = re.search(r"^# Reachable states: ([\d,]+)$", text_of(name), re.MULTILINE)
    assert said is not None
    states = answer(name).without_faults.states
    assert states == int(said[1].replace(",", ""))
    assert states >= (5_000 if name.startswith("separator") else 500)


@pytest.mark.parametrize("name", ALL)
def test_has_a_timer_a_trip_and_a_fault(name: str) -> None:
    for section in ("timers", "trips", "faults"):
        assert re.search(rf"^{section}:\n(  .*\n)+", text_of(name), re.MULTILINE), section


@pytest.mark.parametrize("name", GOOD)
def test_good_sequence_holds_without_a_slip(name: str) -> None:
    got = answer(name)
    assert got.exit_code == 0
    assert not got.without_faults.violated
    assert hazards(name) | {"range", "settling"} <= got.without_faults.holds
    assert not got.finding_kinds & SLIPS


@pytest.mark.parametrize("name", GOOD)
def test_draft_shows_what_each_of_its_mistakes_does(name: str) -> None:
    got = answer(f"{name}_draft")
    assert got.exit_code == 1
    everything = frozenset[str]().union(*(mistake.found_by for mistake in MISTAKES[name]))
    assert everything <= got.without_faults.violated


def test_separator_draft_lets_the_cover_be_opened_while_the_rotor_turns() -> None:
    assert answer("separator_draft").runs["H1"][-1] == "open the cover"


def test_separator_draft_starts_in_clean_out_mode_without_the_splash_guard() -> None:
    run = answer("separator_draft").runs["R25"]
    assert run[-1] == "start the clean-out run"
    assert "fit the splash guard" not in run


@pytest.mark.parametrize("name", GOOD)
def test_draft_with_all_mistakes_mended_is_the_good_sequence(name: str) -> None:
    assert body(mended(text_of(f"{name}_draft"), MISTAKES[name])) == body(text_of(name))
    assert text_of(f"{name}_draft").count("# MISTAKE ") == len(MISTAKES[name])


@pytest.mark.parametrize(("name", "number"), EACH_MISTAKE)
def test_each_mistake_alone_is_found(name: str, number: int, tmp_path: Path) -> None:
    others = MISTAKES[name][:number] + MISTAKES[name][number + 1 :]
    got = verify_text(mended(text_of(f"{name}_draft"), others), tmp_path)
    assert got.exit_code == 1
    assert got.without_faults.violated == MISTAKES[name][number].found_by


@pytest.mark.parametrize(("name", "number"), EACH_MISTAKE)
def test_mending_one_mistake_leaves_the_others(name: str, number: int, tmp_path: Path) -> None:
    mistakes = MISTAKES[name]
    text = mended(text_of(f"{name}_draft"), mistakes[number : number + 1])
    got = verify_text(text, tmp_path, "--max-states", "30000")  # what is violated by then stays violated
    others = frozenset[str]().union(*(m.found_by for n, m in enumerate(mistakes) if n != number))
    assert others <= got.without_faults.violated


@pytest.mark.parametrize("plant", PLANTS, ids=lambda plant: f"{plant.sequence}-{plant.hazard}")
def test_planted_fault_is_found(plant: Plant, tmp_path: Path) -> None:
    text = text_of(plant.sequence)
    for old, new in plant.replacements:
        text = replaced(text, old, new)
    assert plant.hazard in verify_text(text, tmp_path).without_faults.violated


@pytest.mark.parametrize("name", GOOD)
def test_every_hazard_has_a_planted_fault_or_a_mistake(name: str) -> None:
    by_mistakes = frozenset[str]().union(*(mistake.found_by for mistake in MISTAKES[name]))
    by_plants = frozenset(plant.hazard for plant in PLANTS if plant.sequence == name)
    assert hazards(name) <= by_mistakes | by_plants


# Which single faults let which hazards happen: what an engineer expects of a machine whose signals are not doubled.
SINGLE_FAULTS = {
    ("separator", "standstill sensor stuck at standstill"): {"H1", "H3"},
    ("separator", "splash guard switch stuck at fitted"): {"H2"},
    ("two_hand_press", "left button stuck pressed"): {"H1", "H2"},
    ("two_hand_press", "right button stuck pressed"): {"H1", "H2"},
    ("two_hand_press", "clutch does not let go"): {"H1", "H2", "H3", "H4"},
    ("two_hand_press", "the ram drops"): {"H1"},
    ("steam_door", "pressure switch stuck at none"): {"H1", "H2"},
    ("steam_door", "vent valve stuck shut"): set(),
    ("steam_door", "steam valve stuck open"): {"H1", "H2", "H3", "H4"},
    ("steam_door", "bolt switch stuck at in"): {"H1", "H3"},
    ("steam_door", "door lock does not engage"): {"H1", "H2", "H3"},
    ("burner", "flame eye stuck at no flame"): {"H2"},
    ("burner", "flame eye stuck at flame"): {"H1"},
    ("burner", "air switch stuck at flow"): {"H1", "H3"},
    ("burner", "gas valve does not shut"): {"H1", "H2", "H3", "H4"},
    ("burner", "fan fails"): {"H2"},
    ("burner", "gas leaks in"): {"H1"},
    ("lift_gate", "ground gate contact stuck at locked"): set(),
    ("lift_gate", "upper floor switch stuck at car"): {"H2"},
    ("lift_gate", "ground lock does not engage"): {"H1", "H3"},
    ("lift_gate", "motor contactor welded"): {"H1", "H3", "H4"},
    ("lift_gate", "the load shifts and jams the car"): set(),
    ("robot_cell", "scanner blind"): {"H1", "H3"},
    ("robot_cell", "gate switch stuck shut"): {"H1", "H2", "H3"},
    ("robot_cell", "gate lock does not engage"): {"H1", "H2"},
    ("robot_cell", "drive does not stop"): {"H1", "H2", "H3", "H4"},
}


@pytest.mark.parametrize("name", GOOD)
def test_single_faults_defeat_what_they_should(name: str) -> None:
    expected = {fault: found for (sequence, fault), found in SINGLE_FAULTS.items() if sequence == name}
    options = [option for fault in expected for option in ("--fault", fault)]
    got = verify(SEQUENCES / f"{name}.yaml", *options)
    assert got.exit_code == 1
    assert {c.faults[0]: c.violated & hazards(name) for c in got.cases if c.faults} == expected
