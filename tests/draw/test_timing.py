"""Timing diagrams: nothing overlaps, lanes show what the simulator has, waits are to scale or marked, long runs wrap."""

import itertools
import re
from collections.abc import Iterator
from fractions import Fraction
from xml.etree import ElementTree as ET

import pytest

from seqcheck.draw.drawing import About
from seqcheck.draw.timing import svg_of_page, timing_svg
from seqcheck.draw.timing_bands import ROOM
from seqcheck.draw.timing_columns import bands_of
from seqcheck.draw.timing_lanes import Lanes, lanes_of
from seqcheck.draw.timing_layout import page_of
from seqcheck.draw.timing_page import MARGIN, PAGE, SIZE, Box, Page, Stroke
from seqcheck.model.run import StepKind
from seqcheck.report.narrate import Vocabulary, shown
from tests.report.recorded import Recorded, as_simulated, of_drafts, of_stored, recorded_of

ABOUT = About(machine="Machine", revision="A", file="machine.yaml", sha256="0123456789abcdef")
SVG = "{http://www.w3.org/2000/svg}"
POINT_MM = 25.4 / 72

LONG = """\
machine: Long
tick: 1 s
parts: {n: {range: 0..30}, hand: [left, middle_of_the_road, right]}
timers: {t: {kind: TON, in: go = yes, pt: 300 s}}
memory: {go: ["no", "yes"]}
commands: {go: {then: {go: "yes"}}}
people:
  to the left: {if: hand = right AND n < 30 AND go = yes, then: {hand: left, n: n + 1}}
  to the right: {if: hand = left AND n > 0, then: {hand: right}}
  begin: {if: n = 0 AND hand = left, then: {hand: right}}
plant: {slow: {when: n = 30, after: 1 s, then: {hand: middle_of_the_road}}}
hazards: {H1: {must not be: n = 30 AND t.Q AND hand = middle_of_the_road}}
"""
LATE = """\
machine: Late
tick: 1 s
parts: {n: {range: 0..6}}
plant:
  first: {when: n = 0, after: 150 s, then: {n: 1}}
  next: {when: n > 0 AND n < 6, after: 1 s, then: {n: n + 1}}
hazards: {H1: {must not be: n = 6}}
"""
HOSTILE = """\
machine: "<b>M</b> & \\"q\\""
tick: 1 s
parts:
  p: {states: [a, LONG_STATE], text: "שלום VERY_LONG <i>"}
outputs: {o: {states: [low_and_low_and_low_and_low, high], text: "</text><script>alert(1)</script>"}}
commands: {"</svg><script>alert('x')</script> WITHOUT_BLANKS": {then: {o: high}}}
people: {"go \\\\N {x}": {if: o = high, then: {p: LONG_STATE}}}
hazards: {H1: {text: "<!-- & -->", must not be: p <> a}}
"""
for word, stands_for in (("LONG_STATE", "b" * 190), ("VERY_LONG", "very long " * 12), ("WITHOUT_BLANKS", "blankless" * 17)):
    HOSTILE = HOSTILE.replace(word, stands_for)


def lanes(one: Recorded) -> Lanes:
    return lanes_of(one.run, one.result.accounts, one.model, Vocabulary.of(one.model), one.result)


def page(one: Recorded) -> Page:
    return page_of(lanes(one), ABOUT)


def drawn(one: Recorded, prefix: str = "") -> str:
    words = Vocabulary.of(one.model)
    return timing_svg(one.run, one.result.accounts, one.model, words, about=ABOUT, result=one.result, prefix=prefix)


def runs() -> tuple[Recorded, ...]:
    return (*of_drafts(), *of_stored(), *recorded_of(HOSTILE), *recorded_of(LONG), *recorded_of(LATE))


def meet(one: Box, other: Box) -> bool:
    return one.left < other.right and other.left < one.right and one.top < other.bottom and other.top < one.bottom


def crosses(stroke: Stroke, box: Box) -> Iterator[tuple[float, float]]:
    """Yield points of a stroke, every unit along it, that lie in a box."""
    ends = (*stroke.points, stroke.points[0]) if stroke.closed else stroke.points
    for (x1, y1), (x2, y2) in itertools.pairwise(ends):
        parts = int(max(abs(x2 - x1), abs(y2 - y1))) + 1
        for part in range(parts + 1):
            x, y = x1 + (x2 - x1) * part / parts, y1 + (y2 - y1) * part / parts
            if box.left < x < box.right and box.top < y < box.bottom:
                yield x, y


