"""Judges a machine: every hazard, requirement and built-in check, for each set of faults under study."""

import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from typing import TYPE_CHECKING, TypeAlias

from msgspec.structs import replace

from seqcheck.analyse.assumptions import assumptions
from seqcheck.analyse.findings import findings
from seqcheck.analyse.judge import Judge
from seqcheck.analyse.observed import limits_left, observe
from seqcheck.analyse.record import Records
from seqcheck.analyse.verdict import Case, Observation, ProcedureResults, Result, Verification
from seqcheck.analyse.watching import watches
from seqcheck.model.model import Elsewhere, Model
from seqcheck.model.run import Run
from seqcheck.search.engine import NO_EXTRAS, Engine, Extras, Limits, Observer, Stop

if TYPE_CHECKING:
    from seqcheck.search.planner.beside import Beside

Observing: TypeAlias = Callable[[str], Model]
"""Gives the model that judges the requirement with an id: one on order or time, which takes a search of its own."""


OVER = (Stop.SECONDS, Stop.INTERRUPTED, Stop.FIRST)
"""Where a search ended so, no other is begun."""


def verify_case(
    model: Model,
    engine: Engine,
    limits: Limits,
    observer: Observer,
    observing: Observing | None = None,
    then: Callable[[Run], None] | None = None,
) -> Case:
    """Search one model and judge all that is asked of it. Raises `Disagreement` where engine and definition differ.

    Without limits, runs that are known before the rest is are recorded while the engine goes on; *then* is told of each.
    """
    began = time.monotonic()
    watched = watches(model)
    with ExitStack() as stack:
        beside = stack.enter_context(_procedures_beside(model)) if _are_worth_a_process(model, limits) else None
        records = Records(model, then)
        extras = Extras(ahead=records.ahead) if limits == Limits() else NO_EXTRAS
        exploration = engine.explore(model, tuple(watch.test for watch in watched), limits, observer, extras)
        results = list(Judge(model, exploration, records).results())
        observed: list[Observation] = []
        without_value: list[Result] = []
        stopped = exploration.stopped
        for number, p in enumerate(model.properties if observing is not None else ()):
            if observing is not None and isinstance(p.rule, Elsewhere) and stopped not in OVER:
                found = observe(model, observing(p.id), engine, limits_left(limits, began), observer)
                results[number] = found.result
                without_value += found.beside
                observed.append(found.observation)
                stopped = found.observation.stopped
        if beside is not None and stopped not in OVER:
            procedures = beside.answer()
        else:
            procedures = _procedures(model, stopped, limits_left(limits, began), observer)
    kept = (result for result in results if not (without_value and result.id == "range"))
    return Case(
        faults=model.faults,
        engine=exploration.engine,
        states=exploration.states,
        transitions=exploration.transitions,
        stopped=exploration.stopped,
        complete_steps=exploration.complete_steps,
        results=(*kept, *without_value, *procedures.results),
        observed=tuple(observed),
        procedures_stopped=procedures.stopped,
        findings=findings(model, watched, exploration),
        seconds=time.monotonic() - began,
    )


def _procedures(model: Model, stopped: Stop | None, limits: Limits, observer: Observer) -> ProcedureResults:
    """Judge the procedures, unless faults are under study or the search before took all that it might."""
    if not model.procedures or model.faults:
        return ProcedureResults()
    from seqcheck.analyse.procedures.judging import not_begun, procedure_results

    return procedure_results(model, limits, observer) if stopped not in OVER else not_begun(model, stopped)


def _are_worth_a_process(model: Model, limits: Limits) -> bool:
    """Tell whether procedures are judged while the search goes on: where it is likely to take longer than a process to begin.

    Not where limits are set: these are for the search first.
    """
    if not model.procedures or model.faults or limits != Limits():
        return False
    from seqcheck.search.planner.trial import has_few_bits

    return not has_few_bits(model)


def _procedures_beside(model: Model) -> "Beside[ProcedureResults]":
    from seqcheck.search.planner.beside import Beside

    def judged() -> ProcedureResults:
        return _procedures(model, None, Limits(), lambda _: None)

    return Beside(judged, judged)


def verification(models: Sequence[Model], judge: Callable[[Model], Case]) -> Verification:
    """Judge the models of one file, the first without faults."""
    cases: list[Case] = []
    for model in models:
        if not cases or not cases[-1].interrupted:
            cases.append(without_known(judge(model), cases))
    first = models[0]
    return Verification(
        machine=first.name,
        revision=first.revision,
        tick_s=first.tick_s,
        cases=tuple(cases),
        assumptions=assumptions(first),
        sources=first.sources,
        not_begun=tuple(model.faults for model in models[len(cases) :]),
    )


def without_known(case: Case, earlier: Sequence[Case]) -> Case:
    """Leave out of a case the findings that the first case, without faults, has already."""
    known = {(finding.kind, finding.about, finding.text) for finding in (earlier[0].findings if earlier else ())}
    return replace(case, findings=tuple(f for f in case.findings if (f.kind, f.about, f.text) not in known))
