"""State charts as pictures: solid what leads on, dashed what is refused with the permissive that refuses it."""

import re
from functools import cache

import msgspec
import pytest

from seqcheck.analyse.charting import Charts, state_charts
from seqcheck.draw.dot import dot_of
from seqcheck.draw.drawing import About, Drawing, Line
from seqcheck.draw.render import svg_of
from seqcheck.draw.state_chart import machine_charts, part_charts
from seqcheck.model.model import Model
from seqcheck.model.run import StepKind
from seqcheck.report.narrate import Vocabulary
from seqcheck.search.engine import Limits
from tests.analyse.asking import model_of, silent
from tests.analyse.test_locking import DOOR
from tests.draw.test_situation_map import NAMES, printed_points, text_of

ABOUT = About(machine="A door with a bolt", revision="A", file="door.yaml", sha256="0" * 64)


def charted(text: str) -> tuple[Model, Charts]:
    model = model_of(text)
    return model, state_charts(model, Limits(), silent)


def picture(title: str) -> Drawing:
    model, charts = charted(DOOR)
    return next(one for one in part_charts(charts, Vocabulary.of(model), ABOUT) if one.title == title)


def arrows(drawing: Drawing) -> set[tuple[str, str, str, Line]]:
    said = {node.id: " ".join(node.lines) for node in drawing.nodes}
    return {(said[e.tail], said[e.head], " ".join(" ".join(e.lines).split()), e.line) for e in drawing.edges}


def test_allowed_is_solid_and_refused_is_dashed_with_its_permissive() -> None:
    assert arrows(picture("States of door")) == {
        ("", "shut", "", Line.SOLID),
        ("shut", "open", "by hand: open the door (sometimes)", Line.SOLID),
        ("open", "refused here: start    by: the door is shut", "", Line.DASHED),
    }


def test_a_refused_step_leads_where_it_would() -> None:
    text = DOOR.replace("drive: [off, on]", "drive: [off, slow, on]").replace(
        "commands:", "commands:\n  creep: {permissives: {the drive is off: drive = off}, then: {drive: slow}}"
    )
    model, charts = charted(text)
    drawing = next(one for one in part_charts(charts, Vocabulary.of(model), ABOUT) if one.title == "States of drive")
    assert ("on", "slow", "creep by: the drive is off", Line.DASHED) in arrows(drawing)
    assert ("off", "slow", "creep", Line.SOLID) in arrows(drawing)
    assert ("slow", "on", "start (sometimes)", Line.SOLID) in arrows(drawing)


def test_where_too_much_is_refused_it_is_named_beside_each_state() -> None:
    many = 4
    states, turns = ", ".join(f"s{n}" for n in range(many)), ""
    for n in range(many):
        turns += f"  to {n}: {{if: p = s{(n - 1) % many}, then: {{p: s{n}}}}}\n"
    model, charts = charted(f"machine: Ring\nparts: {{p: [{states}]}}\npeople:\n{turns}")
    (drawing,) = part_charts(charts, Vocabulary.of(model), ABOUT)
    dashed = [edge for edge in drawing.edges if edge.line is Line.DASHED]
    assert [(edge.tail, edge.head) for edge in dashed] == [(f"s{n}", f"r{n}") for n in range(many)]
    assert all(said.count("to ") == many - 2 for said in (edge.tooltip.replace("(", "") for edge in dashed))
    assert any("named beside each state" in note for note in drawing.notes)


def test_the_machine_is_charted_by_what_hazards_read() -> None:
    model, charts = charted(DOOR)
    (drawing,) = machine_charts(charts, Vocabulary.of(model), ABOUT)
    assert any("door" in note and "drive" in note and "H1" in note for note in drawing.notes)
    assert (
        "door: open drive: off key: in",
        "refused here: start    by: the door is shut",
        "",
        Line.DASHED,
    ) in arrows(drawing)


def test_a_hazard_is_said_in_words() -> None:
    text = DOOR.replace("  the door opens: {when: NOT door_shut,", "  the door opens: {when: NOT door_shut AND key = out,")
    model, charts = charted(text)
    (drawing,) = machine_charts(charts, Vocabulary.of(model), ABOUT)
    assert [(" ".join(node.lines), node.doubled) for node in drawing.nodes if "hazard" in " ".join(node.lines)] == [
        ("door: open drive: on hazard met: H1", True)
    ]


@cache
def drawn(name: str) -> tuple[Drawing, ...]:
    return drawings_of(text_of(name))


def drawings_of(text: str) -> tuple[Drawing, ...]:
    model, charts = charted(text)
    words = Vocabulary.of(model)
    return (*machine_charts(charts, words, ABOUT), *part_charts(charts, words, ABOUT))


@pytest.mark.parametrize("name", NAMES)
def test_every_chart_can_be_read_on_a4(name: str) -> None:
    for drawing in drawn(name):
        assert printed_points(svg_of(drawing)) >= 7, drawing.title


