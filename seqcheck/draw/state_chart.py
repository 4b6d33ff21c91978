"""State charts: what leads from state to state, and what is refused there, dashed, with the permissive that refuses it.

Where that would be too much for a sheet of paper, what is refused is drawn on pages of its own.
"""

from collections.abc import Iterator, Sequence

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.charting import Chart, Charts, Refusal
from seqcheck.analyse.mapping.records import Passage, Situation, Taken
from seqcheck.draw.drawing import About, Arrow, Drawing, Edge, Line, Node, Shape
from seqcheck.draw.labels import shortened, wrapped
from seqcheck.draw.naming import slugs
from seqcheck.draw.state_chart_refused import REFUSED, Refused, reasons, refused_pages, said, title_of_refused
from seqcheck.model.run import StepKind
from seqcheck.report.lines import counted
from seqcheck.report.narrate import Vocabulary, shown

MOST_NAMES = 4
"""Steps named on one arrow; the others are counted, and stand in the tooltip."""

MOST_REASONS = 5
"""Reasons named beside one state of a part; the machine's chart has one less, pages of what is refused have more."""

MOST_ON_PAGES = 10

MOST_CROSSED = 5
"""Dashed arrows that lead to other states; more of them nobody could follow."""

MOST_LINES = 50
"""Lines beside states and arrows that one sheet of A4 holds. Where there are more, what is refused has pages of its own."""

MACHINE = "machine"
WIDTH = 20
"""Characters on a line beside an arrow."""

GAPS = (0.12, 0.4)
LEGEND = (
    "Rounded: a state; an arrow from a dot leads to the first. Solid arrow: what leads on.",
    "“Sometimes”: in some of these states only.",
)
WHO = "“By hand”: what a person does."
BY = {StepKind.PERSON: "by hand", StepKind.PLANT: "by itself", StepKind.FAULT: "fault"}


def part_charts(charts: Charts, words: Vocabulary, about: About) -> tuple[Drawing, ...]:
    """Return a chart for each part, output and memory."""
    names = slugs([MACHINE, *(chart.what for chart in charts.things)])[1:]
    pairs = zip(charts.things, names, strict=True)
    return tuple(one for chart, name in pairs for one in _Picture(chart, words).drawings(f"states.{name}", about))


def machine_charts(charts: Charts, words: Vocabulary, about: About) -> tuple[Drawing, ...]:
    """Return the chart of the whole machine, if there is one: commands only, as its controller takes or refuses them."""
    if charts.machine is None:
        return ()
    return tuple(_Picture(charts.machine, words).drawings(f"states.{MACHINE}", about))


class _Told(Struct, frozen=True, kw_only=True):
    """What leads on: its name, *by* whom, and whether it is accepted in some states only."""

    text: str
    by: str = ""
    sometimes: bool = False


