"""Makes the map of reachable situations of one machine: the quotient of its states by what the reader, or the tool, chooses."""

from collections.abc import Sequence

from msgspec import Struct

from seqcheck.analyse.mapping.axes import NO_VALUE, Sorting, named, sorting
from seqcheck.analyse.mapping.choosing import Choice, choose
from seqcheck.analyse.mapping.following import states_of
from seqcheck.analyse.mapping.records import Axis, BadRun, Met, OnMap, Passage, Situation, SituationMap, Taken, Unreached
from seqcheck.analyse.verdict import Case, Result, Verdict
from seqcheck.model import semantics
from seqcheck.model.model import Hazard, Model, State
from seqcheck.model.run import StepKind
from seqcheck.search.engine import Limits, Observer, Stop
from seqcheck.search.limits import Allowance
from seqcheck.search.symbolic.budget import Budget
from seqcheck.search.symbolic.diagrams import OutOfNodes
from seqcheck.search.symbolic.mapping import Crossing, Group, Place, Quotient, Sorted
from seqcheck.search.symbolic.reaching import Halt

MOST_PLACES = 20_000
"""Combinations of values that are looked at."""


class TooFineError(Exception):
    """The values of the axes have too many combinations: *places*."""

    def __init__(self, places: int) -> None:
        super().__init__(f"these have {places:,} combinations of values; at most {MOST_PLACES:,} can be mapped: choose fewer")
        self.places = places


def situation_map(
    model: Model, by: Sequence[str], limits: Limits, observer: Observer, case: Case | None = None
) -> SituationMap:
    """Return the map of a machine by some names of its file; without any, by variables chosen from the model.

    *case* is what a verification found, for the shortest bad run. Raises `UnknownNameError`, `TooFineError`, `Unfit` for a
    machine that decision diagrams are not made for, `Disagreement` if the case is not one of this machine.
    """
    chosen = named(model, by)
    with Allowance(limits) as allowance:
        try:
            quotient = Quotient(model, Budget(allowance, limits, observer))
            if chosen:
                axes = tuple(sorting(model, quotient, one) for one in chosen)
                choice = Choice(axes=axes, why="chosen by the reader")
            else:
                worst = shortest_bad(case)
                choice = choose(model, quotient, "" if worst is None else worst.id)
            return Mapping(model, quotient, choice, case).map()
        except OutOfNodes:
            return nothing_mapped(model, Stop.MEMORY)
        except Halt as halt:
            return nothing_mapped(model, halt.why)


def nothing_mapped(model: Model, why: Stop) -> SituationMap:
    """Return the map of a search that ended before there was anything to map."""
    return SituationMap(
        axes=(),
        why="nothing was chosen: the search ended before",
        faults=model.faults,
        states=0,
        transitions=0,
        situations=(),
        passages=(),
        unreached=(),
        possible=0,
        hazards=(),
        bad=None,
        stopped=why,
    )


class Mapping(Struct):
    """Makes one map."""

    model: Model
    quotient: Quotient
    choice: Choice
    case: Case | None

    def map(self) -> SituationMap:
        """Return the map. Raises `TooFineError`, `Halt`, `Disagreement`."""
        scales = [one.scale for one in self.choice.axes]
        places = 1
        for scale in scales:
            places *= len(scale.bands)
        if places > MOST_PLACES:
            raise TooFineError(places)
        found = self.quotient.sorted(scales)
        return SituationMap(
            axes=tuple(_axis(one, number, found) for number, one in enumerate(self.choice.axes)),
            why=self.choice.why,
            faults=self.model.faults,
            states=self.quotient.states,
            transitions=sum(one.transitions for one in found.crossings) + sum(one.inside for one in found.groups),
            situations=tuple(self._situation(one) for one in found.groups),
            passages=self._passages(found.crossings),
            unreached=tuple(
                Unreached(values=self._values(one.place), hazards=tuple(self.model.properties[n].id for n in one.hazards))
                for one in found.empty
            ),
            possible=found.possible,
            hazards=tuple(self._hazards(found)),
            bad=self._bad(found),
            stopped=self.quotient.stopped,
        )

    def _values(self, place: Place) -> tuple[str, ...]:
        texts = [(*one.texts, NO_VALUE) for one in self.choice.axes]
        return tuple(text[number] for text, number in zip(texts, place, strict=True))

    def _situation(self, group: Group) -> Situation:
        met = tuple(Met(id=self.model.properties[number].id, states=states) for number, states in group.met.items())
        return Situation(
            values=self._values(group.place),
            states=group.states,
            starts=group.starts,
            hazards=met,
            failing=group.failing,
            inside=group.inside,
        )

    def _passages(self, crossings: Sequence[Crossing]) -> tuple[Passage, ...]:
        taken: dict[tuple[int, int], list[Taken]] = {}
        for one in crossings:
            taken.setdefault((one.tail, one.head), []).append(self._taken(one))
        return tuple(Passage(tail=tail, head=head, taken=tuple(taken[tail, head])) for tail, head in sorted(taken))

    def _taken(self, one: Crossing) -> Taken:
        if one.step is None:
            return Taken(kind=StepKind.WAIT, name="", to=None, transitions=one.transitions)
        step = self.model.steps[one.step]
        return Taken(kind=step.kind, name=step.name, to=step.to, transitions=one.transitions)

    def _hazards(self, found: Sorted) -> list[OnMap]:
        return [
            OnMap(id=p.id, text=p.text, states=found.met[number], told=number in found.told)
            for number, p in enumerate(self.model.properties)
            if isinstance(p.rule, Hazard)
        ]

    def _bad(self, found: Sorted) -> BadRun | None:
        worst = shortest_bad(self.case)
        if worst is None or worst.run is None:
            return None
        every_tick = any(one.what.name.endswith(".ET") for one in self.choice.axes)
        states = list(states_of(self.model, worst.run, every_tick=every_tick))
        number_of = {group.place: number for number, group in enumerate(found.groups)}
        passed = [number_of.get(self._place(state)) for state in states]
        path = [number for n, number in enumerate(passed) if number is not None and (not n or passed[n - 1] != number)]
        whole = None not in passed
        return BadRun(id=worst.id, text=worst.text, steps=worst.run.step_count, path=tuple(path) if whole else ())

    def _place(self, state: State) -> Place:
        return tuple(self._band(one, state) for one in self.choice.axes)

    def _band(self, one: Sorting, state: State) -> int:
        bands = one.scale.bands
        try:
            raw = semantics.evaluate(self.model, one.scale.value, state)
        except semantics.Impossible:
            return len(bands)
        return next((number for number, band in enumerate(bands) if raw in band), len(bands))


def _axis(one: Sorting, number: int, found: Sorted) -> Axis:
    lacks = any(group.place[number] == len(one.texts) for group in found.groups)
    texts = (*one.texts, NO_VALUE) if lacks else one.texts
    return Axis(name=one.what.name, spoken=one.what.spoken, kind=one.what.kind, values=texts)


def shortest_bad(case: Case | None) -> Result | None:
    """Return the violated hazard with the shortest run, or if none is violated, whatever else is; None if nothing has a run."""
    bad = [one for one in (case.results if case else ()) if one.verdict is Verdict.VIOLATED and one.run is not None]
    hazards = [one for one in bad if one.kind == "hazard"]
    return min(hazards or bad, key=_length, default=None)


def _length(result: Result) -> tuple[int, int]:
    return (result.run.step_count, result.run.tick_count) if result.run is not None else (0, 0)
