"""Studies procedures: which work, and what every deviation from them comes to. A model in, records out."""

import time
from collections.abc import Iterable, Iterator, Sequence
from typing import Self

from msgspec.structs import replace

from seqcheck.analyse.procedures.deviations import Deviating, Deviations
from seqcheck.analyse.procedures.outcomes import Outcomes
from seqcheck.analyse.procedures.records import Class, Outcome, Row, Studied, Study
from seqcheck.analyse.procedures.situations import Situations
from seqcheck.analyse.procedures.tracing import Tracer
from seqcheck.analyse.procedures.witnesses import Witnesses
from seqcheck.analyse.procedures.written import Following, Written
from seqcheck.model.model import Model
from seqcheck.search.engine import Limits, Observer, Progress, Stop
from seqcheck.search.limits import Allowance
from seqcheck.search.plain.plain import collector_off

MOST = 300_000
"""Situations, and states on ways out, that are looked at unless another limit is given."""


def study(model: Model, numbers: Iterable[int], limits: Limits, observer: Observer) -> Study:
    """Study the procedures with the numbers given, with all deviations. A limit, or Ctrl-C, leaves open what was not looked at.

    The model must be without faults.
    """
    with collector_off(), Studying(model, limits, observer) as studying:
        return studying.study(tuple(numbers))


def judge(model: Model, limits: Limits, observer: Observer) -> tuple[Studied, ...]:
    """Tell of each procedure whether it works, and how it breaks. The model must be without faults."""
    with collector_off(), Studying(model, limits, observer) as studying:
        return tuple(studying.judged(number) for number in range(len(model.procedures)))


class Studying:
    """One study of one model; a context, within which Ctrl-C counts as a limit."""

    def __init__(self, model: Model, limits: Limits, observer: Observer) -> None:
        self._began = time.monotonic()
        self._allowance = Allowance(limits if limits.states is not None else replace(limits, states=MOST))
        self._observer = observer
        self._stopped: Stop | None = None
        self._situations = Situations(model)
        self._following = Following(self._situations, self._exceeded)

    def __enter__(self) -> Self:
        """Begin to note interruptions."""
        self._allowance.__enter__()
        return self

    def __exit__(self, *about: object) -> None:
        """Leave Ctrl-C as it was."""
        self._allowance.__exit__(None, None, None)

    def _exceeded(self, count: int) -> Stop | None:
        self._observer(Progress(states=count, transitions=0, layer=0, waiting=0))
        if self._stopped is None:
            self._stopped = self._allowance.exceeded(count)
        return self._stopped

    def judged(self, number: int) -> Studied:
        """Tell whether one procedure works."""
        written = self._following.follow(number)
        breaks = tuple(Tracer(self._situations, self._following, written).breaks())
        works = False if breaks else None if written.stopped is not None else True
        return Studied(procedure=number, works=works, breaks=breaks, stopped=written.stopped)

    def study(self, numbers: Sequence[int]) -> Study:
        """Follow the procedures as written, then all that comes of deviations, then tell what comes of each."""
        written = [self._following.follow(number) for number in numbers]
        deviating = [list(self._deviating(one)) for one in written]
        roots = (root for each in deviating for one in each for root in one.roots)
        outcomes = Outcomes(self._situations, roots, lambda count: self._exceeded(count) is None)
        studied = [
            replace(self.judged(one.procedure), rows=tuple(self._rows(one, each, outcomes)))
            for one, each in zip(written, deviating, strict=True)
        ]
        return Study(
            studied=tuple(studied),
            situations=len(self._situations.visits),
            states=len(self._situations.moves.states),
            stopped=self._stopped,
            seconds=time.monotonic() - self._began,
        )

    def _deviating(self, written: Written) -> Iterator[Deviating]:
        """Yield the deviations, each once to go on regardless and once to stop there."""
        sorts = [Deviations(self._situations, written, regardless=regardless).all() for regardless in (True, False)]
        for pair in zip(*sorts, strict=True):
            yield from pair

    def _rows(self, written: Written, deviating: Iterable[Deviating], outcomes: Outcomes) -> Iterator[Row]:
        witnesses = Witnesses(self._situations, written, outcomes)
        tracer = Tracer(self._situations, self._following, written)
        for one in deviating:
            found = tracer.outcomes(witnesses.looked(one), outcomes)
            yield Row(
                place=one.place,
                deviation=one.deviation,
                other=one.other,
                regardless=one.regardless,
                outcomes=found or (Outcome(met=Class.NO_MOMENT, way=None),),
            )
