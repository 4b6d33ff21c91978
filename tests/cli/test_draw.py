"""`seqcheck draw`: which files are written under which names, what is written where nothing renders, what is refused."""

import os
import subprocess
from pathlib import Path
from xml.etree import ElementTree as ET

import networkx
import pytest

from seqcheck.draw import render
from tests.cli.calling import HOLDS, REFUSED, VIOLATED, call, command, put

SEQUENCES = Path(__file__).parents[2] / "sequences"
LAMP = """\
machine: Lamp
parts: {lamp: [out, lit]}
outputs: {power: [off, on]}
commands: {light it: {then: {power: on}}}
plant: {it lights: {when: power = on AND lamp = out, after: 1..2 s, then: {lamp: lit}}}
requirements: {R1: {text: It can be lit, reachable: lamp = lit}}
procedures:
  light: {steps: [light it, {until: lamp = lit}]}
  "Light!": {steps: [light it]}
"""


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return tmp_path / "drawings"


def names(out: Path) -> set[str]:
    return {path.name for path in out.iterdir()}


def test_every_kind_is_drawn_under_names_that_stay(tmp_path: Path, out: Path) -> None:
    called = call("draw", *put(tmp_path, lamp=LAMP), "--out", str(out))
    assert called.exit_code == 0
    written = names(out)
    assert {"lamp.steps.light.svg", "lamp.steps.light-2.svg", "lamp.automatic.light-it.svg", "lamp.timing.r1.svg"} <= written
    assert {"lamp.map.svg", "lamp.states.machine.svg"} <= written
    assert any(name.startswith("lamp.locks.") for name in written)
    assert f"{len(written)} pictures written to {out}" in called.stderr
    for path in out.iterdir():
        assert ET.parse(path).getroot().tag.endswith("svg")  # noqa: S314 - our own pictures
        assert path.stat().st_mode & 0o777 == 0o644


def test_charts_that_a_limit_left_out_are_missed(tmp_path: Path, out: Path) -> None:
    called = call("draw", *put(tmp_path, lamp=LAMP), "--out", str(out), "--what", "states", "--max-seconds", "0")
    assert called.exit_code == 3
    assert "there may be more state charts than are drawn: the search ended at the limit on time" in called.stderr


def test_only_what_is_asked_for(tmp_path: Path, out: Path) -> None:
    assert call("draw", *put(tmp_path, lamp=LAMP), "--out", str(out), "--what", "timing, map").exit_code == 0
    assert names(out) == {"lamp.map.svg", "lamp.timing.r1.svg"}


def test_timing_is_of_violations_unless_a_run_is_asked_for(tmp_path: Path, out: Path) -> None:
    both = VIOLATED + "requirements: {R1: {text: It can be b, reachable: p = b}}\n"
    assert call("draw", *put(tmp_path, bad=both), "--out", str(out), "--what", "timing").exit_code == 0
    assert names(out) == {"bad.timing.h1.svg"}
    assert call("draw", *put(tmp_path, bad=both), "--out", str(out), "--what", "timing", "--run", "R1").exit_code == 0
    assert names(out) == {"bad.timing.h1.svg", "bad.timing.r1.svg"}


