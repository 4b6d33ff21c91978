"""State charts as pictures: solid what leads on, dashed what is refused with the permissive that refuses it."""

from seqcheck.analyse.charting import Charts, state_charts
from seqcheck.draw.drawing import About, Drawing, Line
from seqcheck.draw.state_chart import machine_chart, part_charts
from seqcheck.model.model import Model
from seqcheck.report.narrate import Vocabulary
from seqcheck.search.engine import Limits
from tests.analyse.asking import model_of, silent
from tests.analyse.test_locking import DOOR

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
    many = 8
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
    drawing = machine_chart(charts, Vocabulary.of(model), ABOUT)
    assert drawing is not None
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
    drawing = machine_chart(charts, Vocabulary.of(model), ABOUT)
    assert drawing is not None
    assert [(" ".join(node.lines), node.doubled) for node in drawing.nodes if "hazard" in " ".join(node.lines)] == [
        ("door: open drive: on hazard met: H1", True)
    ]
