"""Step charts of the automatic sequences: what a machine does by itself after a command or a trip. Records in, drawings out.

A step is a situation, its box says what has changed; a transition is what happens by itself, and when.
"""

from collections.abc import Iterator

from seqcheck.analyse.automatic.records import Automatic, Happening, Sequence, Situation
from seqcheck.draw.drawing import About, Drawing
from seqcheck.draw.labels import shortened, wrapped
from seqcheck.draw.naming import slugs
from seqcheck.draw.step_chart import WIDTH
from seqcheck.draw.step_chart_layout import Chart, Passage, Square
from seqcheck.draw.step_chart_pages import chart_drawings
from seqcheck.model.model import Model
from seqcheck.model.run import Run, StepKind
from seqcheck.report.narrate import Vocabulary, listed, shown

MOST_SQUARES = 24
"""Situations that one chart shows."""

MOST_SHOWN = 12
"""Steps of the run to the first situation that are told."""

LEGEND = (
    "0: the situation in which it begins; then nobody acts. Times count from the step before.",
    "Where the line parts, one transition comes: which one is up to the timing of the machine.",
)


def automatic_charts(automatic: Automatic, model: Model, words: Vocabulary, about: About) -> tuple[Drawing, ...]:
    """Return the step charts of all automatic sequences."""
    subjects = [sequence.trip or model.steps[sequence.step].name for sequence in automatic.sequences]
    drawn: list[Drawing] = []
    for place, (sequence, name) in enumerate(zip(automatic.sequences, slugs(subjects), strict=True)):
        alike, before = subjects.count(subjects[place]), subjects[:place].count(subjects[place])
        which = f" ({before + 1} of {alike} ways)" if alike > 1 else ""
        drawn += chart_drawings(Writer(model, words, automatic, sequence).chart(f"automatic.{name}", which), about)
    return tuple(drawn)