def test_without_a_renderer_the_dot_text_is_written(tmp_path: Path, out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr(render, "PACKAGED", "no-such-renderer")
    called = call("draw", *put(tmp_path, lamp=LAMP), "--out", str(out), "--what", "steps,timing", "--format", "png")
    assert called.exit_code == 0
    assert names(out) == {
        "lamp.steps.light.dot",
        "lamp.steps.light-2.dot",
        "lamp.automatic.light-it.dot",
        "lamp.timing.r1.svg",
    }
    assert called.stderr.count("written as dot, because there is no renderer for png here") == 1
    assert "written as svg, because there is nothing here that makes png of it" in called.stderr
    assert "Traceback" not in called.stderr


@pytest.mark.skipif(os.name == "nt", reason="a program of a few lines of shell is put in the place of dot")
def test_a_renderer_that_fails_costs_no_picture(tmp_path: Path, out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "dot").write_text("#!/bin/sh\necho broken >&2\nexit 1\n", encoding="utf-8")
    (tmp_path / "dot").chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    called = call("draw", *put(tmp_path, lamp=LAMP), "--out", str(out), "--what", "locks")
    assert called.exit_code == 0
    assert all(name.endswith(".dot") for name in names(out))
    assert "written as dot, because dot failed: broken" in called.stderr


def test_pdf_needs_a_program_that_makes_it(tmp_path: Path, out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    called = call("draw", *put(tmp_path, lamp=LAMP), "--out", str(out), "--format", "pdf")
    assert called.exit_code == 2
    assert "--format svg" in called.stderr
    assert not out.exists()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--what", "stats"], "choose from steps, states, map, locks, timing"),
        (["--what", ","], "choose from steps, states, map, locks, timing"),
        (["--what", "map", "--by", "q"], "called 'q'; it has: p"),
        (["--what", "timing", "--run", "H1"], "these have a run: none"),
        (["--by", "q"], "called 'q'; it has: p"),
        (["--run", "H9"], "the file has no 'H9'"),
        (["--what", "states", "--by", "p"], "no map is drawn"),
        (["--what", "map", "--run", "H1"], "add timing to --what"),
        (["--format", "gif"], "is not one of"),
    ],
)
def test_what_is_not_there_is_refused_with_an_offer(options: list[str], said: str, tmp_path: Path, out: Path) -> None:
    called = call("draw", *put(tmp_path, fine=HOLDS), "--out", str(out), *options)
    assert called.exit_code == 2
    assert said in " ".join(called.stderr.split())
    assert not out.exists()


def test_a_refused_file_and_a_folder_that_is_none(tmp_path: Path, out: Path) -> None:
    assert call("draw", *put(tmp_path, bad=REFUSED), "--out", str(out)).exit_code == 2
    (taken,) = put(tmp_path, fine=HOLDS)
    called = call("draw", taken, "--out", taken)
    assert called.exit_code == 2
    assert "cannot make the folder" in called.stderr


def test_a_limit_gives_exit_code_3_and_pictures_that_say_so(out: Path) -> None:
    called = call("draw", str(SEQUENCES / "lift_gate.yaml"), "--out", str(out), "--what", "map,steps", "--max-seconds", "0")
    assert called.exit_code == 3
    assert "lift_gate.map.svg" in names(out)
    assert "no step charts" not in called.stderr


def test_a_limit_is_not_told_as_an_answer(tmp_path: Path, out: Path) -> None:
    called = call("draw", *put(tmp_path, lamp=LAMP), "--out", str(out), "--what", "timing", "--max-seconds", "0")
    assert called.exit_code == 3
    assert "the search ended early and had found no run" in called.stderr
    assert "nothing is violated" not in called.stderr


def test_the_same_file_gives_the_same_bytes(tmp_path: Path) -> None:
    """In two processes that order their sets otherwise; with the packaged renderer."""
    written = []
    for seed in ("1", "2"):
        folder = tmp_path / seed
        asked = command("draw", str(SEQUENCES / "robot_cell.yaml"), "--out", str(folder))
        environment = {**os.environ, "PYTHONHASHSEED": seed, "PATH": str(tmp_path)}
        subprocess.run(asked, check=True, env=environment, capture_output=True, timeout=60)
        written.append({path.name: path.read_bytes() for path in sorted(folder.iterdir())})
    assert len(written[0]) > 10
    assert written[0] == written[1]


def test_graphml_is_written_of_the_map_only(tmp_path: Path, out: Path) -> None:
    file = put(tmp_path, lamp=LAMP)
    assert call("draw", *file, "--out", str(out), "--format", "graphml", "--by", "lamp").exit_code == 0
    assert names(out) == {"lamp.map.graphml"}
    graph = networkx.read_graphml(out / "lamp.map.graphml")
    assert {data["label"] for _, data in graph.nodes(data=True)} == {"lamp = out", "lamp = lit"}
    refused = call("draw", *file, "--out", str(out), "--format", "graphml", "--what", "map,steps")
    assert refused.exit_code == 2
    assert "--what map" in refused.stderr
