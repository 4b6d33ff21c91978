"""Says what the boxes and arrows of the map stand for, at length where there is room, in letters where there is little."""

from collections.abc import Sequence
from enum import Enum

from msgspec import Struct

from seqcheck.analyse.mapping.condensing import Never, Spot, Way
from seqcheck.analyse.mapping.records import Axis, SituationMap, Taken
from seqcheck.draw.labels import shortened, wrapped
from seqcheck.model.run import StepKind
from seqcheck.report.lines import counted
from seqcheck.report.narrate import Vocabulary, listed, shown

KIND_WORDS = {
    StepKind.COMMAND: ("command", "commands", "C"),
    StepKind.PERSON: ("action by hand", "actions by hand", "A"),
    StepKind.PANEL: ("panel setting", "panel settings", "S"),
    StepKind.PLANT: ("plant rule", "plant rules", "P"),
    StepKind.FAULT: ("fault", "faults", "F"),
    StepKind.WAIT: ("time", "time", "T"),
}
VALUE_LINES = 2
ANY, ANY_VALUE = "any values", "any"


class Labels(Enum):
    """How much is said on an arrow."""

    NAMES = "the name of a single step, else how many of which kind"
    LETTERS = "a letter for each kind, with a number"


class Detail(Struct, frozen=True, kw_only=True):
    """How much is said, and how much room is left: characters on a line of a box and of an arrow, inches between boxes.

    *least_scale* is the least factor, as it is estimated, by which letters of 10 points may be made smaller on A4, so that 7
    points are left with much to spare: the estimate is rough where many arrows cross.
    """

    box: int
    arrow: int
    labels: Labels
    gaps: tuple[float, float]
    least_scale: float


class Saying(Struct):
    """Says what one map's boxes and arrows stand for."""

    full: SituationMap
    words: Vocabulary
    detail: Detail

    # --- boxes ---
    def spot(self, spot: Spot) -> tuple[tuple[str, ...], str]:
        """Return the lines in the box of one situation or several, and all that there is to say of it."""
        what = self._several(spot) if len(spot.situations) > 1 else self._values(spot.values)
        first = self.full.bad.id if self.full.bad is not None else ""
        met = sorted(spot.hazards, key=lambda one: one.id != first)
        told = [f"{one.id} met in {one.states:,}" for one in met]
        told += [f"a step fails in {spot.failing:,}"] if spot.failing else []
        ids = [one.id for one in met] + (["a step fails"] if spot.failing else [])
        states = counted(spot.states, "state")
        start = "; a start" if spot.starts else ""
        return (*self._lines(what), self._in_short(states, told, ids)), f"{what}: {'; '.join([states, *told])}{start}"

    def _in_short(self, states: str, told: Sequence[str], ids: Sequence[str]) -> str:
        """Return as much as one line holds; what is left out is counted."""
        text = "; ".join([states, *told])
        kept = len(ids)
        while len(text) > self.detail.box + 6 and kept > 0:
            more = f" and {len(ids) - kept} more" if kept < len(ids) else ""
            text = f"{states}; met: {', '.join(ids[:kept])}{more}"
            kept -= 1
        return shortened(text, max(self.detail.box + 6, 28))

    def never(self, one: Never) -> tuple[tuple[str, ...], str]:
        """Return the lines in the box of combinations that are not reached, and all that there is to say of it."""
        what = self._values(one.values) if one.whole else f"{one.combinations:,} combinations of values"
        said = "not reachable" if self.full.stopped is None else "not reached so far"
        many = f", {one.combinations:,} combinations" if one.combinations > 1 else ""
        told = f"{what}{many}: {said}; {listed(list(one.hazards))} would be met"
        return (*self._lines(what), shortened(f"{said}: {', '.join(one.hazards)}", self.detail.box + 8)), told

    def _lines(self, what: str) -> tuple[str, ...]:
        return wrapped(what, self.detail.box, VALUE_LINES)

    def _values(self, box: Sequence[tuple[str, ...]]) -> str:
        """Return what the states of a box have in common: values with their names, or values alone in the order of the axes."""
        axes = list(zip(self.full.axes, box, strict=True))
        if self.detail.labels is Labels.LETTERS:
            return " / ".join(_one_of(values) if 0 < len(values) < len(axis.values) else _any(axis) for axis, values in axes)
        said = [_named(axis, values) for axis, values in axes if 0 < len(values) < max(2, len(axis.values))]
        return ", ".join(said) or ANY

    def _several(self, spot: Spot) -> str:
        further = f"{len(spot.situations):,} further situations"
        common = self._values([values if len(values) == 1 else () for values in spot.values])
        return further if all(len(values) > 1 for values in spot.values) else f"{further}: {common}"

    # --- arrows ---
    def way(self, way: Way) -> tuple[tuple[str, ...], str]:
        """Return the lines beside an arrow, and all that leads along it."""
        told = "; ".join(f"{self._named(one)} ({counted(one.transitions, 'transition')})" for one in way.taken)
        if self.detail.labels is Labels.LETTERS:
            return (f" {self._kinds(way.taken)} ",), told
        label = self._named(way.taken[0]) if len(way.taken) == 1 else self._kinds(way.taken)
        return tuple(f" {line} " for line in wrapped(label, self.detail.arrow, 2)), told

    def _named(self, one: Taken) -> str:
        if one.kind is StepKind.WAIT:
            return "time"
        return one.name if one.to is None else f"{self.words.name(one.name)} to {shown(one.to)}"

    def _kinds(self, taken: Sequence[Taken]) -> str:
        """Return how many steps of each kind there are."""
        found = []
        for kind, (one, several, letter) in KIND_WORDS.items():
            number = sum(each.kind is kind for each in taken)
            if number and self.detail.labels is Labels.LETTERS:
                found.append(f"{number if number > 1 else ''}{letter}")
            elif number:
                found.append(one if kind is StepKind.WAIT else f"{number} {one if number == 1 else several}")
        return (" " if self.detail.labels is Labels.LETTERS else ", ").join(found)


def _named(axis: Axis, values: tuple[str, ...]) -> str:
    """Return the values of one axis with its name."""
    if values in {("TRUE",), ("FALSE",)}:
        return axis.spoken if values == ("TRUE",) else f"not {axis.spoken}"
    return f"{axis.spoken} {_one_of(values)}"


def _one_of(values: Sequence[str]) -> str:
    return " or ".join(value.lower() if value in {"TRUE", "FALSE"} else shown(value) for value in values)


def _any(axis: Axis) -> str:
    """Return what stands for all values of an axis."""
    return _one_of(axis.values) if len(axis.values) == 1 else ANY_VALUE
