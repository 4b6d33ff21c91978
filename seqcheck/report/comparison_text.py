"""Writes a comparison of two files for people at a terminal: the answer first, then what differs, each with a short run."""

import textwrap
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import TypeAlias

from seqcheck.analyse.comparing.comparison import (
    AskedChange,
    Change,
    CommandChange,
    Comparison,
    Outcome,
    Part,
    Shown,
    StepChange,
    VerdictChange,
)
from seqcheck.analyse.comparing.naming import Named
from seqcheck.model.run import By, Run, StepKind, Value
from seqcheck.report.lines import WIDTH, caution, counted
from seqcheck.report.narrate import Vocabulary, duration_words, how_it_fails, how_it_stands, shown
from seqcheck.report.text import WORDS
from seqcheck.search.comparing.pair import Side

Words: TypeAlias = Mapping[Side, Vocabulary]
Paint: TypeAlias = Callable[[str, Outcome], str]


def plain(text: str, _outcome: Outcome) -> str:
    """Paint nothing."""
    return text


def comparison_text(told: Comparison, words: Words, files: Sequence[tuple[str, str]], paint: Paint = plain) -> Iterator[str]:
    """Yield the lines of a whole report. *files* are the name and the hash of the old and of the new one."""
    for side, part, (file, sha256) in zip(("old", "new"), (told.old, told.new), files, strict=True):
        revision = f", revision {part.revision}" if part.revision else ""
        yield f"{side}: {part.machine}{revision}   ({file}, sha256 {sha256[:12]})"
    yield ""
    yield from _answer(told, paint)
    yield from _section("Verdicts that differ", (_verdict(one, words) for one in told.verdicts))
    yield from _section("Asked otherwise", (_asked(one, words) for one in told.asked))
    yield from _section("Commands", (_command(one, words) for one in told.commands))
    yield from _section(
        "Steps that are possible in one file only or lead elsewhere, from situations that both reach",
        (_step(one, words) for one in told.steps),
    )
    yield from _section("Situations", _situations(told, words))
    yield from _section("Names that only one file has", _names(told))
    yield from _section("How situations were compared", ([*_wrapped(note, "  - ")] for note in told.notes))
    yield from caution()


def _section(title: str, entries: Iterator[list[str]]) -> Iterator[str]:
    lines = [line for entry in entries for line in entry]
    if lines:
        yield ""
        yield title
        yield from lines


ANSWERS = {
    Outcome.SAME: "Same behaviour in this model, without faults",
    Outcome.DIFFERS: "Behaviour differs",
    Outcome.UNDECIDED: "Undecided",
}


def _answer(told: Comparison, paint: Paint) -> Iterator[str]:
    yield paint(ANSWERS[told.outcome], told.outcome) + f" ({told.seconds:.2f} s)"
    if told.quick:
        yield from _wrapped(
            "Only layout, comments, texts, names or the order of entries differ, if anything; nothing had to be searched.", "  "
        )
        return
    if told.stopped is not None:
        text = (
            f"The search ended early at {told.stopped.value}, after {_reached(told.old)} of the old file and "
            f"{_reached(told.new)} of the new one, with {counted(told.common or 0, 'situation')} in common. What is listed is "
            "so; there may be more. Verdicts, and situations that only one file reaches, were not compared."
        )
        yield from _wrapped(text, "  ")
    else:
        text = (
            f"Every reachable state of both was visited: {_reached(told.old)} of the old file, {_reached(told.new)} of the new "
            f"one, {counted(told.common or 0, 'situation')} in common."
        )
        yield from _wrapped(text, "  ")
        if not _any_doing(told) and told.outcome is Outcome.DIFFERS:
            yield from _wrapped("The machines do the same; what is asked of them differs.", "  ")
    if told.unclear:
        text = (
            f"In {counted(told.unclear, 'case')} something is possible in both files, but only sometimes in one situation: it "
            "depends on what only one file has. Whether that comes to the same cannot be told; --rename says what stands for "
            "what."
        )
        yield from _wrapped(text, "  ")
    if told.undecided:
        yield from _wrapped(f"Not decided: {', '.join(told.undecided)}.", "  ")


def _any_doing(told: Comparison) -> bool:
    return bool(told.commands or told.steps or told.gone or told.come or told.starts_gone or told.starts_come)


def _reached(part: Part) -> str:
    return counted(part.states or 0, "state")


# --- entries --------------------------------------------------------------------------------------------------------
def _verdict(one: VerdictChange, words: Words) -> list[str]:
    results = [result for result in (one.new, one.old) if result is not None]
    text = results[0].text or results[0].condition
    missing = "holds" if one.is_built_in else "not asked"
    before, now = (WORDS[result.verdict] if result is not None else missing for result in (one.old, one.new))
    lines = _wrapped(f"{one.id}: {text}: {before} before, {now} now", "  ")
    for side, result in ((Side.OLD, one.old), (Side.NEW, one.new)):
        if result is not None and result.run is not None and result.verdict.value != "holds":
            lines += _run(result.run, side, words, "    ")
        elif result is not None and result.verdict.value != "holds" and result.reason:
            lines += _wrapped(f"{side.value} file: {result.reason}", "    ")
    return lines


def _asked(one: AskedChange, words: Words) -> list[str]:
    lines = _wrapped(f"{one.id}: {one.how}", "  ")
    for change, when in ((one.more, "true now and was not before"), (one.less, "no longer true")):
        if change is not None:
            lines += _change(change, f"its condition is {when} in {_situated(change)}", words)
    return lines