@pytest.mark.parametrize("name", NAMES)
def test_everything_refused_is_on_one_of_the_pictures(name: str) -> None:
    model, charts = charted(text_of(name))
    words = Vocabulary.of(model)
    for chart in (charts.machine, *charts.things):
        assert chart is not None
        own = [situation.values[0] for situation in chart.map.situations]
        asked = {
            (f"s{n}", f"{one.name} (line {one.line}) is refused by ")
            for n, some in enumerate(chart.refusals)
            for one in some
            if (one.kind is StepKind.COMMAND if chart.kind == "machine" else one.would != own[n])
        }
        alone = Charts(
            machine=chart if chart.kind == "machine" else None,
            things=() if chart.kind == "machine" else (chart,),
            stopped=None,
        )
        pictures = (*machine_charts(alone, words, ABOUT), *part_charts(alone, words, ABOUT))
        dashed = [edge for one in pictures for edge in one.edges if edge.line is Line.DASHED]
        told = {(edge.tail, f"{said} is refused by ") for edge in dashed for said in NAMED.findall(edge.tooltip)}
        assert told == asked, chart.what


NAMED = re.compile(r"(?:^|; )((?:(?!; ).)*? \(line \d+\)) is refused by ")


def test_where_a_sheet_would_not_hold_it_what_is_refused_has_pages_of_its_own() -> None:
    whole, refused = (one for one in drawn("separator") if one.name.startswith("states.machine") and "reset" not in one.name)
    assert (whole.name, refused.name) == ("states.machine", "states.machine.refused")
    assert not [edge for edge in whole.edges if edge.line is Line.DASHED]
    assert any(refused.title in note for note in whole.notes)
    assert {edge.line for edge in refused.edges} == {Line.DASHED, Line.HIDDEN}
    lists = {" ".join(" ".join(node.lines).split()) for node in refused.nodes if node.line is Line.DASHED}
    assert any("release the cover by: the rotor has stood still for 5 seconds" in text for text in lists)
    assert any("missing here" in note for one in drawn("burner") if one.name.endswith(".refused") for note in one.notes)
    states = {node.id: node.lines for node in whole.nodes}
    assert all(states[node.id] == node.lines for node in refused.nodes if node.id in states)


def many_refused(states: int, commands: int) -> str:
    """Return a machine with commands that are accepted in the last state only, each for a reason of its own."""
    text = f"machine: Many\nparts: {{p: [{', '.join(f's{n}' for n in range(states))}]}}\noutputs: {{q: [a, b]}}\n"
    text += f"sensors: {{at_end: p = s{states - 1}}}\ncommands:\n"
    for n in range(commands):
        reason = f"reason {n} that takes some words to be said in full"
        text += f"  command {n}: {{permissives: {{{reason}: at_end}}, then: {{q: b}}}}\n"
    return text + "people:\n" + "".join(f"  go {n}: {{if: p = s{n}, then: {{p: s{n + 1}}}}}\n" for n in range(states - 1))


def test_pages_hold_so_much_that_they_can_be_read() -> None:
    drawings = [one for one in drawings_of(many_refused(13, 7)) if one.title.startswith("What is refused")]
    assert [one.name for one in drawings] == [f"states.p.refused.{n}" for n in range(1, len(drawings) + 1)]
    assert len(drawings) > 1
    listed = [node.id for one in drawings for node in one.nodes if node.line is Line.DASHED]
    assert listed == [f"r{n}" for n in range(13)]
    assert all(printed_points(svg_of(one)) >= 7 for one in drawings)
    assert not any("missing here" in note for one in drawings for note in one.notes)
    assert f"(page 1 of {len(drawings)})" in drawings[0].title


def test_what_several_steps_have_in_common_is_said_once() -> None:
    edges = [edge for one in drawn("two_hand_press_draft") if one.name == "states.machine" for edge in one.edges]
    labels = {" ".join(edge.lines) for edge in edges}
    assert "by hand, sometimes: left hand presses its button; right hand presses its button" in labels
    assert any("by hand: left hand presses its button (sometimes); by hand: right" in edge.tooltip for edge in edges)


LONG = 300


@pytest.mark.parametrize("name", ["two_hand_press_draft", "burner"])
@pytest.mark.parametrize("long", ["x" * LONG, "\u05d0\u05d1 " * (LONG // 3), "W" * LONG, "\u202e" + "a" * LONG])
def test_names_that_are_far_too_long_are_cut(name: str, long: str) -> None:
    """Every name of a step and of a reason is replaced by a long one: the language has shorter ones, but these are records."""
    model, charts = charted(text_of(name))
    written = msgspec.json.decode(msgspec.json.encode(charts))
    hostile = msgspec.convert(lengthened(written, long), Charts)
    words = Vocabulary.of(model)
    drawings = (*machine_charts(hostile, words, ABOUT), *part_charts(hostile, words, ABOUT))
    assert any("…" in line for one in drawings for edge in one.edges for line in edge.lines)
    for one in drawings:
        labels = [*(node.lines for node in one.nodes), *(edge.lines for edge in one.edges)]
        assert all(len(line) <= 32 for lines in labels for line in lines)
        assert svg_of(one).count("<svg") == 1


def lengthened(record: object, long: str) -> object:
    """Return plain data in which all names of steps and of what refuses them begin as before, then go on for long."""
    if isinstance(record, list):
        return [lengthened(one, long) for one in record]
    if not isinstance(record, dict):
        return record
    told = {key: lengthened(value, long) for key, value in record.items()}
    if "name" in told:
        told["name"] = f"{record['name']} {long}"
    if "by" in told:
        told["by"] = [f"{one} {long}" for one in record["by"]]
    return told


def test_the_same_file_gives_the_same_bytes() -> None:
    assert [dot_of(one) for one in drawings_of(text_of("separator"))] == [dot_of(one) for one in drawn("separator")]