def test_no_two_texts_overlap_and_all_is_on_the_page() -> None:
    for one in runs():
        made = page(one)
        boxes = [(text.box, text.words) for text in made.texts]
        for (box, words), (other, others) in itertools.combinations(boxes, 2):
            assert not meet(box, other), (one.name, words, others)
        for box, words in boxes:
            assert MARGIN - 1 <= box.left <= box.right <= PAGE - MARGIN + 1, (one.name, words)
            assert 0 <= box.top <= box.bottom <= made.height, (one.name, words)
        for stroke in made.strokes:
            assert all(0 <= x <= PAGE and 0 <= y <= made.height for x, y in stroke.points), one.name


def test_no_line_runs_through_a_text() -> None:
    for one in (*of_drafts(), *recorded_of(HOSTILE), *recorded_of(LONG)):
        made = page(one)
        strokes = [(stroke, stroke.box) for stroke in made.strokes]
        for text in made.texts:
            box = text.box
            for stroke, spanned in strokes:
                if meet(spanned, box):
                    assert not list(crosses(stroke, box)), (one.name, text.words)


def test_lanes_show_the_values_that_the_simulator_has() -> None:
    for one in (*of_drafts(), *of_stored()):
        found = lanes(one)
        words = Vocabulary.of(one.model)
        along = as_simulated(one)
        told = {lane.name.removesuffix(", commanded"): lane.values for lane in (*found.lanes, *found.unchanged)}
        for name in along[0]:
            values = tuple(shown(values[name]) if name in values else "no value" for values in along)
            assert told[words.name(name.removesuffix(".Q"))] == values, (one.name, name)


def test_each_value_is_written_where_it_begins() -> None:
    for one in of_drafts():
        found = lanes(one)
        written = " ".join(text.words for text in page(one).texts)
        for lane in found.lanes:
            for value in lane.levels or set(lane.values):
                assert all(word in written for word in value.split()), (one.name, lane.name)


def test_lanes_that_never_change_are_listed_not_drawn() -> None:
    for one in of_drafts():
        found = lanes(one)
        assert all(len(set(lane.values)) > 1 for lane in found.lanes)
        assert all(len(set(lane.values)) == 1 for lane in found.unchanged)
        listed = " ".join(text.words for text in page(one).texts).partition("Unchanged: ")[2]
        for lane in found.unchanged:
            assert f"{lane.name} {lane.values[0]}" in listed


def test_what_is_drawn_twice_where_an_output_is_stuck() -> None:
    stuck = [one for one in of_stored() if any(account.really for account in one.result.accounts)]
    assert stuck
    for one in stuck:
        names = {lane.name: lane for lane in lanes(one).lanes}
        for name in {name for account in one.result.accounts for name, _ in account.really}:
            said = Vocabulary.of(one.model).name(name)
            commanded, really = names[f"{said}, commanded"], names[f"{said}, really"]
            expected = [dict(account.really).get(name) for account in one.result.accounts]
            for place, value in enumerate(expected, start=1):
                assert really.values[place] == (commanded.values[place] if value is None else shown(value))


def test_waits_are_to_scale_or_marked() -> None:
    for one in runs():
        columns = [column for band in bands_of(lanes(one), ROOM) for column in band.columns]
        assert [column.place for column in columns] == list(range(len(one.run.steps) + 1))
        waits = [(column, one.run.steps[column.place].ticks) for column in columns if column.waits]
        scales = {round(column.width / ticks, 6) for column, ticks in waits if not column.broken}
        assert len(scales) <= 1, one.name
        assert not waits or scales, one.name
        for column, ticks in waits:
            assert ticks > 0
            assert 40 <= column.width <= ROOM


def test_a_long_wait_beside_a_short_one_is_broken_and_its_length_written() -> None:
    (one,) = [one for one in recorded_of(LONG) if one.result.id == "H1"]
    ticks = {step.ticks for step in one.run.steps if step.by.kind is StepKind.WAIT}
    assert len(ticks) == 2
    broken = [column for band in bands_of(lanes(one), ROOM) for column in band.columns if column.broken]
    assert len(broken) == 1
    written = {text.words for text in page(one).texts}
    assert {"1 s", "4 min 59 s"} <= written or {"1 s", "5 min"} <= written, written


