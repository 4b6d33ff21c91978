"""Step charts of the written procedures. The records of a model in, drawings out.

An action of a procedure is a step; what is then seen of it is the condition of the transition. A wait or an `until` is the
condition after the step before it, or a step of its own in which nothing is done. Numbers are those of the written procedure.
"""

from collections.abc import Callable, Iterator, Sequence
from typing import TypeAlias, assert_never

from msgspec import Struct

from seqcheck.analyse.procedures.seen import Seen
from seqcheck.draw.drawing import About, Drawing
from seqcheck.draw.labels import wrapped
from seqcheck.draw.naming import slugs
from seqcheck.draw.step_chart_layout import Chart, Passage, Square
from seqcheck.draw.step_chart_pages import chart_drawings
from seqcheck.model.expression import Apply, Expression, Op
from seqcheck.model.model import Act, Model, Procedure, ProcedureStep, SetPanel, Until, Wait
from seqcheck.model.run import StepKind
from seqcheck.model.wording import spoken
from seqcheck.report.narrate import Vocabulary, shown

WIDTH = 30
"""Characters on a line of a box or beside a bar."""

Link: TypeAlias = Callable[[str], str]
"""Gives where a drawing with a name is to be found, or an empty text."""

WAITED = "10 s / X3: once 10 s have passed since step 3 began."
NUMBERED = "(4): the number of the written step that is this wait."
DONE, NOTHING_SEEN = "done", "Done: it has no effect that is always seen."


def no_link(_name: str) -> str:
    """Link to nothing."""
    return ""


def procedure_charts(
    model: Model, seen: Sequence[Seen], words: Vocabulary, about: About, link: Link = no_link
) -> tuple[Drawing, ...]:
    """Return the step charts of all procedures; *seen* is what `seen_in_procedures` gives."""
    names = [f"steps.{slug}" for slug in slugs([procedure.name for procedure in model.procedures])]
    drawn: list[Drawing] = []
    for number in range(len(model.procedures)):
        drawn += chart_drawings(Writer(model, words, number, seen[number]).chart(names, link), about)
    return tuple(drawn)


class Row(Struct):
    """A step of the chart: the *place* of the written step that is done in it, and that of the wait after it, if any."""

    place: int | None
    wait: int | None = None

    @property
    def number(self) -> int:
        """The number in the square."""
        return 0 if self.place is None else self.place + 1


def rows_of(steps: Sequence[ProcedureStep]) -> list[Row]:
    """Return the steps of a chart: the one before all others, every action, and waits that follow upon a wait."""
    rows = [Row(None)]
    for place, step in enumerate(steps):
        if not isinstance(step, Wait | Until):
            rows.append(Row(place))
        elif rows[-1].wait is None:
            rows[-1].wait = place
        else:
            rows.append(Row(place, place))
    return rows


