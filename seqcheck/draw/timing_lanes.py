"""A run as lanes: what each signal is after every entry, which entries take time, which moments decide. No geometry."""

from collections.abc import Iterator, Mapping, Sequence

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.verdict import Result, StepAccount, Verdict
from seqcheck.model.model import Model
from seqcheck.model.run import Run, RunStep, StepKind, Value
from seqcheck.report.course import Group, Signal, signals, values_along
from seqcheck.report.narrate import Vocabulary, how_it_fails, listed, shown

NO_VALUE = "no value"
PROCEDURE = "procedure"


class Entry(Struct, frozen=True, kw_only=True):
    """One entry of the run: what made it, its number as the run is told (empty for waiting), what it says.

    *wait* is the length of waiting in words, *now* the time once the entry is over. *quiet*: nothing but time passes.
    """

    kind: StepKind
    number: str
    ticks: int
    now: str
    wait: str
    says: str
    quiet: bool


class Lane(Struct, frozen=True, kw_only=True):
    """One signal: its value in words at the settled start and after each entry. *levels*: low and high of two values.

    *always*: it is drawn even where it does not change.
    """

    group: Group
    name: str
    values: tuple[str, ...]
    levels: tuple[str, str] | None
    always: bool = False

    def drawn(self, first: int, until: int) -> bool:
        """Tell whether there is something to draw of the values from *first* up to *until*."""
        return self.always or len(set(self.values[first:until])) > 1


class Lanes(Struct, frozen=True, kw_only=True):
    """A run, ready to be drawn. *deciding* is the entry of the last command that the controller accepted, -1 if there is none.

    *ending* says in few words what is so at the end, *because* says it whole.
    """

    title: str
    at_first: str
    entries: tuple[Entry, ...]
    lanes: tuple[Lane, ...]
    unchanged: tuple[Lane, ...]
    deciding: int
    ending: str
    because: str


def lanes_of(
    run: Run, accounts: tuple[StepAccount, ...], model: Model, words: Vocabulary, result: Result | None = None
) -> Lanes:
    """Return the lanes of a run of *model*. *result* is the verdict that the run shows."""
    entries = tuple(_entries(run, words))
    every = tuple(_lanes(run, accounts, model, words))
    commands = [place for place, step in enumerate(run.steps) if step.by.kind is StepKind.COMMAND and not _fails(run, place)]
    return Lanes(
        title=_title(run, result),
        at_first=words.duration(0),
        entries=entries,
        lanes=tuple(lane for lane in every if lane.drawn(0, len(lane.values))),
        unchanged=tuple(lane for lane in every if not lane.drawn(0, len(lane.values))),
        deciding=max(commands, default=-1),
        ending=_ending(run, result),
        because=_because(run, words, result),
    )


def _title(run: Run, result: Result | None) -> str:
    faults = f" (with the fault {' and '.join(run.faults)})" if run.faults else ""
    return ("A run" if result is None else f"{result.id}: {result.text or result.condition}") + faults


def _fails(run: Run, place: int) -> bool:
    return run.failure is not None and place == len(run.steps) - 1


def _entries(run: Run, words: Vocabulary) -> Iterator[Entry]:
    ticks = number = 0
    for place, step in enumerate(run.steps):
        waits = step.by.kind is StepKind.WAIT
        number += 0 if waits else 1
        ticks += step.ticks
        yield Entry(
            kind=step.by.kind,
            number="" if waits else str(number),
            ticks=step.ticks,
            now=words.duration(ticks),
            wait=words.duration(step.ticks) if waits else "",
            says=_says(step, words, fails=_fails(run, place)),
            quiet=waits and not step.acted and not step.changes,
        )


def _says(step: RunStep, words: Vocabulary, *, fails: bool) -> str:
    """Return in few words what an entry is."""
    by = step.by
    acted = f"; then {listed([f'“{name}”' for name in step.acted])}" if step.acted else ""
    match by.kind:
        case StepKind.COMMAND:
            said = f"command “{by.name}” {'given' if fails else 'accepted'}"
        case StepKind.PERSON:
            said = f"person: {by.name}"
        case StepKind.PANEL:
            said = f"panel: {words.name(by.name)} to {shown(by.to if by.to is not None else '')}"
        case StepKind.PLANT:
            said = f"machine: {by.name}"
        case StepKind.FAULT:
            said = f"fault: {by.name}"
        case StepKind.WAIT:
            said = f"after {words.duration(step.ticks)} of waiting"
    return said + acted


def _lanes(run: Run, accounts: tuple[StepAccount, ...], model: Model, words: Vocabulary) -> Iterator[Lane]:
    along = values_along(run, model)
    stuck = {name for account in accounts for name, _ in account.really}
    for signal in signals(model):
        name = words.name(signal.name.removesuffix(".Q"))
        if signal.name not in stuck:
            yield _lane(signal, name, along)
            continue
        after = zip(along[1:], accounts, strict=True)
        does = [along[0], *({**values, **dict(account.really)} for values, account in after)]
        yield replace(_lane(signal, f"{name}, commanded", along), always=True)
        yield replace(_lane(signal, f"{name}, really", does), always=True)


def _lane(signal: Signal, name: str, along: Sequence[Mapping[str, Value]]) -> Lane:
    known = [values.get(signal.name) for values in along]
    values = tuple(NO_VALUE if value is None else shown(value) for value in known)
    levels = None
    if signal.values == 2 and None not in known:
        low, high = signal.labels or (signal.lowest, signal.highest)
        levels = (shown(low), shown(high))
    return Lane(group=signal.group, name=name, values=values, levels=levels)


def _ending(run: Run, result: Result | None) -> str:
    if run.failure is not None:
        return "this never comes to an end" if run.steps else "the start never comes to rest"
    if result is None:
        return "the run ends here"
    if result.verdict is Verdict.VIOLATED and result.kind == PROCEDURE:
        return "here the procedure goes wrong"
    if result.verdict is Verdict.VIOLATED:
        return f"{result.id} is {'met' if result.kind == 'hazard' else 'violated'}"
    return f"{result.id}: reached" if result.verdict is Verdict.HOLDS else f"{result.id}: undecided"


def _because(run: Run, words: Vocabulary, result: Result | None) -> str:
    if run.failure is not None:
        return how_it_fails(run.failure, words, at_start=not run.steps)
    if result is None or result.verdict is not Verdict.VIOLATED:
        return ""
    if result.kind == PROCEDURE:
        return f"The procedure does not work as written: {result.reason}."
    if result.spoken:
        verb = "met" if result.kind == "hazard" else "violated"
        return f"So {result.id} is {verb}: {' and '.join(result.spoken)}."
    return f"{result.id} is violated: {result.reason}." if result.reason else ""
