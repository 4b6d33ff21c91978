"""Says in words what a review comes to as a whole, and in one sentence why each thing that is violated is so."""

from collections.abc import Iterator, Sequence

from seqcheck.analyse.verdict import Result, Verdict
from seqcheck.model.run import RunStep, StepKind
from seqcheck.report.lines import counted
from seqcheck.report.narrate import Vocabulary, listed, sentence, shown
from seqcheck.report.text import coverage, meaning
from seqcheck.review.marks import cost
from seqcheck.review.record import Review

SORTS = {"hazard": "hazard", "requirement": "requirement", "procedure": "procedure", "check": "built-in check"}


def sort_of(result: Result) -> str:
    """Return what sort of thing a result is about."""
    if result.kind in {"hazard", "procedure"}:
        return result.kind
    return "check" if result.kind in {"range", "settling"} else "requirement"


BAD = {
    "hazard": "hazards can be met",
    "requirement": "requirements are broken",
    "procedure": "procedures do not work as written",
    "check": "built-in checks fail",
}


def answer(review: Review) -> str:
    """Return the overall answer, without faults."""
    results = [result for case in review.verification.cases for result in case.results]
    violated = [result for result in results if result.verdict is Verdict.VIOLATED]
    undecided = [result for result in results if result.verdict is Verdict.UNDECIDED]
    open_ = f"Undecided: {len(undecided)} of {len(results)}." if undecided else ""
    if violated:
        rest = open_ or "The rest holds."
        return f"VIOLATED: without any fault, {listed(list(_bad(violated, results)))}. {rest}"
    if undecided:
        return f"UNDECIDED: nothing was found violated without faults. {open_}"
    return f"Without faults, everything holds that was asked: {_sorts(results)}."


def _bad(violated: Sequence[Result], results: Sequence[Result]) -> Iterator[str]:
    """Yield of each sort how many are violated."""
    bad, every = [sort_of(result) for result in violated], [sort_of(result) for result in results]
    yield from (f"{bad.count(sort)} of {every.count(sort)} {words}" for sort, words in BAD.items() if sort in bad)


def _sorts(results: Sequence[Result]) -> str:
    """Say how many of each sort there are."""
    sorts = [sort_of(result) for result in results]
    return listed([counted(sorts.count(sort), one) for sort, one in SORTS.items() if sort in sorts])


def searched(review: Review) -> Iterator[str]:
    """Yield how much was searched, and by what."""
    for case in review.verification.cases:
        yield f"{counted(case.states, 'state')} and {counted(case.transitions, 'transition')}: {coverage(case)}"


def with_faults(review: Review) -> str:
    """Return what single faults, or sets of them, bring about; empty if nobody asked."""
    study = review.faults
    if study is None:
        return ""
    sizes = "a single fault" if study.up_to == 1 else f"up to {study.up_to} faults"
    brought = [row.subject.id for row in study.rows if any(one.faults for one in row.reached)]
    known = "" if study.complete else "; not everything was looked at"
    if not brought:
        return f"With {sizes} (of {len(study.faults)}), nothing more was found to be met or broken{known}."
    return f"With {sizes} (of {len(study.faults)}), these are met or broken that are not without: {', '.join(brought)}{known}."


def why(result: Result, words: Vocabulary) -> str:
    """Return one sentence that says why something is violated."""
    run = result.run
    if run is None:
        return sentence(result.reason or meaning(result))
    parts = [f"in {cost(run, words)}"] if run.steps else ["at the start"]
    last = max((n for n, step in enumerate(run.steps) if step.by.kind is StepKind.COMMAND), default=None)
    if last is not None:
        accepted = result.accounts[last].guards if last < len(run.steps) - 1 or run.failure is None else ()
        hold = f" ({_hold(accepted)})" if accepted else ""
        parts.append(f"the last command accepted is “{run.steps[last].by.name}”{hold}")
    if run.steps and last != len(run.steps) - 1:
        parts.append(f"last, {_did(run.steps[-1], words)}")
    so = f"; so {' and '.join(result.spoken)}" if result.spoken else f"; {_so(result)}"
    return sentence("; ".join(parts).replace("; ", ": ", 1) + so)


def _hold(guards: Sequence[str]) -> str:
    return "its permissive holds" if len(guards) == 1 else f"its {len(guards)} permissives hold"


def _so(result: Result) -> str:
    if result.run is not None and result.run.failure is not None:
        return "it cannot be completed"
    return meaning(result)


def _did(step: RunStep, words: Vocabulary) -> str:
    """Say shortly what a step is."""
    match step.by.kind:
        case StepKind.WAIT:
            acted = f" until {listed([f'“{name}”' for name in step.acted])} acts" if step.acted else ""
            return f"{words.duration(step.ticks)} pass{acted}"
        case StepKind.PANEL:
            return f"{words.name(step.by.name)} is set to {shown(step.by.to if step.by.to is not None else '')}"
        case StepKind.PLANT:
            return f"by itself, {step.by.name}"
        case StepKind.FAULT:
            return f"the fault “{step.by.name}” occurs"
        case StepKind.PERSON:
            return f"a person does “{step.by.name}”"
        case StepKind.COMMAND:
            return f"the command “{step.by.name}”"
