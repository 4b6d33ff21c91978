"""Finds what in the file a row is about: the requirements that it touches, and those that limit the time of an effect."""

from collections.abc import Iterator

from seqcheck.analyse.judge import is_true
from seqcheck.analyse.testing.goals import COMMAND, PERMISSIVE, targets
from seqcheck.analyse.testing.records import Item
from seqcheck.analyse.testing.wording import Words
from seqcheck.model.model import Elsewhere, Forbid, Model, State

RECORD = "no limit in the file; record: ______ s"


def requirement(model: Model, item: Item, before: State) -> str:
    """Name what an item is in the file, and the requirements of kind `forbid` that a refusal answers."""
    if item.sort == COMMAND:
        return f"command “{model.steps[item.number].name}”"
    if item.sort == PERMISSIVE:
        step = model.steps[item.number]
        ids = [p.id for p in model.properties if _forbids(model, p.rule, item.number, before)]
        named = f"permissive “{step.guards[item.place].name}” of “{step.name}”"
        return f"{named} ({', '.join(ids)})" if ids else named
    return f"trip “{model.reactions[item.number].name}”"


def _forbids(model: Model, rule: object, number: int, state: State) -> bool:
    return isinstance(rule, Forbid) and rule.step == number and is_true(model, rule.during.test, state)


def places(model: Model, item: Item) -> tuple[int, ...]:
    """Return the variables by which an item is seen."""
    if item.sort == COMMAND:
        written = (target for assign in model.steps[item.number].program for target in assign.targets)
        return tuple(dict.fromkeys(written))
    return () if item.sort == PERMISSIVE else (item.place,)


def written_by(model: Model, item: Item) -> tuple[int, ...]:
    """Return all that a command or a trip writes."""
    return places(model, item) if item.sort == COMMAND else targets(model.reactions[item.number])


def deadlines(model: Model, before: State, after: State) -> Iterator[tuple[str, str]]:
    """Yield the ids of the requirements on time that a step calls for, with what they ask: they name an effect and its time."""
    words = Words(model=model)
    for p in model.properties:
        rule = p.rule
        if not isinstance(rule, Elsewhere) or rule.then is None or rule.within_ticks is None:
            continue
        called = is_true(model, rule.when.test, after) and not is_true(model, rule.when.test, before)
        if called and not is_true(model, rule.then.test, before):
            yield p.id, f"“{one_line(rule.then.text)}” within {words.time(rule.within_ticks)} ({p.id})"


def one_line(text: str) -> str:
    """Return a text without line ends."""
    return " ".join(text.split())
