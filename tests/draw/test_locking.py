"""Pictures of who locks whom: what is on them, and that they fit a sheet of A4."""

import itertools
import re
from pathlib import Path

import pytest

from seqcheck.analyse.locking import locking
from seqcheck.cli.load import load_any
from seqcheck.compile.compile import compile_machine
from seqcheck.draw.drawing import About, Drawing, Line
from seqcheck.draw.locking import locking_drawings
from seqcheck.draw.render import svg_of
from tests.analyse.asking import model_of
from tests.analyse.test_locking import DOOR

ABOUT = About(machine="A door with a bolt", revision="A", file="door.yaml", sha256="0" * 64)
A4_POINTS = (538, 785)
"""A sheet of A4 less 10 mm on each side."""

FONT_POINTS = 10


def drawings(text: str) -> dict[str, Drawing]:
    return {one.title: one for one in locking_drawings(locking(model_of(text)), ABOUT)}


def test_one_thing_with_all_that_it_waits_for() -> None:
    drawing = drawings(DOOR)["What must be true before drive changes"]
    said = {" / ".join(node.lines): node.id for node in drawing.nodes}
    led = {(edge.tail, edge.head) for edge in drawing.edges}
    chain = ["door", "sensor door shut / door = shut", "the door is shut / door_shut", "command: / start", "drive = on"]
    assert all((said[one], said[following]) in led for one, following in itertools.pairwise(chain))
    assert (said["NOT door_shut"], said["trip: / the door opens"]) in led
    assert (said["trip: / the door opens"], said["drive = off"]) in led
    assert (said["trip: / the door opens"], said["drive = on"]) not in led


def test_the_whole_tells_the_controller_from_the_build() -> None:
    found = drawings(DOOR)
    controller, build = found["Who locks whom: the controller"], found["Who locks whom: the build of the machine"]
    assert len(controller.edges) == 5
    assert [edge.line for edge in build.edges] == [Line.SOLID]
    assert any("door and drive on and bolt" in note for note in controller.notes)
    assert any("Nothing reads or moves: light" in note for note in controller.notes)


def test_a_trip_alone_is_dashed() -> None:
    text = DOOR.replace("the door is shut: door_shut, ", "")
    edges = drawings(text)["Who locks whom: the controller"].edges
    assert {edge.line for edge in edges} == {Line.SOLID, Line.DASHED}


@pytest.mark.parametrize("name", ["separator", "robot_cell", "two_hand_press_draft", "burner"])
def test_every_picture_fits_a_sheet_at_seven_points(name: str) -> None:
    loaded = load_any(Path("sequences") / f"{name}.yaml")
    assert loaded.machine is not None
    for drawing in locking_drawings(locking(compile_machine(loaded.machine)), ABOUT):
        width, height = (int(n) for n in re.findall(r'(?:width|height)="(\d+)pt"', svg_of(drawing))[:2])
        short, long = sorted((width, height))
        assert FONT_POINTS * min(1, A4_POINTS[0] / short, A4_POINTS[1] / long) >= 7, drawing.title
