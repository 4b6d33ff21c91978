"""What one search for one set of faults is asked and what it answers, in a form that can go to another process and back.

An answer holds traces, not runs: whoever takes it takes their steps again with the plain definition.
"""

from collections.abc import Mapping, Sequence
from typing import TypeAlias

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.model.expression import Expression
from seqcheck.model.model import Elsewhere, Model
from seqcheck.search.engine import NO_EXTRAS, Exploration, Extras, Limits, Observer, Stop, Trace
from seqcheck.search.engines import engine
from seqcheck.search.planner.within import Within

AUTO = "auto"


class Question(Struct, frozen=True, kw_only=True):
    """A machine with what is asked of it, and one for each requirement on its own. *study* says by names what it is about."""

    study: tuple[str, ...]
    model: Model
    observed: tuple[Model, ...] = ()

    @property
    def ids(self) -> tuple[str, ...]:
        """The hazards and requirements that are asked about."""
        return tuple(p.id for model in (self.model, *self.observed) for p in model.properties)


class Search(Struct, frozen=True, kw_only=True):
    """What one search found, by the ids of hazards and requirements."""

    states: int
    stopped: Stop | None
    found: Mapping[str, Trace]
    unjudged: Mapping[str, Trace]
    failures: tuple[Trace, ...]


class Answer(Struct, frozen=True, kw_only=True):
    """The answer to a question: *ids* were asked about, *search* for all but those that have one of their own in *observed*."""

    study: tuple[str, ...]
    ids: tuple[str, ...]
    search: Search
    observed: Mapping[str, Search]

    @property
    def stopped(self) -> Stop | None:
        """Why a search ended before everything was visited, if one did."""
        return next((s.stopped for s in (self.search, *self.observed.values()) if s.stopped is not None), None)


Batch: TypeAlias = tuple[Question, ...]


def question(model: Model, ids: frozenset[str], observed: Sequence[Model]) -> Question:
    """Ask about some hazards and requirements of a model; *observed* are the machines of those that need one of their own."""
    kept = tuple(p for p in model.properties if p.id in ids and not isinstance(p.rule, Elsewhere))
    return Question(study=model.faults, model=replace(model, properties=kept), observed=tuple(observed))


def work(batch: Batch, name: str, limits: Limits) -> tuple[Answer, ...]:
    """Answer a batch of questions with the engine of that name, in this process."""
    return tuple(answer(question, name, limits) for question in batch)


def answer(asked: Question, name: str, limits: Limits) -> Answer:
    """Answer one question."""
    return Answer(
        study=asked.study,
        ids=asked.ids,
        search=_searched(asked.model, explored(asked.model, name, limits)),
        observed={model.properties[0].id: _searched(model, explored(model, name, limits)) for model in asked.observed},
    )


def _searched(model: Model, found: Exploration) -> Search:
    return Search(
        states=found.states,
        stopped=found.stopped,
        found={model.properties[number].id: _in_numbers(trace) for number, trace in found.found.items()},
        unjudged={model.properties[number].id: _in_numbers(trace) for number, trace in found.unjudged.items()},
        failures=tuple(map(_in_numbers, found.failures)),
    )


def _in_numbers(trace: Trace) -> Trace:
    """Return a trace whose states are integers alone: an engine may use truths for 0 and 1, which JSON tells apart."""
    states = tuple(tuple(map(int, state)) for state in trace.states)
    return replace(trace, raw_start=tuple(map(int, trace.raw_start)), states=states)


def explored(model: Model, name: str, limits: Limits) -> Exploration:
    """Search a model in this process: by *name*, or by the first engine that suits it."""
    if name != AUTO:
        return engine(name).explore(model, (), limits, _ignore)
    return Within().explore(model, (), limits, _ignore)


def _ignore(_progress: object) -> None:
    """Tell nobody."""


class Recalled(Struct, frozen=True):
    """An engine that gives the answer that is there already."""

    known: Search
    name: str = "recalled"

    def explore(
        self,
        model: Model,
        watches: tuple[Expression, ...],  # noqa: ARG002 - the arguments are those of every engine
        limits: Limits,  # noqa: ARG002
        observer: Observer,  # noqa: ARG002
        extras: Extras = NO_EXTRAS,  # noqa: ARG002
    ) -> Exploration:
        """Return the known answer in the numbers of *model*."""
        return exploration(model, self.known)


def exploration(model: Model, known: Search) -> Exploration:
    """Return a search's answer in the numbers of a model."""
    numbers = {p.id: number for number, p in enumerate(model.properties)}
    return Exploration(
        states=known.states,
        transitions=0,
        stopped=known.stopped,
        complete_steps=None,
        found={numbers[id_]: trace for id_, trace in known.found.items()},
        failures=known.failures,
        unjudged={numbers[id_]: trace for id_, trace in known.unjudged.items()},
        never=frozenset(),
        entered=(),
        acted=frozenset(),
        passing=frozenset(),
        dead_ends=None,
        time_stuck=None,
        engine="recalled",
    )
