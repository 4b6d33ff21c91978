"""Turns what an exploration noticed into findings: things never true, states never entered, dead ends, stuck time."""

from collections.abc import Iterator

from seqcheck.analyse.record import record
from seqcheck.analyse.verdict import Finding
from seqcheck.analyse.watching import Watch
from seqcheck.model.model import Hazard, Model, VariableKind
from seqcheck.search.engine import Exploration, Remarkable

NAMED = (VariableKind.PART, VariableKind.PANEL, VariableKind.OUTPUT, VariableKind.MEMORY)


def findings(model: Model, watches: tuple[Watch, ...], exploration: Exploration) -> tuple[Finding, ...]:
    """Return the findings of one case. With faults under study only those that the faults bring about."""
    always = (*_remarkable(model, exploration), *_passing(model, exploration))
    if exploration.stopped is not None:
        return always
    never = [watches[number] for number in sorted(exploration.never)]
    if model.faults:
        return (*always, *(watch.finding for watch in never if watch.finding.about in model.faults))
    unused = (*_never_acted(model, exploration), *_never_entered(model, exploration))
    return (*always, *_pruned(never), *unused)


def _pruned(never: list[Watch]) -> list[Finding]:
    """Leave out that a permissive decides nothing where its command is never accepted anyway."""
    dead = {watch.step for watch in never if watch.finding.kind == "never_accepted"}
    return [w.finding for w in never if not (w.finding.kind == "never_decisive" and w.step in dead)]


def _never_acted(model: Model, exploration: Exploration) -> Iterator[Finding]:
    for number, reaction in enumerate(model.reactions):
        if number not in exploration.acted:
            sort = "trip" if reaction.is_trip else "plant rule"
            text = f"the {sort} “{reaction.name}” never happens"
            yield Finding(kind="never_happens", about=reaction.name, text=text, line=reaction.line)


def _never_entered(model: Model, exploration: Exploration) -> Iterator[Finding]:
    for variable, entered in zip(model.variables, exploration.entered, strict=True):
        if variable.kind not in NAMED:
            continue
        for raw, label in enumerate(variable.labels):
            if raw not in entered:
                shown = str(label).lower() if isinstance(label, bool) else str(label).replace("_", " ")
                text = f"{variable.spoken} is never {shown}"
                yield Finding(kind="never_entered", about=variable.name, text=text, line=variable.line)


def _remarkable(model: Model, exploration: Exploration) -> Iterator[Finding]:
    if exploration.dead_ends is not None:
        yield _with_run(model, exploration.dead_ends, "dead_end", "{} that nobody and nothing leaves, reached {}")
    if exploration.time_stuck is not None:
        text = "{} in which time is stuck (a plant rule must happen and cannot), reached {}"
        yield _with_run(model, exploration.time_stuck, "time_stuck", text)


def _with_run(model: Model, states: Remarkable, kind: str, text: str) -> Finding:
    run, _ = record(model, states.trace)
    count = f"{states.count:,} state" + ("s" if states.count != 1 else "")
    steps = "at the start" if run.step_count == 0 else f"after {run.step_count} step" + "s" * (run.step_count != 1)
    return Finding(kind=kind, about="", text=text.format(count, steps), line=1, run=run)


def _passing(model: Model, exploration: Exploration) -> Iterator[Finding]:
    for number in sorted(exploration.passing - exploration.found.keys()):
        p = model.properties[number]
        if isinstance(p.rule, Hazard):
            text = (
                f"the condition of {p.id} is true in passing, until trips or at-once rules have acted without delay "
                f"(“{p.rule.must_not_be.text}”)"
            )
            yield Finding(kind="in_passing", about=p.id, text=text, line=p.line)
