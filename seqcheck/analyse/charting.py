"""Makes state charts: the states of one thing, or the situations of a machine, what leads on, and what is refused where."""

from collections.abc import Sequence

from msgspec import Struct

from seqcheck.analyse.auditing.parts import conjuncts
from seqcheck.analyse.mapping.axes import Sortable, Sorting, sortables, sorting
from seqcheck.analyse.mapping.choosing import Choice, choose
from seqcheck.analyse.mapping.mapping import Mapping
from seqcheck.analyse.mapping.records import SituationMap
from seqcheck.model.expression import Const, Expression, Load, reads
from seqcheck.model.model import Model, Step, VariableKind
from seqcheck.model.run import StepKind
from seqcheck.model.wording import wording
from seqcheck.search.engine import Limits, Observer, Stop
from seqcheck.search.limits import Allowance
from seqcheck.search.symbolic.budget import Budget
from seqcheck.search.symbolic.diagrams import OutOfNodes
from seqcheck.search.symbolic.reaching import Halt
from seqcheck.search.symbolic.refusing import Refusing, Tried

CHARTED = frozenset({VariableKind.PART.value, VariableKind.OUTPUT.value, VariableKind.MEMORY.value})
ASKED = frozenset({StepKind.COMMAND, StepKind.PERSON})
MOST_SITUATIONS = 6
"""Situations of the chart of the whole machine; finer ones are the business of the map."""


class Refusal(Struct, frozen=True, kw_only=True):
    """A command, or what somebody would do by hand, that is refused in every state of a situation and accepted elsewhere.

    *by* are the permissives, or the conditions of what is done by hand, that refuse it. *alone*: each of them fails in all
    these states; else each fails in some, and there is always one that does. *would* is the value that the step itself would
    give the charted thing, or empty.
    """

    kind: StepKind
    name: str
    line: int
    by: tuple[str, ...]
    alone: bool
    would: str


class _Condition(Struct, frozen=True, kw_only=True):
    """One of the conditions of a step, with the variables that it rests on."""

    text: str
    test: Expression
    rests: frozenset[int]


class Chart(Struct, frozen=True, kw_only=True):
    """The situations of a map; for each of them what is refused there, and what is accepted in some of its states only.

    *refusals* are those that have to do with what is charted; *others* counts steps refused there for other reasons.
    """

    what: str
    kind: str
    map: SituationMap
    refusals: tuple[tuple[Refusal, ...], ...]
    others: tuple[int, ...]
    sometimes: tuple[frozenset[str], ...]


class _Told(Struct, frozen=True, kw_only=True):
    refusals: tuple[Refusal, ...]
    others: int
    sometimes: frozenset[str]


class Charts(Struct, frozen=True, kw_only=True):
    """A chart of the whole machine and one of each part, output and memory; of a wide range by bands of its values.

    *stopped*: what was not reached until then may be possible.
    """

    machine: Chart | None
    things: tuple[Chart, ...]
    stopped: Stop | None


def state_charts(model: Model, limits: Limits, observer: Observer) -> Charts:
    """Return all charts of a machine. Raises `Unfit` for one that decision diagrams are not made for."""
    with Allowance(limits) as allowance:
        charting = _Charting(model)
        try:
            charting.chart(Refusing(model, Budget(allowance, limits, observer)))
        except OutOfNodes:
            charting.stopped = Stop.MEMORY
        except Halt as halt:
            charting.stopped = halt.why
        return charting.charts()


