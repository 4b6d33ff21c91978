"""State charts: what leads from state to state, and what is refused there, dashed, with the permissive that refuses it."""

from collections.abc import Iterator, Sequence

from seqcheck.analyse.charting import Chart, Charts, Refusal
from seqcheck.analyse.mapping.records import Passage, Situation, Taken
from seqcheck.draw.drawing import About, Arrow, Drawing, Edge, Line, Node, Shape
from seqcheck.draw.labels import wrapped
from seqcheck.draw.naming import slugs
from seqcheck.model.run import StepKind
from seqcheck.report.lines import counted
from seqcheck.report.narrate import Vocabulary, shown

MOST_NAMES = 4
"""Steps named on one arrow; the others are counted, and stand in the tooltip."""

MOST_REASONS = 5
"""Reasons named beside one state of a part; the machine's chart has one less."""

MOST_CROSSED = 40
"""Dashed arrows that lead to other states; more of them nobody could follow, nor could a renderer lay them out in time."""

MACHINE = "machine"
WIDTH = 26
LEGEND = (
    "Rounded: a state; an arrow from a dot leads to the first. Solid arrow: what leads on.",
    "“Sometimes”: in some of these states only.",
    "Dashed: what is refused in every one of these states, and what refuses it.",
    "“By hand”: what a person does, and what then stands in the way.",
)
BY = {StepKind.PERSON: "by hand: ", StepKind.PLANT: "by itself: ", StepKind.FAULT: "fault: "}


def part_charts(charts: Charts, words: Vocabulary, about: About) -> tuple[Drawing, ...]:
    """Return a chart for each part, output and memory."""
    names = slugs([MACHINE, *(chart.what for chart in charts.things)])[1:]
    pairs = zip(charts.things, names, strict=True)
    return tuple(_Picture(chart, words).drawing(f"states.{name}", about) for chart, name in pairs)


def machine_chart(charts: Charts, words: Vocabulary, about: About) -> Drawing | None:
    """Return the chart of the whole machine, if there is one: commands only, as its controller takes or refuses them."""
    return None if charts.machine is None else _Picture(charts.machine, words).drawing(f"states.{MACHINE}", about)


