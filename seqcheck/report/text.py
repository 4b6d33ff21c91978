"""Writes a verification for people at a terminal: one line a verdict first, then how each violation comes about."""

import textwrap
from collections.abc import Callable, Iterator, Mapping
from typing import TypeAlias

from seqcheck.analyse.verdict import Case, Finding, Observation, Result, StepAccount, Verdict, Verification
from seqcheck.model.model import study_of
from seqcheck.model.run import Run
from seqcheck.report.lines import WIDTH, counted, footing, wrapped
from seqcheck.report.narrate import Vocabulary, duration_words, how_it_fails, how_it_stands, tell
from seqcheck.report.searched import Searched

LEAST_SHOWN = 0.05
"""Where a state takes fewer bytes, as with sets of states, there is nothing to tell."""

WORDS = {Verdict.HOLDS: "holds", Verdict.VIOLATED: "VIOLATED", Verdict.UNDECIDED: "undecided"}
Paint: TypeAlias = Callable[[str, Verdict], str]
Searches: TypeAlias = Mapping[tuple[str, ...], Searched]
"""How each search was made, by what it is about (`Model.study`)."""


def plain(text: str, _verdict: Verdict) -> str:
    """Paint nothing."""
    return text


def report(
    verification: Verification, words: Vocabulary, searches: Searches, *, file: str, sha256: str, paint: Paint = plain
) -> Iterator[str]:
    """Yield the lines of a whole report, the caution last."""
    revision = f", revision {verification.revision}" if verification.revision else ""
    yield f"{verification.machine}{revision}   ({file}, sha256 {sha256[:12]})"
    for case in verification.cases:
        yield ""
        yield from _case(case, searches, words, paint)
    for faults in verification.not_begun:
        yield f"Interrupted before this was begun: with the fault {' and '.join(faults)}"
    for case in verification.cases:
        for result in case.results:
            if result.verdict is Verdict.VIOLATED:
                yield ""
                yield from account(result, words, paint)
    yield from _findings(verification, words)
    yield from footing(verification.assumptions, verification.sources)


def _case(case: Case, searches: Searches, words: Vocabulary, paint: Paint) -> Iterator[str]:
    searched = searches[case.faults]
    name = "Without faults" if not case.faults else "With the fault " + " and ".join(f"“{fault}”" for fault in case.faults)
    found = f"{counted(case.states, 'state')}, {counted(case.transitions, 'transition')}"
    yield from _head(f"{name}: {found} in {case.seconds:.2f} s", searched)
    yield f"  {coverage(case)}"
    yield from _aside(searched)
    for one in case.observed:
        yield from _apart(case, one, searches[study_of(case.faults, one.id)])
    wide = max((len(result.id) for result in case.results if len(result.id) <= 12), default=4)
    for result in case.results:
        verdict = paint(f"{WORDS[result.verdict]:<10}", result.verdict)
        yield f"  {verdict} {result.id:<{wide}}  {_one_line(result, words)}".rstrip()


def _head(found: str, searched: Searched) -> Iterator[str]:
    """Yield what was found, which engine it was, what a state took, and why it was that engine."""
    memory = f", {searched.bytes_per_state:.1f} bytes a state" if (searched.bytes_per_state or 0) >= LEAST_SHOWN else ""
    engine, reason = f"engine {searched.engine}{memory}", f": {searched.reason}" if searched.reason else ""
    if len(line := f"{found} ({engine}{reason})") <= WIDTH or not reason:
        yield line
        return
    yield f"{found} ({engine})"
    yield from wrapped(f"{searched.engine}{reason}", "  ")


def _aside(searched: Searched) -> Iterator[str]:
    if not searched.exact_counts:
        yield "  counted on a reduced machine, with the same verdicts; --exact-counts counts the whole"
    if searched.spent_before_s:
        yield f"  the search was taken up again: {searched.spent_before_s:.1f} s had gone into it before"


def _apart(case: Case, one: Observation, searched: Searched) -> Iterator[str]:
    """Tell of a search of its own for a requirement on time or order."""
    kinds = {result.id: result.kind for result in case.results}
    beside = "a clock of its own" if kinds.get(one.id) == "response" else "its own note of what came before"
    found = f"{counted(one.states, 'state')}, {counted(one.transitions, 'transition')}"
    again = f"; taken up again after {searched.spent_before_s:.1f} s" if searched.spent_before_s else ""
    ended = "" if one.stopped is None else f"; {coverage(one)}"
    yield from wrapped(f"{one.id} was searched by itself, with {beside}: {found} (engine {one.engine}){again}{ended}", "  ")


