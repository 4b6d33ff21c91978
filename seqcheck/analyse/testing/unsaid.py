"""Lists what a cause-and-effect matrix can't say of a machine: sequence, mode, order of trips, time. Each thing is named."""

from collections.abc import Iterator

from seqcheck.analyse.procedures.wording import in_seconds
from seqcheck.analyse.testing.demands import one_line
from seqcheck.analyse.testing.goals import targets
from seqcheck.analyse.testing.grid import Unsaid
from seqcheck.model.expression import Expression, reads
from seqcheck.model.model import Elsewhere, Forbid, Model, Observed, Only, Property, Reaction, VariableKind
from seqcheck.model.run import StepKind


def trips_unsaid(model: Model) -> Iterator[Unsaid]:
    """Yield where the order of trips decides, what hangs on the mode, and what hangs on what was done before."""
    trips = [reaction for reaction in model.reactions if reaction.is_trip]
    for number, one in enumerate(trips):
        for later in trips[number + 1 :]:
            for place in targets(one):
                if place in targets(later) and written(one)[place] != written(later)[place]:
                    name = model.variables[place].spoken
                    text = f"both write {name}; if both act at once, “{later.name}” wins, since it stands later in the file"
                    yield Unsaid(sort="order of trips", about=f"trips “{one.name}” and “{later.name}”", text=text)
    yield from _modes(model)
    yield from _sequence(model)


def written(reaction: Reaction) -> dict[int, Expression]:
    """Return what a trip writes to each variable."""
    return {t: v for assign in reaction.program for t, v in zip(assign.targets, assign.values, strict=True)}


def _modes(model: Model) -> Iterator[Unsaid]:
    """Yield the conditions that read a panel item which is not the emergency stop."""
    stop = model.emergency_stop.name if model.emergency_stop is not None else ""
    items = {n: v for n, v in enumerate(model.variables) if v.kind is VariableKind.PANEL and v.name != stop}
    for about, test, text in _conditions(model):
        for place in sorted(reads(test, model.sensor_values) & items.keys()):
            yield Unsaid(sort="mode", about=about, text=f"hangs on {items[place].spoken}: {text}")


def _sequence(model: Model) -> Iterator[Unsaid]:
    """Yield the permissives that read the controller's memory: what must have been done before."""
    memory = {n: v for n, v in enumerate(model.variables) if v.kind is VariableKind.MEMORY}
    for step in model.steps:
        for guard in step.guards if step.kind is StepKind.COMMAND else ():
            for place in sorted(reads(guard.test, model.sensor_values) & memory.keys()):
                text = f"hangs on what was done before, which {memory[place].spoken} remembers: {one_line(guard.text)}"
                yield Unsaid(sort="sequence", about=f"permissive “{guard.name}” of “{step.name}”", text=text)
    for procedure in model.procedures:
        text = f"{len(procedure.steps)} steps in a stated order"
        yield Unsaid(sort="sequence", about=f"procedure “{procedure.name}”", text=text)


def _conditions(model: Model) -> Iterator[tuple[str, Expression, str]]:
    for reaction in model.reactions:
        if reaction.is_trip:
            yield f"trip “{reaction.name}”", reaction.when.test, one_line(reaction.when.text)
    for step in model.steps:
        for guard in step.guards if step.kind is StepKind.COMMAND else ():
            yield f"permissive “{guard.name}” of “{step.name}”", guard.test, one_line(guard.text)


def timers_unsaid(model: Model) -> Iterator[Unsaid]:
    """Yield the timers: a matrix has a delay, not what starts it, holds it and clears it."""
    for timer in model.timers:
        text = f"{timer.kind.value}, {in_seconds(timer.pt * model.tick_s)}, runs with: {one_line(timer.input.text)}"
        yield Unsaid(sort="time", about=f"timer {timer.name}", text=text)


def requirements_unsaid(model: Model) -> Iterator[Unsaid]:
    """Yield the requirements on time and order."""
    for p in model.properties:
        sort = _sort(p)
        if sort:
            yield Unsaid(sort=sort, about=f"requirement {p.id}", text=p.text or p.id)


def _sort(p: Property) -> str:
    match p.rule:
        case Elsewhere(kind=kind) | Observed(kind=kind):
            return "time" if kind == "response" else "sequence"
        case Forbid() | Only():
            return "sequence"
        case _:
            return ""