class Writer:
    """Writes the chart of one sequence."""

    def __init__(self, model: Model, words: Vocabulary, automatic: Automatic, sequence: Sequence) -> None:
        self._model = model
        self._words = words
        self._shown = automatic.shown
        self._complete = automatic.complete
        self._sequence = sequence
        self._situations = sequence.situations[:MOST_SQUARES]

    def chart(self, name: str, which: str) -> Chart:
        """Return the chart; *which* tells it from others about the same."""
        first = Passage(tail=0, head=1, lines=tuple(self._cause()))
        return Chart(
            name=name,
            title=f"By itself after the {'trip' if self._sequence.trip else 'command'}: {self._about()}{which}",
            squares=(self._before(), *(self._square(number) for number in range(len(self._situations)))),
            passages=(first, *self._passages()),
            legend=LEGEND,
            notes=tuple(self._notes()),
        )

    def _about(self) -> str:
        return self._sequence.trip or self._model.steps[self._sequence.step].name

    def _cause(self) -> Iterator[str]:
        """Yield what sets it going."""
        step = self._model.steps[self._sequence.step]
        match step.kind:
            case StepKind.COMMAND:
                text = f"the command “{step.name}” is accepted"
            case StepKind.PANEL:
                text = f"panel: {self._words.name(step.name)} is set to {shown(step.to if step.to is not None else '')}"
            case _:
                text = f"by hand: {step.name}"
        yield from wrapped(text, WIDTH)
        yield from self._at_once(self._sequence.acted)

    @staticmethod
    def _at_once(names: tuple[str, ...], word: str = "at once: ") -> Iterator[str]:
        if names:
            yield from wrapped(word + listed([f"“{name}”" for name in names]), WIDTH, 5)

    # --- situations ---
    def _before(self) -> Square:
        """Return the step before: how all stands that changes later."""
        sequence = self._sequence
        moving = {
            number
            for number, value in enumerate(sequence.before)
            if any(situation.values[number] != value for situation in self._situations)
        }
        lines = tuple(line for number in sorted(moving) for line in self._stands(number, sequence.before[number]))
        return Square(number=0, comment=lines, initial=True, tooltip=self._way(sequence.run))

    def _square(self, number: int) -> Square:
        situation = self._situations[number]
        changed = sorted(self._changed(number))
        lines = [line for place in changed for line in self._stands(place, situation.values[place])]
        lines += [line for text in self._remarks(situation) for line in wrapped(text, WIDTH)]
        whole = "; ".join(line for place in range(len(self._shown)) for line in self._stands(place, situation.values[place]))
        return Square(number=number + 1, actions=tuple(lines), tooltip=whole)

    def _changed(self, number: int) -> set[int]:
        """Return what differs from a situation before, of those from which this one is come to."""
        now = self._situations[number].values
        before = [one.values for one in self._situations if any(happening.to == number for happening in one.happenings)]
        before += [self._sequence.before] if number == 0 else []
        return {place for values in before for place in range(len(now)) if values[place] != now[place]}

    def _stands(self, place: int, value: int) -> tuple[str, ...]:
        variable = self._model.variables[self._shown[place]]
        return wrapped(f"{shortened(variable.spoken, 2 * WIDTH)}: {shown(variable.shown(value))}", WIDTH, 4)

    @staticmethod
    def _remarks(situation: Situation) -> Iterator[str]:
        if situation.fails:
            yield "(something here can never be completed: see verify)"
        if situation.cut:
            yield "(not followed further)"
        elif situation.rests:
            yield "(it may also stay so)" if situation.happenings else "(it stays so)"

    # --- transitions ---
    def _passages(self) -> Iterator[Passage]:
        for number, situation in enumerate(self._situations):
            for happening in situation.happenings:
                within = happening.to < len(self._situations)
                yield Passage(
                    tail=number + 1,
                    head=happening.to + 1 if within else None,
                    lines=tuple(self._happens(happening)),
                    out=("not drawn",),
                )

    def _happens(self, happening: Happening) -> Iterator[str]:
        if happening.step is None:
            yield from self._at_once(happening.acted, "")
        else:
            yield from wrapped(self._model.steps[happening.step].name, WIDTH)
            yield from self._at_once(happening.acted)
        yield from wrapped(self._when(happening), WIDTH)

    def _when(self, happening: Happening) -> str:
        earliest = self._words.duration(happening.earliest)
        if happening.latest is None:
            return f"after {earliest} or more, or never" if happening.earliest else "at any time, or never"
        if happening.latest == happening.earliest:
            return f"after {earliest}" if happening.latest else "without any time passing"
        latest = self._words.duration(happening.latest)
        amount, *unit = earliest.split()
        return f"after {amount if not happening.earliest or latest.split()[1:] == unit else earliest} to {latest}"

    # --- what else is to be known ---
    def _notes(self) -> Iterator[str]:
        yield f"The shortest way to step 0: {self._way(self._sequence.run)}."
        left = len(self._sequence.situations) - len(self._situations)
        if left:
            yield f"{left} further situation{'s are' if left > 1 else ' is'} not drawn."
        if self._sequence.is_cut:
            yield "There are too many situations to follow all of them: what follows some is not known."
        if not self._complete:
            yield "The search for what can begin by itself was not complete: more may exist."

    def _way(self, run: Run) -> str:
        """Say how the first situation is come to: by what people do, and waiting."""
        told: list[str] = []
        for step in run.steps[:-1]:
            if step.by.kind is StepKind.WAIT:
                told.append(f"wait {self._words.duration(step.ticks)}")
            elif step.by.kind is StepKind.PANEL:
                told.append(f"{self._words.name(step.by.name)} to {shown(step.by.to if step.by.to is not None else '')}")
            else:
                told.append(f"({step.by.name})" if step.by.kind is StepKind.PLANT else step.by.name)
        if not told:
            return "the start of the machine"
        if len(told) <= MOST_SHOWN:
            return ", ".join(told)
        return f"{', '.join(told[:2])}, {len(told) - MOST_SHOWN} more, {', '.join(told[-(MOST_SHOWN - 2) :])}"
