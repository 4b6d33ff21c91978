"""Step charts: what stands in squares, beside bars and above; pages that can be read on paper; names that nobody expects."""

from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from seqcheck.analyse.automatic.automatic import automatic_sequences
from seqcheck.analyse.procedures.seen import seen_in_procedures
from seqcheck.draw.drawing import About, Drawing, Shape
from seqcheck.draw.render import svg_of
from seqcheck.draw.step_chart import procedure_charts
from seqcheck.draw.step_chart_automatic import automatic_charts
from seqcheck.model.model import Model
from seqcheck.report.narrate import Vocabulary
from seqcheck.search.engine import Limits
from seqcheck.search.engines import engine
from tests.analyse.asking import model_of, silent

SEQUENCES = Path(__file__).parents[2] / "sequences"
ABOUT = About(machine="M", revision="A", file="m.yaml", sha256="0" * 64)
MARGIN_MM, WIDTH_MM, HEIGHT_MM = 10, 210, 297
POINT_MM = 25.4 / 72

WASHER = """\
machine: Washer
parts: {lid: [shut, open], spray: [still, running]}
panel: {mode: [off, wash], door: [out, in]}
outputs: {pump: [off, on]}
memory: {asked: [no, yes]}
commands:
  wash: {permissives: {the lid is shut: lid_shut}, then: {pump: on}}
  ask: {then: {asked: yes}}
sensors: {lid_shut: lid = shut}
trips:
  heard: {when: asked = yes, then: {asked: no}}
plant:
  spray starts: {when: pump = on AND spray = still, after: 1..2 s, then: {spray: running}}
people:
  open the lid: {if: lid = shut AND pump = off, then: {lid: open}}
procedures:
  first:
    steps: [{wait: 2 s}, ask, {set: {mode: wash, door: in}}, wash, {until: spray = running}, {wait: 3 s}, {until: lid = shut}]
    ends with: pump = on AND spray = running
  second:
    after: first
    steps: [open the lid]
"""


def procedures(text: str) -> tuple[Drawing, ...]:
    model = model_of(text)
    seen = seen_in_procedures(model, Limits(), silent)
    return procedure_charts(model, seen, Vocabulary.of(model), ABOUT, lambda name: f"m.{name}.svg")


def automatic(text: str) -> tuple[Model, tuple[Drawing, ...]]:
    model = model_of(text)
    found = automatic_sequences(model, engine("symbolic"), Limits(), silent)
    return model, automatic_charts(found, model, Vocabulary.of(model), ABOUT)


def texts(drawing: Drawing, shape: Shape) -> list[str]:
    return [" | ".join(node.lines) for node in drawing.nodes if node.shape is shape]


def test_steps_have_the_numbers_of_the_written_procedure_and_waits_are_conditions() -> None:
    first, _ = procedures(WASHER)
    assert texts(first, Shape.SQUARE) == ["0", "2", "3", "4", "6", "7"]
    assert [node.id for node in first.nodes if node.doubled] == ["s0"]
    assert texts(first, Shape.BOX) == ["command: ask", "panel: mode to wash | panel: door to in", "command: wash"]
    conditions = [" | ".join(node.lines) for node in first.nodes if node.id.startswith("c")]
    assert conditions == [
        "(1) 2 s / X0",
        "done",
        "mode is wash | door is in",
        "(5) spray is running",
        "3 s / X6",
        "lid is shut | at the end: pump is on and | spray is running",
    ]
    assert all(shape == Shape.BAR for shape in (node.shape for node in first.nodes if node.id.startswith("t")))


def test_an_effect_that_does_not_last_is_not_waited_for() -> None:
    """The trip takes `asked` back at once: whoever waited to see it would wait for ever."""
    first, _ = procedures(WASHER)
    assert not any("asked" in line for node in first.nodes for line in node.lines)


