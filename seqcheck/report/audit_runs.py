"""Tells the runs of an audit: what each part prevents, where a command is refused without need, what a longer time does."""

import textwrap
from collections.abc import Iterator, Sequence

from seqcheck.analyse.auditing.audit import Audit
from seqcheck.analyse.auditing.parts import Part
from seqcheck.analyse.auditing.purposes import Need
from seqcheck.analyse.verdict import StepAccount
from seqcheck.model.run import Run
from seqcheck.report.audit_words import needs_words, part_words, wrapped
from seqcheck.report.lines import WIDTH
from seqcheck.report.narrate import Vocabulary, duration_words, how_it_fails, how_it_stands, tell


def runs_words(audit: Audit, words: Vocabulary) -> Iterator[str]:
    """Yield the lines that tell each run of an audit once."""
    for title, run, accounts in titled(audit, words):
        yield ""
        yield from wrapped(title, "")
        yield from run_words(run, accounts, words)


def titled(audit: Audit, words: Vocabulary) -> Iterator[tuple[str, Run, tuple[StepAccount, ...]]]:
    """Yield each run of an audit with what it shows."""
    pairs = set()
    for purpose in audit.purposes.purposes if audit.purposes is not None else ():
        yield from shown([purpose.part], purpose.needs)
        for cover in purpose.covers:
            pair = (frozenset({purpose.part, cover.other}), cover.need.id)
            if pair not in pairs:
                pairs.add(pair)
                yield from shown([purpose.part, cover.other], [cover.need])
    for one in audit.refused or ():
        if one.run is not None:
            yield f"“{one.command}” is refused without need at the end of this run", one.run, one.accounts
    for margin in audit.margins or ():
        for need in margin.violated:
            if need.run is not None and margin.turns_at is not None:
                length = duration_words(margin.turns_at * words.tick_s)
                yield f"With {length} for “{margin.duration.name}”: {needs_words([need])}", need.run, need.accounts


def shown(missing: Sequence[Part], needs: Sequence[Need]) -> Iterator[tuple[str, Run, tuple[StepAccount, ...]]]:
    """Yield the runs that show what is violated without some parts."""
    named = " and ".join(part_words(part) + (f" of “{part.step}”" if part.step else " (trip)") for part in missing)
    for need in needs:
        if need.run is not None:
            yield f"Without {named}: {needs_words([need])}", need.run, need.accounts


def run_words(run: Run, accounts: Sequence[StepAccount], words: Vocabulary) -> Iterator[str]:
    """Yield the lines that tell a run."""
    yield from wrapped(f"At the start: {how_it_stands(run.start, words)}.", "  ")
    for step in tell(run, tuple(accounts), words):
        head = f"  {step.number + '.' if step.number else '':>4} {'at ' + step.at:<12} "
        yield from textwrap.wrap(" ".join(step.sentences), WIDTH, initial_indent=head, subsequent_indent=" " * len(head))
    if run.failure is not None and not run.steps:
        yield from wrapped(how_it_fails(run.failure, words, at_start=True), "  ")
    elif run.failure is None:
        yield from wrapped(f"At the end: {how_it_stands(run.end, words)}.", "  ")
