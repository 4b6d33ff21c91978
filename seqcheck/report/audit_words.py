"""Says in words what the sections of an audit have in common: parts of the logic, what is violated, shares, paragraphs."""

import textwrap
from collections.abc import Sequence

from seqcheck.analyse.auditing.parts import Part
from seqcheck.analyse.auditing.purposes import Need
from seqcheck.report.lines import WIDTH, counted


def part_words(part: Part) -> str:
    """Return how a part is called beneath its command."""
    if part.clause is not None:
        return f"of it “{part.text}”"
    return f"“{part.name}”" if part.name else f"its condition “{part.text}”"


def needs_words(needs: Sequence[Need]) -> str:
    """Return in words what is violated."""
    violated = [need for need in needs if not need.failing]
    said = []
    if violated:
        first, *others = violated
        said.append(", ".join([f"{first.id} is violated{_cost(first)}", *(f"{need.id}{_cost(need)}" for need in others)]))
    said += [f"a step fails{_cost(need)}: {need.failing}" for need in needs if need.failing]
    return "; ".join(said)


def _cost(need: Need) -> str:
    if need.run is None:
        return "" if need.failing else ", being out of reach"
    if need.run.step_count:
        return f" in {counted(need.run.step_count, 'step')}"
    return " after some waiting" if need.run.steps else " at the start"


def percent(some: int, of: int) -> str:
    """Return a share in words, never as 0 % or 100 % where it is not all or nothing."""
    share = 100 * some / of
    if some < of and share > 99:
        return "more than 99 %"
    return "less than 1 %" if share < 1 else f"{share:.0f} %"


def wrapped(text: str, indent: str, more: int = 0) -> list[str]:
    """Return the lines of a paragraph."""
    later = " " * (len(indent) + more)
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=later) or [indent.rstrip()]
