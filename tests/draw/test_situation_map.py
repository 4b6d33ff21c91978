"""The picture of the map: what is marked, what is merged, and that it can be read on a sheet of A4."""

import re
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import pytest

from seqcheck.analyse.mapping.mapping import situation_map
from seqcheck.analyse.mapping.records import SituationMap
from seqcheck.draw import render
from seqcheck.draw.dot import dot_of
from seqcheck.draw.drawing import About, Drawing, Line, Node, Shape
from seqcheck.draw.render import Ended, svg_of
from seqcheck.draw.situation_map import map_drawing
from seqcheck.report.narrate import Vocabulary
from seqcheck.search.engine import Limits
from seqcheck.search.symbolic.symbolic import SymbolicEngine
from tests.analyse.asking import case_of, model_of, silent
from tests.benchmarks.cells import cells

SEQUENCES = Path(__file__).parents[2] / "sequences"
NAMES = sorted(path.stem for path in SEQUENCES.glob("*.yaml"))
ABOUT = About(machine="M", revision="A", file="m.yaml", sha256="0" * 64)
A4 = (210 - 20, 297 - 20)
"""Millimetres of a sheet less a margin of 10 mm."""

POINTS_IN_MM = 72 / 25.4


def text_of(name: str) -> str:
    return cells(2) if name == "cells" else (SEQUENCES / f"{name}.yaml").read_text(encoding="utf-8")


@cache
def mapped(name: str, *by: str) -> SituationMap:
    text = text_of(name)
    return situation_map(model_of(text), by, Limits(), silent, case_of(text, engine=SymbolicEngine()))


@cache
def drawn(name: str, *by: str) -> Drawing:
    return map_drawing(mapped(name, *by), Vocabulary.of(model_of(text_of(name))), ABOUT)


def boxes(drawing: Drawing) -> list[Node]:
    return [node for node in drawing.nodes if node.shape is not Shape.POINT]


def printed_points(svg: str) -> float:
    """Return the size in points of the smallest letters when a picture is printed on A4, upright or across."""
    found = re.search(r'<svg width="([\d.]+)pt" height="([\d.]+)pt"', svg)
    assert found is not None
    width, height = map(float, found.groups())
    short, long = (mm * POINTS_IN_MM for mm in A4)
    scale = min(1.0, max(min(short / width, long / height), min(long / width, short / height)))
    return scale * min(map(float, re.findall(r'font-size="([\d.]+)"', svg)))


@pytest.mark.parametrize(
    ("name", "by"),
    [
        *((name, ()) for name in [*NAMES, "cells"]),
        ("separator", ("mode", "rotor", "cover")),
        ("separator_draft", ("mode", "rotor", "cover", "oil")),
        ("separator", ("mode", "rotor", "cover", "main_switch", "oil", "drum")),
        ("cells", ("cover1", "speed1", "cover2", "speed2", "mode")),
    ],
)
def test_it_can_be_read_on_a4(name: str, by: tuple[str, ...]) -> None:
    drawing = drawn(name, *by)
    assert printed_points(svg_of(drawing)) >= 7
    assert len(boxes(drawing)) <= 40
    assert all(1 <= len(node.lines) <= 3 for node in boxes(drawing))


@pytest.mark.parametrize("name", [*NAMES, "cells"])
def test_what_matters_is_marked(name: str) -> None:
    full, drawing = mapped(name), drawn(name)
    reached = [node for node in boxes(drawing) if node.line is Line.SOLID]
    never = [node for node in boxes(drawing) if node.line is Line.DASHED]
    assert any(node.shape is Shape.POINT for node in drawing.nodes)
    assert all("met" in node.lines[-1] for node in reached if node.doubled)
    assert any(node.doubled for node in reached) == any(one.states for one in full.hazards)
    assert all("not reachable: " in node.lines[-1] and "would be met" in node.tooltip for node in never)
    assert bool(never) == bool(full.unreached)
    is_bad = full.bad is not None
    assert any(edge.heavy for edge in drawing.edges) == is_bad == any(node.heavy for node in reached)
    head = " ".join([*drawing.legend, *drawing.notes])
    assert all(one.id in head for one in full.hazards)
    assert "In this model, under these assumptions." in head
    said = sum(int(node.tooltip.split(": ")[-1].split(" state")[0].replace(",", "")) for node in reached)
    assert said == full.states


