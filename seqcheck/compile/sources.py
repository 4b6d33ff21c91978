"""Collects where the numbers and rules of a file come from: every `source:` that it gives."""

from collections.abc import Iterator
from typing import TypeAlias

from seqcheck.check import machine as tree
from seqcheck.model.model import Source

SECTIONS = {
    tree.Section.PART: "part",
    tree.Section.PANEL: "panel item",
    tree.Section.OUTPUT: "output",
    tree.Section.MEMORY: "memory",
}


def sources(machine: tree.Machine) -> tuple[Source, ...]:
    """Return the sources given, in file order."""
    given = (Source(about=about, source=source, line=line) for about, source, line in _all(machine) if source)
    return tuple(sorted(given, key=lambda source: source.line))


Given: TypeAlias = tuple[str, str, int]


def _all(machine: tree.Machine) -> Iterator[Given]:
    yield from _declared(machine)
    yield from _moved(machine)
    yield from ((h.id, h.source, h.span.line) for h in machine.hazards)
    yield from ((r.id, r.source, r.span.line) for r in machine.requirements)
    yield from ((f"procedure “{p.name}”", p.source, p.span.line) for p in machine.procedures)


def _declared(machine: tree.Machine) -> Iterator[Given]:
    for variable in machine.variables:
        yield f"{SECTIONS[variable.section]} {variable.name}", variable.source, variable.span.line
    for timer in machine.timers:
        yield f"timer {timer.name}", timer.source, timer.span.line
    for command in machine.commands:
        for permissive in command.permissives:
            yield f"permissive “{permissive.name}” of “{command.name}”", permissive.source, permissive.span.line


def _moved(machine: tree.Machine) -> Iterator[Given]:
    for rule in machine.plant:
        yield f"interval of “{rule.name}”", rule.interval.source, rule.span.line
        yield f"plant rule “{rule.name}”", rule.source, rule.span.line
    yield from ((f"trip “{t.name}”", t.source, t.span.line) for t in machine.trips)
    yield from ((f"person's action “{a.name}”", a.source, a.span.line) for a in machine.people)
    yield from ((f"fault “{f.name}”", f.source, f.span.line) for f in machine.faults)
