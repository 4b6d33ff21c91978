"""Random machines, and changes of them that keep or alter what they do."""

import re
from collections.abc import Iterator

from hypothesis import assume
from hypothesis import strategies as st

from seqcheck.check.check import check
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.syntax.read import read
from tests.outside.machines import machines

ENTRY = re.compile(r"^  ('|\")?(command|trip|plant rule|action|timer_|H|R)[ 0-9]", re.MULTILINE)
CHANGES = (
    ("pt: 1 s", "pt: 2 s"), ("pt: 2 s", "pt: 3 s"), ("pt: 3 s", "pt: 1 s"), ("kind: TON", "kind: TOF"),
    ("kind: TOF", "kind: TP"), ("after: 1 s", "after: 2 s"), ("after: 2 s or more", "after: 1 s or more"),
    ("after: 1..2 s", "after: 2..3 s"), ("after: 0..1 s", "after: 0..2 s"), (", after: 1 s", ""), (" AND ", " OR "),
    ("NOT ", ""), ("= TRUE", "= FALSE"), ("starts: any", "starts: {}"), ("0..2", "0..3"), ("0..3", "0..2"),
    ("[off, on]", "[on, off]"), ("[low, mid, high]", "[low, mid, high, top]"), ("[shut, ajar, open]", "[open, shut, ajar]"),
    ("permissive", "permissive of another name"), ("after: at once", "after: 1 s"),
    ("memory_0", "store_0"), ("timer_0", "delay_0"), ("output_1", "lamp_1"), ("part_1", "piece_1"),
)  # fmt: skip
EMPTY = re.compile(r"^(commands|trips|plant|timers|requirements|hazards|people):\n(?!  )", re.MULTILINE)
NAMES = {
    "part_": "teil_",
    "panel_": "pult_",
    "output_": "ausgang_",
    "memory_": "merker_",
    "sensor_": "fuehler_",
    "timer_": "uhr_",
    "command ": "befehl ",
    "trip ": "ausloesung ",
    "plant rule ": "anlage ",
    "action ": "griff ",
}
STATES = {"mid": "medium", "ajar": "half_open"}
FREE = ("parts", "panel", "outputs", "memory", "sensors", "commands", "people", "plant", "hazards", "requirements")
"""Sections in which the order means nothing."""


def is_accepted(text: str) -> bool:
    """Tell whether a text is a sequence file."""
    sink = Sink()
    document = read(text.encode(), sink)
    return document is not None and check(document, sink) is not None


@st.composite
def changed(draw: st.DrawFn) -> tuple[str, str]:
    """A machine and a change of it: something left out, something altered."""
    old = draw(machines(with_faults=False))
    new = old
    for _ in range(draw(st.integers(1, 2))):
        lines = new.splitlines()
        droppable = [n for n, line in enumerate(lines) if ENTRY.match(line)]
        dropped = draw(st.sampled_from([*droppable, *([-1] * (len(droppable) + 1))]))
        if dropped >= 0:
            del lines[dropped]
            new = "\n".join(lines) + "\n"
            continue
        usable = [(a, b) for a, b in CHANGES if a in new]
        assume(usable)
        a, b = draw(st.sampled_from(usable))
        new = new.replace(a, b, draw(st.sampled_from([-1, 1])))
    new = EMPTY.sub("", new)
    assume(is_accepted(new))
    return draw(st.sampled_from([(old, new), (new, old)]))


def renamed(text: str) -> tuple[str, list[str]]:
    """Return a text in which every name is another one, and what is called otherwise."""
    renames = []
    for old, new in NAMES.items():
        found = sorted(set(re.findall(rf"\b{old}\d+", text)))
        renames += [f"{name}={new}{name.removeprefix(old)}" for name in found]
        text = re.sub(rf"\b{old}(\d+)", rf"{new}\1", text)
    for kind in ("H", "R"):
        renames += [f"{name}=X{name}" for name in sorted(set(re.findall(rf"^  ({kind}\d+):", text, re.MULTILINE)))]
        text = re.sub(rf"^  ({kind}\d+):", r"  X\1:", text, flags=re.MULTILINE)
    for name, states in re.findall(r"^  (\w+): (?:\{states: )?\[([\w, ]+)\]", text, re.MULTILINE):
        owner = next((old + name.removeprefix(new) for old, new in NAMES.items() if name.startswith(new)), name)
        renames += [f"{owner}.{one}={name}.{STATES[one]}" for one in states.split(", ") if one in STATES]
    for old, new in STATES.items():
        text = re.sub(rf"\b{old}\b", new, text)
    return text, renames


def sections(text: str) -> Iterator[list[str]]:
    """Yield the sections of a text, each with its title."""
    found: list[str] = []
    for line in text.splitlines():
        if found and not line.startswith("  "):
            yield found
            found = []
        found.append(line)
    yield found


@st.composite
def reordered(draw: st.DrawFn) -> tuple[str, str]:
    """A machine, and the same with entries in another order where that means nothing."""
    text = draw(machines(with_faults=False))
    parts = []
    for title, *entries in sections(text):
        at_once = any(re.search(r"after: (at once|0 s[,}]|0\.\.0 s)", entry) for entry in entries)
        free = title.removesuffix(":") in FREE and not at_once
        parts.append([title, *(draw(st.permutations(entries)) if free and entries else entries)])
    head, *rest = parts
    return text, "\n".join(line for part in (head, *draw(st.permutations(rest))) for line in part) + "\n"