class _Picture:
    """Draws one chart."""

    def __init__(self, chart: Chart, words: Vocabulary) -> None:
        self._chart, self._words = chart, words
        self._is_machine = chart.kind == "machine"
        self._nodes: list[Node] = []
        self._edges: list[Edge] = []
        self._dashed: list[Edge] = []
        self._refused: list[Refused] = []
        self._crowded = self._parted = False

    def drawings(self, name: str, about: About) -> Iterator[Drawing]:
        """Yield the drawing, then the pages of what is refused, if it is not shown on the first."""
        mapped = self._chart.map
        for number, situation in enumerate(mapped.situations):
            self._add_situation(number, situation)
        self._edges += [self._passage(passage) for passage in mapped.passages]
        told = [self._worth_telling(number, refusals) for number, refusals in enumerate(self._chart.refusals)]
        self._crowded = sum(len({one.would for one in some}) for some in told) > MOST_CROSSED and not self._is_machine
        self._refuse(told)
        lines = sum(len(edge.lines) for edge in (*self._edges, *self._dashed))
        lines += sum(len(one.note.lines) for one in self._refused)
        if any(told) and lines > MOST_LINES:
            self._parted = True
            self._refuse(told)
        title = f"States of the machine: {about.machine}" if self._is_machine else f"States of {self._chart.what}"
        base = Drawing(name=name, title=title, about=about, nodes=(), edges=(), notes=tuple(self._notes()), gaps=GAPS)
        yield self._whole(base)
        if self._parted:
            yield from refused_pages(self._refused, len(mapped.situations), base)

    def _whole(self, base: Drawing) -> Drawing:
        """Return the drawing of all states, with what is refused there unless that has pages of its own."""
        nodes, edges = tuple(self._nodes), tuple(self._edges)
        if self._parted:
            legend, elsewhere = (*LEGEND, WHO), f"What is refused has a picture of its own: “{title_of_refused(base)}”."
            return replace(base, nodes=nodes, edges=edges, legend=legend, notes=(*base.notes, elsewhere))
        if not self._dashed and not self._refused:
            return replace(base, nodes=nodes, edges=edges, legend=(*LEGEND, WHO))
        return replace(
            base,
            nodes=(*nodes, *(one.note for one in self._refused)),
            edges=(*edges, *self._dashed, *(one.edge for one in self._refused)),
            legend=(*LEGEND, *REFUSED),
        )

    def _notes(self) -> Iterator[str]:
        mapped = self._chart.map
        if self._is_machine:
            axes = ", ".join(axis.spoken for axis in mapped.axes)
            yield f"One state for each combination of: {axes}. {mapped.why[:1].upper()}{mapped.why[1:]}."
        if self._crowded and not self._parted:
            yield "What is refused is named beside each state, not led to another: there would be too many arrows to follow."
        if mapped.stopped is not None:
            yield f"Not all states were searched ({mapped.stopped.value}): what is refused here may be accepted in others."

    def _add_situation(self, number: int, situation: Situation) -> None:
        lines = [line for value in situation.values for line in wrapped(shown(value), 22, 2)]
        if self._is_machine:
            told = (
                f"{axis.spoken}: {shown(value)}" for axis, value in zip(self._chart.map.axes, situation.values, strict=True)
            )
            lines = [line for text in told for line in wrapped(text, WIDTH + 4, 2)]
        hazards = ", ".join(met.id for met in situation.hazards)
        lines += wrapped(f"hazard met: {hazards}", WIDTH + 2, 2) if hazards else ()
        tooltip = f"{counted(situation.states, 'reachable state')}"
        id_ = f"s{number}"
        self._nodes.append(Node(id=id_, lines=tuple(lines), shape=Shape.ROUNDED, doubled=bool(hazards), tooltip=tooltip))
        if situation.starts:
            self._nodes.append(Node(id=f"b{number}", lines=(), shape=Shape.POINT, tooltip="here it starts"))
            self._edges.append(Edge(tail=f"b{number}", head=id_, tooltip="here it starts"))

    def _passage(self, passage: Passage) -> Edge:
        sometimes = self._chart.sometimes[passage.tail]
        told = [self._told(taken, sometimes=taken.name in sometimes) for taken in passage.taken]
        most = WIDTH * (3 if len(told) == 1 else 2)
        briefly = [replace(one, text=shortened(one.text, most)) for one in told[:MOST_NAMES]]
        lines = [line for text in _gathered(briefly) for line in wrapped(text, WIDTH, 4 * MOST_NAMES)]
        if len(told) > MOST_NAMES:
            lines.append(f"and {len(told) - MOST_NAMES} more")
        return Edge(
            tail=f"s{passage.tail}",
            head=f"s{passage.head}",
            lines=tuple(lines),
            tooltip="; ".join(text for one in told for text in _gathered([one])),
        )

    def _told(self, taken: Taken, *, sometimes: bool) -> _Told:
        if taken.kind is StepKind.WAIT:
            return _Told(text="time passes")
        if taken.kind is StepKind.PANEL:
            return _Told(text=f"{self._words.name(taken.name)} to {shown(taken.to if taken.to is not None else '')}")
        return _Told(text=taken.name, by=BY.get(taken.kind, ""), sometimes=sometimes)

    def _worth_telling(self, number: int, refusals: Sequence[Refusal]) -> list[Refusal]:
        """Return the refusals that are shown: not of what would change nothing; for the machine, of commands."""
        own = self._chart.map.situations[number].values[0]
        return [one for one in refusals if (one.kind is StepKind.COMMAND if self._is_machine else one.would != own)]

    def _refuse(self, told: Sequence[Sequence[Refusal]]) -> None:
        """Add anew what is refused."""
        self._dashed, self._refused = [], []
        for number, refusals in enumerate(told):
            self._add_refusals(number, refusals)

    def _add_refusals(self, number: int, refusals: Sequence[Refusal]) -> None:
        places = {situation.values[0]: place for place, situation in enumerate(self._chart.map.situations)}
        leading: dict[int, list[Refusal]] = {}
        staying: list[Refusal] = []
        for one in refusals:
            if one.would in places and not self._is_machine and not self._crowded and not self._parted:
                leading.setdefault(places[one.would], []).append(one)
            else:
                staying.append(one)
        for head, group in leading.items():
            lines, tooltip = tuple(reasons(group, MOST_REASONS, WIDTH + 4)), "; ".join(map(said, group))
            looks = Edge(tail=f"s{number}", head=f"s{head}", line=Line.DASHED, arrow=Arrow.CROSSBAR, tooltip=tooltip)
            self._dashed.append(replace(looks, lines=lines))
        if staying:
            state = next(node for node in self._nodes if node.id == f"s{number}")
            most = MOST_ON_PAGES if self._parted else MOST_REASONS - self._is_machine
            self._refused.append(Refused.of(number, state, staying, most))


def _gathered(told: Sequence[_Told]) -> Iterator[str]:
    """Yield what leads on as text; by whom, and that it is sometimes accepted, said once for all that have it in common."""
    groups: dict[tuple[str, bool], list[str]] = {}
    for one in told:
        groups.setdefault((one.by, one.sometimes), []).append(one.text)
    for (by, sometimes), texts in groups.items():
        if len(texts) > 1 and (by or sometimes):
            yield f"{', '.join(filter(None, (by, 'sometimes' if sometimes else '')))}: {'; '.join(texts)}"
        else:
            yield from (f"{by}{': ' if by else ''}{text}{' (sometimes)' if sometimes else ''}" for text in texts)