def coverage(case: Case | Observation) -> str:
    """Return in words how much of the machine was searched."""
    if case.stopped is None:
        return "every reachable state was visited"
    steps = case.complete_steps
    if steps is None or steps < 0:
        far = "there is no number of steps of which all runs were searched"
    elif steps == 0:
        far = "only the runs without a step were all searched"
    else:
        far = f"every run of up to {counted(steps, 'step')} was searched"
    return f"the search ended early at {case.stopped.value}: {far}; what is beyond is not known"


def _one_line(result: Result, words: Vocabulary) -> str:
    text = result.text or result.condition
    if result.run is not None and result.verdict is not Verdict.UNDECIDED:
        steps = counted(result.run.step_count, "step")
        shown = f"{steps}, {duration_words(result.run.tick_count * words.tick_s)}"
        return f"{text}   [{shown}]"
    return f"{text}   [{result.reason}]" if result.reason else text


MEANING = {
    "hazard": "this must never be, and it can be",
    "reachable": "“{}” cannot be reached",
    "recoverable": "after this run there is no way left to “{}”",
    "forbid": "the command is accepted while “{}”",
    "only": "something else makes “{}” true",
    "response": "{}",
    "precedence": "{}",
    "range": "a step cannot be completed",
    "settling": "a step never comes to rest",
}


def account(result: Result, words: Vocabulary, paint: Paint = plain) -> Iterator[str]:
    """Yield the lines that explain one violation with its run."""
    faults = f" (with the fault {' and '.join(result.faults)})" if result.faults else ""
    yield f"{paint(result.id, result.verdict)}  {result.text}{faults}"
    yield from wrapped(f"Violated: {meaning(result)}{_origin(result)}.", "  ")
    if result.run is None:
        yield from wrapped(f"There is no run to show: {result.reason}.", "  ")
        return
    yield from told(result.run, result.accounts, words)
    if result.spoken:
        yield from wrapped(f"So {result.id} is met: {' and '.join(result.spoken)}.", "  ")


def meaning(result: Result) -> str:
    """Return in words what it means that something is violated."""
    if result.kind == "procedure":
        return result.reason
    if result.kind == "reachable" and result.run is not None:
        return f"after this run there is no way left to “{result.condition}”"
    if result.kind == "range" and result.run is not None and result.run.failure is None:
        return "what is asked has no value at the end of this run"
    return MEANING[result.kind].format(result.condition)


def told(run: Run, accounts: tuple[StepAccount, ...], words: Vocabulary) -> Iterator[str]:
    """Yield the lines that tell a run in words."""
    start = "At the start (one of several)" if words.several_starts else "At the start"
    yield from wrapped(f"{start}: {how_it_stands(run.start, words)}.", "  ")
    for step in tell(run, accounts, words):
        head = f"  {step.number + '.' if step.number else '':>4} {'at ' + step.at:<12} "
        yield from textwrap.wrap(" ".join(step.sentences), WIDTH, initial_indent=head, subsequent_indent=" " * len(head))
    really = accounts[-1].really if accounts else ()
    if run.failure is None:
        yield from wrapped(f"At the end: {how_it_stands(run.end, words, really)}.", "  ")
        return
    yield from wrapped(how_it_fails(run.failure, words, at_start=not run.steps), "  ")
    if run.steps:
        yield from wrapped(f"Before that step: {how_it_stands(run.end, words, really)}.", "  ")


def _origin(result: Result) -> str:
    """Return in brackets where a violated rule comes from."""
    if result.line <= 1:
        return ""
    parts = [f"line {result.line}", f"risk {result.risk}" if result.risk else "", result.source]
    return f" ({', '.join(part for part in parts if part)})"


def _findings(verification: Verification, words: Vocabulary) -> Iterator[str]:
    found = [(case, finding) for case in verification.cases for finding in case.findings]
    if not found:
        return
    yield ""
    yield "Findings (no violations, but worth a look)"
    for case, finding in found:
        where = f" (line {finding.line})" if finding.line > 1 else ""
        with_ = f" [with {' and '.join(case.faults)}]" if case.faults else ""
        yield from wrapped(f"{finding.text}{where}{with_}", "  - ")
        if finding.run is not None:
            yield from _ending(finding, words)


def _ending(finding: Finding, words: Vocabulary) -> Iterator[str]:
    run = finding.run
    if run is not None:
        yield from wrapped(f"there: {how_it_stands(run.end, words)}", "    ")