class _Picture:
    """Draws one chart."""

    def __init__(self, chart: Chart, words: Vocabulary) -> None:
        self._chart, self._words = chart, words
        self._is_machine = chart.kind == "machine"
        self._nodes: list[Node] = []
        self._edges: list[Edge] = []
        self._crowded = False

    def drawing(self, name: str, about: About) -> Drawing:
        """Return the drawing."""
        mapped = self._chart.map
        for number, situation in enumerate(mapped.situations):
            self._add_situation(number, situation)
        self._edges += [self._passage(passage) for passage in mapped.passages]
        told = [self._worth_telling(number, refusals) for number, refusals in enumerate(self._chart.refusals)]
        self._crowded = sum(len({one.would for one in some}) for some in told) > MOST_CROSSED and not self._is_machine
        for number, refusals in enumerate(told):
            self._add_refusals(number, refusals)
        return Drawing(
            name=name,
            title=f"States of the machine: {about.machine}" if self._is_machine else f"States of {self._chart.what}",
            about=about,
            nodes=tuple(self._nodes),
            edges=tuple(self._edges),
            legend=LEGEND,
            notes=tuple(self._notes()),
            gaps=(0.15, 0.4),
        )

    def _notes(self) -> Iterator[str]:
        mapped = self._chart.map
        if self._is_machine:
            axes = ", ".join(axis.spoken for axis in mapped.axes)
            yield f"One state for each combination of: {axes}. {mapped.why[:1].upper()}{mapped.why[1:]}."
        if self._crowded:
            yield "What is refused is named beside each state, not led to another: there would be too many arrows to follow."
        if mapped.stopped is not None:
            yield f"Not all states were searched ({mapped.stopped.value}): what is refused here may be accepted in others."

    def _add_situation(self, number: int, situation: Situation) -> None:
        lines = [line for value in situation.values for line in wrapped(shown(value), 22, 2)]
        if self._is_machine:
            told = (
                f"{axis.spoken}: {shown(value)}" for axis, value in zip(self._chart.map.axes, situation.values, strict=True)
            )
            lines = [line for text in told for line in wrapped(text, WIDTH + 8, 2)]
        hazards = ", ".join(met.id for met in situation.hazards)
        lines += wrapped(f"hazard met: {hazards}", WIDTH, 2) if hazards else ()
        tooltip = f"{counted(situation.states, 'reachable state')}"
        id_ = f"s{number}"
        self._nodes.append(Node(id=id_, lines=tuple(lines), shape=Shape.ROUNDED, doubled=bool(hazards), tooltip=tooltip))
        if situation.starts:
            self._nodes.append(Node(id=f"b{number}", lines=(), shape=Shape.POINT, tooltip="here it starts"))
            self._edges.append(Edge(tail=f"b{number}", head=id_, tooltip="here it starts"))

    def _passage(self, passage: Passage) -> Edge:
        sometimes = self._chart.sometimes[passage.tail]
        told = [self._told(taken, sometimes=taken.name in sometimes) for taken in passage.taken]
        lines = [line for text in told[:MOST_NAMES] for line in wrapped(text, WIDTH, 3)]
        if len(told) > MOST_NAMES:
            lines.append(f"and {len(told) - MOST_NAMES} more")
        return Edge(tail=f"s{passage.tail}", head=f"s{passage.head}", lines=tuple(lines), tooltip="; ".join(told))

    def _told(self, taken: Taken, *, sometimes: bool) -> str:
        if taken.kind is StepKind.WAIT:
            return "time passes"
        if taken.kind is StepKind.PANEL:
            return f"{self._words.name(taken.name)} to {shown(taken.to if taken.to is not None else '')}"
        return f"{BY.get(taken.kind, '')}{taken.name}" + (" (sometimes)" if sometimes else "")

    def _worth_telling(self, number: int, refusals: Sequence[Refusal]) -> list[Refusal]:
        """Return the refusals that are shown: not of what would change nothing; for the machine, of commands."""
        own = self._chart.map.situations[number].values[0]
        return [one for one in refusals if (one.kind is StepKind.COMMAND if self._is_machine else one.would != own)]

    def _add_refusals(self, number: int, refusals: Sequence[Refusal]) -> None:
        places = {situation.values[0]: place for place, situation in enumerate(self._chart.map.situations)}
        leading: dict[int, list[Refusal]] = {}
        staying: list[Refusal] = []
        for one in refusals:
            if one.would in places and not self._is_machine and not self._crowded:
                leading.setdefault(places[one.would], []).append(one)
            else:
                staying.append(one)
        for head, group in leading.items():
            lines = tuple(_reasons(group, MOST_REASONS))
            said = "; ".join(map(_said, group))
            self._edges.append(
                Edge(tail=f"s{number}", head=f"s{head}", lines=lines, line=Line.DASHED, arrow=Arrow.CROSSBAR, tooltip=said)
            )
        if staying:
            self._add_note(number, staying)

    def _add_note(self, number: int, staying: Sequence[Refusal]) -> None:
        """Add what is refused without leading to another state of the chart."""
        lines = ("refused here:", *_reasons(staying, MOST_REASONS - self._is_machine))
        id_, said = f"r{number}", "; ".join(map(_said, staying))
        self._nodes.append(Node(id=id_, lines=lines, left=True, line=Line.DASHED, tooltip=said))
        self._edges.append(Edge(tail=f"s{number}", head=id_, line=Line.DASHED, arrow=Arrow.CROSSBAR, weight=4, tooltip=said))


def _reasons(refusals: Sequence[Refusal], most: int) -> Iterator[str]:
    """Yield what is refused, for each reason its steps, then the reason."""
    by_reason: dict[tuple[tuple[str, ...], bool], list[Refusal]] = {}
    for one in refusals:
        by_reason.setdefault((one.by, one.alone), []).append(one)
    for (by, alone), group in list(by_reason.items())[:most]:
        names = ", ".join(f"{BY.get(one.kind, '')}{one.name}" for one in group[:3])
        more = f" and {len(group) - 3} more" if len(group) > 3 else ""
        yield from wrapped(names + more, WIDTH + 6, 4)
        for line in wrapped(f"by: {(' and ' if alone else ' or ').join(by)}", WIDTH + 4, 3):
            yield f"   {line}"
    if len(by_reason) > most:
        yield f"and {len(by_reason) - most} more reasons"


def _said(one: Refusal) -> str:
    return f"{one.name} (line {one.line}) is refused by {(' and ' if one.alone else ' or ').join(one.by)}"