def test_a_run_of_sixty_steps_wraps_into_bands() -> None:
    (one,) = [one for one in recorded_of(LONG) if one.result.id == "H1"]
    assert one.run.step_count > 60
    bands = bands_of(lanes(one), ROOM)
    assert len(bands) > 3
    assert all(band.width <= ROOM for band in bands)
    assert [band.last for band in bands] == [False] * (len(bands) - 1) + [True]
    assert min(band.width for band in bands[:-1]) > ROOM / 2


def test_the_moments_that_decide_are_marked() -> None:
    for one in of_drafts():
        found = lanes(one)
        commands = [place for place, step in enumerate(one.run.steps) if step.by.kind is StepKind.COMMAND]
        assert found.deciding == max(commands, default=-1)
        written = [text.words for text in page(one).texts]
        assert written.count("last command accepted") == bool(commands)
        assert found.ending in written
        if one.result.kind == "hazard":
            assert found.ending == f"{one.result.id} is met"
            assert found.because == f"So {one.result.id} is met: {' and '.join(one.result.spoken)}."


def test_a_step_that_fails_is_not_told_as_accepted() -> None:
    failing = [one for one in of_stored() if one.run.failure is not None and one.run.steps]
    assert failing
    for one in failing:
        found = lanes(one)
        assert found.deciding < len(one.run.steps) - 1
        assert "accepted" not in found.entries[-1].says
        assert found.because.startswith("This step ")


def test_text_is_at_least_7_points_high_in_print() -> None:
    for one in of_drafts():
        root = ET.fromstring(drawn(one))  # noqa: S314 - our own
        assert root.get("width") == "180mm"
        scale = 180 / PAGE
        assert {float(text.get("font-size", "")) for text in root.iter(f"{SVG}text")} <= {SIZE, 14.0}
        assert SIZE * scale / POINT_MM > 7


@pytest.mark.parametrize("prefix", ["", "run-7"])
def test_the_picture_stands_alone_or_in_a_page(prefix: str) -> None:
    for one in (*of_drafts(), *recorded_of(HOSTILE)):
        text = drawn(one, prefix)
        root = ET.fromstring(text)  # noqa: S314 - our own
        ids = [element.get("id", "") for element in root.iter() if element.get("id")]
        assert len(set(ids)) == len(ids) == 2
        assert all(name.startswith(prefix) for name in ids)
        assert root.get("role") == "img"
        assert (root.get("aria-labelledby") or "").split() == ids
        assert not list(root.iter(f"{SVG}style"))
        assert not list(root.iter(f"{SVG}script"))
        assert not re.search(r'(?:fill|stroke)="(?!currentColor|none|white)', text)
        assert (root.find(f"{SVG}rect") is None) is bool(prefix)
        assert text.startswith("<?xml") is not bool(prefix)
        assert text == drawn(one, prefix)


def test_hostile_names_are_text_and_told_in_full() -> None:
    (one, *_) = [one for one in recorded_of(HOSTILE) if one.result.id == "H1"]
    root = ET.fromstring(drawn(one))  # noqa: S314 - our own
    title, desc = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None
    assert title.text == "H1: <!-- & -->"
    assert desc is not None
    assert "</svg><script>alert('x')</script>" in (desc.text or "")
    said = "".join(text.text or "" for text in root.iter(f"{SVG}text"))
    assert "b" * 60 in said
    assert "In full: " in said
    tooltips = {tip.text for text in root.iter(f"{SVG}text") for tip in text}
    assert "b" * 190 in tooltips


def test_a_run_without_a_step() -> None:
    at_once = "machine: At once\nparts: {p: [a, b], q: [c, d]}\nhazards: {H1: {must not be: p = a}}\n"
    (one,) = [one for one in recorded_of(at_once) if one.result.id == "H1"]
    assert not one.run.steps
    written = [text.words for text in page(one).texts]
    assert "So H1 is met: p is a." in written
    assert "Unchanged: p a; q c." in written
    assert svg_of_page(page(one)).endswith("</svg>\n")


def test_times_below_are_those_of_the_run() -> None:
    for one in of_drafts():
        written = {text.words for text in page(one).texts}
        words = Vocabulary.of(one.model)
        ticks = 0
        for step in one.run.steps:
            ticks += step.ticks
            assert f"at {words.duration(ticks)}" in written
            if step.ticks:
                assert words.duration(step.ticks) in written
        assert Fraction(ticks) == one.run.tick_count