class _Charting:
    def __init__(self, model: Model) -> None:
        self._model = model
        self._conditions = {n: _conditions(model, s) for n, s in enumerate(model.steps) if s.kind in ASKED and s.guards}
        self._machine: Chart | None = None
        self._things: list[Chart] = []
        self.stopped: Stop | None = None

    def charts(self) -> Charts:
        """Return what was charted until now."""
        return Charts(machine=self._machine, things=tuple(self._things), stopped=self.stopped)

    def chart(self, refusing: Refusing) -> None:
        """Chart everything. Raises `Halt` and `OutOfNodes`."""
        self.stopped = refusing.stopped
        for one in sortables(self._model):
            if one.kind in CHARTED and isinstance(one.value, Load):
                sorted_ = sorting(self._model, refusing, one)
                if len(sorted_.scale.bands) > 1:
                    self._things.append(self._charted(refusing, (sorted_,), "chosen by itself", one))
        choice = choose(self._model, refusing)
        axes = choice.axes
        while len(axes) > 1 and refusing.count([one.scale for one in axes], MOST_SITUATIONS + 1) > MOST_SITUATIONS:
            axes = axes[:-1]
        if axes:
            self._machine = self._charted(refusing, axes, choice.why, None)

    def _charted(self, refusing: Refusing, axes: Sequence[Sorting], why: str, about: Sortable | None) -> Chart:
        mapped = Mapping(self._model, refusing, Choice(axes=tuple(axes), why=why), None).map()
        asked = {number: [one.test for one in conditions] for number, conditions in self._conditions.items()}
        tried = tuple(refusing.tried([one.scale for one in axes], asked))
        places = sorted({one.place for one in tried})
        decisive = {one.step for one in tried if one.accepted}
        told = [self._situation([one for one in tried if one.place == p and one.step in decisive], axes, about) for p in places]
        told = told or [_Told(refusals=(), others=0, sometimes=frozenset()) for _ in mapped.situations]
        return Chart(
            what=about.spoken if about is not None else self._model.name,
            kind=about.kind if about is not None else "machine",
            map=mapped,
            refusals=tuple(one.refusals for one in told),
            others=tuple(one.others for one in told),
            sometimes=tuple(one.sometimes for one in told),
        )

    def _situation(self, here: Sequence[Tried], axes: Sequence[Sorting], about: Sortable | None) -> _Told:
        """Return what is refused in one situation."""
        charted = frozenset(rested for axis in axes for rested in rests_on(self._model, axis.what.value))
        refused = [one for one in here if not one.accepted]
        refusals = [told for one in refused if (told := self._refusal(one, charted, axes, about)) is not None]
        names = (self._model.steps[one.step].name for one in here if one.accepted and one.refused)
        return _Told(refusals=tuple(refusals), others=len(refused) - len(refusals), sometimes=frozenset(names))

    def _refusal(self, one: Tried, charted: frozenset[int], axes: Sequence[Sorting], about: Sortable | None) -> Refusal | None:
        """Return a refusal that has to do with what is charted: some condition that fails rests on it."""
        step = self._model.steps[one.step]
        failing = [self._conditions[one.step][number] for number in one.always or one.ever]
        concerned = [condition for condition in failing if condition.rests & charted]
        if not concerned:
            return None
        return Refusal(
            kind=step.kind,
            name=step.name,
            line=step.line,
            by=tuple(condition.text for condition in (concerned if one.always else failing)),
            alone=bool(one.always),
            would=_would(step, axes[0], about) if about is not None else "",
        )


def _conditions(model: Model, step: Step) -> tuple[_Condition, ...]:
    """Return the permissives of a command; of what is done by hand each part that must hold."""
    if step.kind is StepKind.COMMAND:
        named = [(guard.name or guard.text, guard.test) for guard in step.guards]
    else:
        named = [(wording(model, part), part) for guard in step.guards for part in conjuncts(model, guard.test)]
    return tuple(_Condition(text=text, test=test, rests=rests_on(model, test)) for text, test in named)


def rests_on(model: Model, expression: Expression) -> frozenset[int]:
    """Return the variables that a value depends on, through sensors and what timers measure, timers themselves left out."""
    timers = {timer.variable: timer.input.test for timer in model.timers}
    found: set[int] = set()
    pending = set(reads(expression, model.sensor_values))
    while pending:
        place = pending.pop()
        if place not in found:
            found.add(place)
            pending |= reads(timers[place], model.sensor_values) if place in timers else frozenset()
    return frozenset(found - timers.keys())


def _would(step: Step, axis: Sorting, about: Sortable) -> str:
    """Return the value that a step's own effects give something, if that is always the same."""
    place = about.value.variable if isinstance(about.value, Load) else -1
    given = {
        value.value if isinstance(value, Const) else None
        for assign in step.program
        for target, value in zip(assign.targets, assign.values, strict=True)
        if target == place
    }
    (only,) = given if len(given) == 1 else (None,)
    found = (text for band, text in zip(axis.scale.bands, axis.texts, strict=True) if only in band)
    return next(found, "")