class Writer:
    """Writes the chart of one procedure."""

    def __init__(self, model: Model, words: Vocabulary, number: int, seen: Seen) -> None:
        self._model = model
        self._words = words
        self._procedure: Procedure = model.procedures[number]
        self._seen = seen
        self._name = number

    def chart(self, names: Sequence[str], link: Link) -> Chart:
        """Return the chart; *names* are those of all procedures' drawings."""
        rows = rows_of(self._procedure.steps)
        after = self._procedure.after
        into = () if after is None else wrapped(f"from the end of “{self._model.procedures[after].name}”", WIDTH)
        return Chart(
            name=names[self._name],
            title=f"Procedure: {self._procedure.name}",
            squares=tuple(self._square(row) for row in rows),
            passages=tuple(self._passage(rows, number) for number in range(len(rows))),
            into=into,
            link="" if after is None else link(names[after]),
            legend=tuple(self._legend(rows)),
            notes=tuple(self._notes()),
        )

    def _legend(self, rows: Sequence[Row]) -> Iterator[str]:
        """Yield what is to be known to read the conditions that there are."""
        steps = self._procedure.steps
        if any(isinstance(step, Wait) for step in steps):
            yield WAITED
        if any(row.wait not in {None, row.place} for row in rows):
            yield NUMBERED
        if any(row.wait is None and row.place is not None and not self._seen.effects[row.place] for row in rows[:-1]):
            yield NOTHING_SEEN

    def _notes(self) -> Iterator[str]:
        if self._seen.works is False:
            yield "In this model the procedure does not work as written: seqcheck procedures tells why."
        elif self._seen.works is None:
            yield "Whether the procedure works as written was not decided: a limit was reached."

    # --- steps ---
    def _square(self, row: Row) -> Square:
        if row.place is None:
            comment = ("as the machine starts",) if self._procedure.after is None else ()
            return Square(number=0, comment=comment, tooltip=f"line {self._procedure.line}", initial=True)
        step = self._procedure.steps[row.place]
        actions = tuple(line for text in self._actions(step) for line in wrapped(text, WIDTH))
        return Square(number=row.number, actions=actions, tooltip="; ".join(self._told(step)))

    def _actions(self, step: ProcedureStep) -> Iterator[str]:
        """Yield what is done in a step of a procedure."""
        match step:
            case Act(step=number):
                kind = "command" if self._model.steps[number].kind is StepKind.COMMAND else "by hand"
                yield f"{kind}: {self._model.steps[number].name}"
            case SetPanel(steps=numbers):
                for number in numbers:
                    setting = self._model.steps[number]
                    yield f"panel: {self._words.name(setting.name)} to {shown(setting.to if setting.to is not None else '')}"
            case Wait() | Until():
                return
            case _:
                assert_never(step)

    def _told(self, step: ProcedureStep) -> Iterator[str]:
        """Yield what a reader may look up: what the step needs, and its line in the file."""
        if isinstance(step, Act):
            acting = self._model.steps[step.step]
            yield f"line {acting.line}"
            yield from (f"it needs: {guard.name or guard.text}" for guard in acting.guards)

    # --- transitions ---
    def _passage(self, rows: Sequence[Row], number: int) -> Passage:
        row, last = rows[number], number + 1 == len(rows)
        texts = list(self._condition(row))
        if last and self._procedure.ends_with is not None:
            ends_with = self._procedure.ends_with
            texts = [*(texts if row.wait is not None else []), f"at the end: {said(self._model, ends_with.test)}"]
        return Passage(
            tail=number,
            head=None if last else number + 1,
            lines=tuple(line for text in texts for line in wrapped(text, WIDTH, 6)),
            out=self._what_follows() if last else (),
            tooltip=self._looked_up(row),
        )

    def _condition(self, row: Row) -> Iterator[str]:
        if row.wait is None:
            yield from self._effects(row.place)
            return
        mark = "" if row.wait == row.place else f"({row.wait + 1}) "
        match self._procedure.steps[row.wait]:
            case Wait(ticks=ticks):
                yield f"{mark}{self._words.duration(ticks)} / X{row.number}"
            case Until(end=guard):
                yield f"{mark}{said(self._model, guard.test)}"

    def _effects(self, place: int | None) -> Iterator[str]:
        """Yield what is seen after an action."""
        if place is None:
            yield "begin"
            return
        seen = self._seen.effects[place]
        for variable, value in seen:
            yield f"{self._model.variables[variable].spoken} is {shown(self._model.variables[variable].shown(value))}"
        if not seen:
            yield DONE

    def _looked_up(self, row: Row) -> str:
        step = None if row.wait is None else self._procedure.steps[row.wait]
        return step.end.text if isinstance(step, Until) else ""

    def _what_follows(self) -> tuple[str, ...]:
        number = self._name
        following = [f"“{one.name}”" for one in self._model.procedures if one.after == number]
        if not following:
            return ("end",)
        return wrapped(f"end; {' or '.join(following)} may follow", WIDTH, 6)


def said(model: Model, test: Expression) -> str:
    """Say a condition in words, part by part where AND joins them."""
    if isinstance(test, Apply) and test.op is Op.AND:
        return " and ".join(said(model, part) for part in test.operands)
    return spoken(model, test)