def test_a_procedure_leads_to_those_that_begin_after_it() -> None:
    first, second = procedures(WASHER)
    assert "end; “second” may follow" in texts(first, Shape.TEXT)
    into = next(node for node in second.nodes if node.id == "into")
    assert (" ".join(into.lines), into.link) == ("from the end of “first”", "m.steps.first.svg")
    assert any("does not work as written" in note for note in second.notes)
    assert first.notes == ()


def test_a_limit_leaves_it_open_whether_a_procedure_works() -> None:
    model = model_of(WASHER)
    seen = seen_in_procedures(model, Limits(states=1, seconds=0.0), silent)
    charts = procedure_charts(model, seen, Vocabulary.of(model), ABOUT)
    assert all(one.works is None for one in seen) == all("not decided" in note for chart in charts for note in chart.notes)


def test_a_long_procedure_goes_on_in_columns_and_on_pages() -> None:
    steps = ", ".join(["ask", "{set: {mode: wash}}", "{set: {mode: off}}"] * 20)
    pages = procedures(WASHER.split("procedures:", maxsplit=1)[0] + f"procedures:\n  long: {{steps: [{steps}]}}\n")
    assert len(pages) > 1
    numbers = [number for page in pages for number in texts(page, Shape.SQUARE)]
    assert numbers == [str(number) for number in range(61)]
    assert max(len(page.clusters) for page in pages) > 1
    for page in pages:
        assert fits(svg_of(page)), page.title
    references = [text for page in pages for text in texts(page, Shape.TEXT) if " step" in text]
    assert len(references) == 2 * (sum(len(page.clusters) for page in pages) - 1)


def test_branches_meet_again_and_what_leads_back_is_a_reference() -> None:
    _, charts = automatic((SEQUENCES / "burner.yaml").read_text(encoding="utf-8"))
    lighting = [chart for chart in charts if "light the burner" in chart.title]
    texts_ = [text for chart in lighting for text in texts(chart, Shape.TEXT)]
    assert any(text.startswith("to step ") for text in texts_)
    assert any(text.startswith("from step") for text in texts_)
    assert any(node.shape is Shape.POINT for chart in lighting for node in chart.nodes)


@pytest.mark.parametrize("name", ["separator", "burner_draft", "steam_door", "two_hand_press_draft"])
def test_every_chart_can_be_read_on_paper(name: str) -> None:
    text = (SEQUENCES / f"{name}.yaml").read_text(encoding="utf-8")
    charts = (*procedures(text), *automatic(text)[1])
    assert charts
    assert len({chart.name for chart in charts}) == len(charts)
    for chart in charts:
        assert fits(svg_of(chart)), chart.title


def fits(svg: str) -> bool:
    """Tell whether text of 10 points is printed at 7 points or more on A4, margins of 10 mm left free."""
    root = ET.fromstring(svg)  # noqa: S314 - our own picture
    width, height = (float(root.attrib[side].removesuffix("pt")) * POINT_MM for side in ("width", "height"))
    smaller = min((WIDTH_MM - 2 * MARGIN_MM) / width, (HEIGHT_MM - 2 * MARGIN_MM) / height)
    return smaller >= 0.7


def test_names_that_nobody_expects_are_text() -> None:
    name = r'<b>&amp;\N{x}|\l"' + "ש" + "x" * 150
    quoted = '"' + name.replace("\\", "\\\\").replace('"', '\\"') + '"'
    text = WASHER.replace("  wash:", f"  {quoted}:").replace("wash, {until", f"{quoted}, {{until")
    first, _ = procedures(text)
    root = ET.fromstring(svg_of(first))  # noqa: S314
    shown = "".join("".join(one.itertext()) for one in root.iter() if one.tag.endswith("text"))
    assert r'<b>&amp;\N{x}|\l"' in shown.replace("\n", "").replace(" ", "")
    _, charts = automatic(text)
    assert charts
    for chart in charts:
        assert ET.fromstring(svg_of(chart)) is not None  # noqa: S314