def test_the_demo_shows_names_and_values() -> None:
    drawing = drawn("separator", "rotor", "cover")
    assert ("rotor slow or working speed, cover open", "not reachable: H1") in [node.lines for node in boxes(drawing)]
    labels = {" ".join(line.strip() for line in edge.lines) for edge in drawing.edges}
    assert {"open the cover", "the rotor begins to turn", "the rotor comes to standstill"} <= labels


def test_several_steps_along_one_arrow_are_counted_and_all_told() -> None:
    drawing = drawn("separator")
    (edge,) = [edge for edge in drawing.edges if "panel" in "".join(edge.lines)]
    assert " ".join(line.strip() for line in edge.lines) == "3 panel settings, time"
    panel = ("emergency stop to pressed", "mode selector to off", "mode selector to separate")
    assert all(f"{said} (" in edge.tooltip for said in (*panel, "time"))


def test_merged_situations_say_how_many_they_are() -> None:
    drawing = drawn("separator", "mode", "rotor", "cover", "main_switch", "oil", "drum")
    merged = [node for node in boxes(drawing) if node.shape is Shape.ROUNDED]
    assert merged
    assert all(re.match(r"\d+ further situations", node.lines[0]) for node in merged)


def test_an_incomplete_search_claims_nothing_unreachable() -> None:
    model = model_of(text_of("separator_draft"))
    part = situation_map(model, ("rotor", "cover"), Limits(states=2_000), silent)
    drawing = map_drawing(part, Vocabulary.of(model), ABOUT)
    text = " ".join([*drawing.legend, *drawing.notes, *(line for node in drawing.nodes for line in node.lines)])
    assert "The search ended at the limit on states" in text
    assert "not reachable" not in text
    nothing = map_drawing(situation_map(model, (), Limits(seconds=0), silent), Vocabulary.of(model), ABOUT)
    assert nothing.nodes == ()
    assert "The search ended at the limit on time" in " ".join(nothing.notes)
    assert svg_of(nothing)


HOSTILE = r"""
machine: "<b>M</b> \\N {x} \"quoted\""
parts:
  part: {states: [a, b, c], text: "</text><script>alert(1)</script> \\N \\l {|}"}
people:
  "<img src=x onerror=alert(1)> \\N \\l \"'{}": {if: part = a, then: {part: b}}
  LONG: {if: part = b, then: {part: c}}
hazards:
  H1: {text: "]]> --> & <", must not be: part = b}
"""


def test_hostile_names_are_text() -> None:
    text = HOSTILE.replace("LONG", '"' + "x" * 190 + '\u05d0\u05d1"')
    model = model_of(text)
    told = situation_map(model, (), Limits(), silent, case_of(text))
    drawing = map_drawing(told, Vocabulary.of(model), ABOUT)
    svg = svg_of(drawing)
    assert "<script" not in svg
    assert "<img" not in svg
    assert printed_points(svg) >= 7
    assert all(len(line) <= 50 for node in drawing.nodes for line in node.lines)


def test_where_no_curve_can_be_found_arrows_are_straight(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []

    def started(command: Sequence[str], _fed: bytes, _seconds: float) -> Ended:
        asked.append(list(command))
        straight = "-Gsplines=line" in command
        said = "" if straight else "Error: in routesplines, Pshortestpath failed"
        return Ended(code=0 if straight else 1, output=b"<svg/>", said=said)

    monkeypatch.setattr(render, "started", started)
    assert render.rendered("digraph {}", render.Format.SVG) == b"<svg/>"
    assert len(asked) == 2


def test_the_same_file_gives_the_same_bytes() -> None:
    words = Vocabulary.of(model_of(text_of("robot_cell_draft")))
    again = situation_map(
        model_of(text_of("robot_cell_draft")),
        (),
        Limits(),
        silent,
        case_of(text_of("robot_cell_draft"), engine=SymbolicEngine()),
    )
    assert dot_of(map_drawing(again, words, ABOUT)) == dot_of(drawn("robot_cell_draft"))