def _command(one: CommandChange, words: Words) -> list[str]:
    lines: list[str] = []
    if one.accepted is not None:
        before = "the old file does not have it" if one.only is Side.NEW else "it was refused before"
        lines += _change(
            one.accepted, f"“{one.name}” is accepted now in {_situated(one.accepted)} in which {before}", words, "  "
        )
    if one.refused is not None:
        how = "is gone; it was accepted" if one.only is Side.OLD else "is refused now"
        before = "" if one.only is Side.OLD else " in which it was accepted before"
        by = f", by: {'; '.join(one.refused_by)}" if one.refused_by else ""
        lines += _change(one.refused, f"“{one.name}” {how} in {_situated(one.refused)}{before}{by}", words, "  ")
    return lines


def _step(one: StepChange, words: Words) -> list[str]:
    name = _by(one.by, words[Side.OLD if one.only is Side.OLD else Side.NEW])
    about = "" if one.only is None else f" (a step that only the {one.only.value} file has)"
    have = [
        f"the {side.value} file has {counted(change.count, 'transition')} that the {other} one has not"
        for side, other, change in ((Side.OLD, "new", one.gone), (Side.NEW, "old", one.come))
        if change is not None
    ]
    lines = _wrapped(f"{name}{about}: {', '.join(have)}", "  ")
    for change in (one.gone, one.come):
        if change is not None and change.shown is not None:
            lines += _shown(change.shown, words, "    ")
            lines += _last(change.shown, words[change.shown.side])
    return lines


def _last(one: Shown, words: Vocabulary) -> list[str]:
    """Say what the last step of a run changes."""
    if one.run.failure is not None:
        return _wrapped(how_it_fails(one.run.failure, words), "    ")
    changes = [pair for pair in one.run.steps[-1].changes if pair[0] not in words.sensors]
    changed = "; ".join(_changed(name, value, words) for name, value in changes)
    return _wrapped(f"by its last step: {changed or 'nothing changes but how long things have been going on'}", "    ")


def _changed(name: str, value: Value, words: Vocabulary) -> str:
    if name in words.timers:
        return f"the timer “{words.name(name.removesuffix('.Q'))}” switches {'on' if value else 'off'}"
    return f"{words.name(name)} becomes {shown(value)}"


def _situations(told: Comparison, words: Words) -> Iterator[list[str]]:
    for change, what in (
        (told.starts_gone, "{} in which only the old file starts"),
        (told.starts_come, "{} in which only the new file starts"),
        (told.gone, "{} that the new file no longer reaches"),
        (told.come, "{} that only the new file reaches"),
    ):
        if change is not None:
            lines = _change(change, what.format(_situated(change)), words, "  ")
            if change.shown is not None:
                lines += _wrapped(f"there: {_there(change.shown.run, words[change.shown.side])}", "    ")
            yield lines


def _there(run: Run, words: Vocabulary) -> str:
    """Say how it stands at the end of a run, and how long timers have run."""
    elapsed = [(name.removesuffix(".ET"), ticks) for name, ticks in run.end if name.endswith(".ET")]
    ran = [f"timer “{words.name(name)}” at {words.duration(int(ticks))}" for name, ticks in elapsed if ticks]
    return "; ".join([how_it_stands(run.end, words), *ran])


def _situated(change: Change) -> str:
    return counted(change.count, "situation")


def _names(told: Comparison) -> Iterator[list[str]]:
    for side, names in (("old", told.old_names), ("new", told.new_names)):
        if names:
            yield _wrapped(f"only in the {side} file: {'; '.join(map(_named, names))}", "  ")
    if told.old_names and told.new_names:
        yield _wrapped("If one of them is only called otherwise now, say so: --rename OLD=NEW", "  ")


def _named(named: Named) -> str:
    return f"{named.sort.value} “{named.name}”"


def _change(change: Change, text: str, words: Words, indent: str = "    ") -> list[str]:
    lines = _wrapped(text, indent)
    if change.shown is None:
        return [*lines, *_wrapped("a limit left no time to find a run", indent + "  ")]
    return [*lines, *_shown(change.shown, words, indent + "  ")]


def _shown(one: Shown, words: Words, indent: str) -> list[str]:
    return _run(one.run, one.side, words, indent)


def _run(run: Run, side: Side, words: Words, indent: str) -> list[str]:
    vocabulary = words[side]
    if not run.steps:
        return _wrapped(f"{side.value} file: at the start", indent)
    steps = [(name, sum(1 for _ in same)) for name, same in groupby(_by(s.by, vocabulary, s.ticks) for s in run.steps)]
    told = "; ".join(name if times == 1 else f"{times} times {name}" for name, times in steps)
    length = f"{counted(run.step_count, 'step')}, {duration_words(run.tick_count * vocabulary.tick_s)}"
    ending = "" if run.failure is None else " (this is never completed)"
    return _wrapped(f"{side.value} file, {length}: {told}{ending}", indent)


def _by(by: By, words: Vocabulary, ticks: int = 0) -> str:
    """Say in a few words who acts."""
    match by.kind:
        case StepKind.WAIT:
            return f"wait {words.duration(ticks)}" if ticks else "waiting"
        case StepKind.PANEL:
            return f"{words.name(by.name)} to {shown(by.to if by.to is not None else '')}"
        case _:
            return f"“{by.name}”"


def _wrapped(text: str, indent: str) -> list[str]:
    hanging = indent + "  " if indent.strip() == "" else " " * len(indent)
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=hanging)
