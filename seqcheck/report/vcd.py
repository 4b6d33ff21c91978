"""Writes a run as a waveform: a value change dump (IEEE Std 1364-2005, clause 18), text that any viewer of waveforms reads.

Steps take no time, and such a file keeps one value for each moment. So the steps of one instant stand one unit of time after
the other, a thousandth of a tick or less each; what the file says in its comment, with the names that numbers stand for.
"""

import itertools
import json
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction

from msgspec import Struct
from msgspec.structs import replace

from seqcheck import __version__
from seqcheck.analyse.verdict import StepAccount
from seqcheck.model.model import Model
from seqcheck.model.run import Run, RunStep, StepKind, Value
from seqcheck.report.course import Group, Signal, signals, values_along
from seqcheck.report.narrate import duration_words

UNITS = tuple(
    (Fraction(size) / 1000**power, f"{size} {unit}")
    for power, unit in enumerate(("s", "ms", "us", "ns", "ps", "fs"))
    for size in (100, 10, 1)
)
"""The units of time that the standard allows, in seconds and as it writes them."""

LEAST_PARTS = 1000
ROOM = 10
"""A tick has at least so many units, and so many times as many as there are steps in an instant."""

FAULTS = "faults"
INTEGER_BITS = 32
FIRST_CODE, CODES = 33, 94


class Clock(Struct, frozen=True, kw_only=True):
    """How time is written: *units* for each tick. *exact*: one unit is as long as *unit* says."""

    unit: str
    units: int
    exact: bool


class Wire(Struct, frozen=True, kw_only=True):
    """One variable of the dump: its *code* in the changes, how it is declared, the signal or fault behind it, if any.

    *really*: it is what an output does, whatever it is commanded to do.
    """

    code: str
    scope: str
    kind: str
    bits: int
    label: str
    signal: Signal | None = None
    fault: str = ""
    really: bool = False


class Moment(Struct, frozen=True, kw_only=True):
    """What holds from a time on: the number of each wire, None where it has no value."""

    time: int
    numbers: tuple[int | None, ...]


def vcd_of(run: Run, accounts: tuple[StepAccount, ...], model: Model, *, about: str, date: str = "") -> str:
    """Return the text of a run's waveform. *about* says in a line where the run is from; there is no date unless one is given.

    ASCII only. Each part, panel item, output (as commanded), memory, sensor and timer's Q is a variable, and so is each fault
    under study (1 once it has occurred), and what an output that may be stuck really does. `entry` counts the entries of the
    run, `step` those that are no waiting; `failed` is 1 where the last step fails.
    """
    clock = clock_of(run, model.tick_s)
    wires = wires_of(run, model)
    lines = [
        *([f"$date {_escaped(date)} $end"] if date else []),
        f"$version seqcheck {__version__} $end",
        "$comment",
        *_comment(run, model, clock, wires, about),
        "$end",
        f"$timescale {clock.unit} $end",
        *_declared(wires, model),
        *_dumped(tuple(_moments(run, accounts, model, clock)), wires),
    ]
    return "\n".join(lines) + "\n"


def clock_of(run: Run, tick_s: Fraction) -> Clock:
    """Return the coarsest unit that a tick has a whole number of, with room for the steps of every instant."""
    needed = max(LEAST_PARTS, ROOM * (_most_at_once(run) + 1))
    for seconds, unit in UNITS:
        units = tick_s / seconds
        if units.denominator == 1 and units >= needed:
            return Clock(unit=unit, units=units.numerator, exact=True)
    return Clock(unit=UNITS[-1][1], units=needed, exact=False)


def _most_at_once(run: Run) -> int:
    most = now = 0
    for step in run.steps:
        now = 0 if step.by.kind is StepKind.WAIT else now + 1
        most = max(most, now)
    return most


def wires_of(run: Run, model: Model) -> tuple[Wire, ...]:
    """Return the variables of the dump: the counters, the signals, the faults under study."""
    taken = {("", group.value) for group in Group} | {("", FAULTS)}
    wires = [
        Wire(code="", scope="", kind="integer", bits=INTEGER_BITS, label="entry"),
        Wire(code="", scope="", kind="integer", bits=INTEGER_BITS, label="step"),
        Wire(code="", scope="", kind="wire", bits=1, label="failed"),
    ]
    stuck = {model.variables[place].name for place, _ in model.actual}
    for one in signals(model):
        scope, (kind, bits) = one.group.value, _form(one)
        wires.append(Wire(code="", scope=scope, kind=kind, bits=bits, label=_legal(one.name, scope, taken), signal=one))
        if one.name in stuck:
            label = _legal(f"{one.name}_really", scope, taken)
            wires.append(Wire(code="", scope=scope, kind=kind, bits=bits, label=label, signal=one, really=True))
    wires += [Wire(code="", scope=FAULTS, kind="wire", bits=1, label=_legal(f, FAULTS, taken), fault=f) for f in run.faults]
    return tuple(replace(wire, code=_code(number)) for number, wire in enumerate(wires))


def _form(signal: Signal) -> tuple[str, int]:
    """Return how a signal is declared: one bit for two values, a signed integer where a value may be below zero."""
    if signal.lowest < 0:
        most = max(signal.highest, -signal.lowest - 1)
        return "integer", max(INTEGER_BITS, most.bit_length() + 1)
    bits = max(1, signal.highest.bit_length())
    return ("wire", 1) if bits == 1 else ("reg", bits)


def _code(number: int) -> str:
    code = chr(FIRST_CODE + number % CODES)
    return code if number < CODES else _code(number // CODES - 1) + code


def _legal(name: str, scope: str, taken: set[tuple[str, str]]) -> str:
    """Return a name as an identifier that nothing else in its scope has, and note it."""
    plain = "".join(c if c.isascii() and (c.isalnum() or c == "_") else "_" for c in name.removesuffix(".Q"))
    plain = plain if plain[:1].isalpha() or plain[:1] == "_" else f"_{plain}"
    chosen, number = plain, 1
    while (scope, chosen) in taken:
        number += 1
        chosen = f"{plain}_{number}"
    taken.add((scope, chosen))
    return chosen


def _declared(wires: Sequence[Wire], model: Model) -> Iterator[str]:
    yield f"$scope module {_legal(model.name, '', set())} $end"
    scopes = tuple(dict.fromkeys(wire.scope for wire in wires))
    for scope in scopes:
        if scope:
            yield f"$scope module {scope} $end"
        yield from (f"$var {w.kind} {w.bits} {w.code} {w.label} $end" for w in wires if w.scope == scope)
        if scope:
            yield "$upscope $end"
    yield "$upscope $end"
    yield "$enddefinitions $end"


def _moments(run: Run, accounts: tuple[StepAccount, ...], model: Model, clock: Clock) -> Iterator[Moment]:
    """Yield what holds at the start and after each entry; times only go up."""
    wires = wires_of(run, model)
    ticks = since = number = 0
    occurred: set[str] = set()
    for entry, values in enumerate(values_along(run, model)):
        if entry:
            step = run.steps[entry - 1]
            waits = step.by.kind is StepKind.WAIT
            ticks, since, number = (ticks + step.ticks, 0, number) if waits else (ticks, since + 1, number + 1)
            if step.by.kind is StepKind.FAULT:
                occurred.add(step.by.name)
        fails = run.failure is not None and entry == len(run.steps)
        counted = {"entry": entry, "step": number, "failed": int(fails)}
        does = {**values, **dict(accounts[entry - 1].really if entry else ())}
        numbers = tuple(_number(wire, counted, does if wire.really else values, occurred) for wire in wires)
        yield Moment(time=ticks * clock.units + since, numbers=numbers)


def _number(wire: Wire, counted: Mapping[str, int], values: Mapping[str, Value], occurred: set[str]) -> int | None:
    if wire.signal is not None:
        value = values.get(wire.signal.name)
        return None if value is None else wire.signal.raw(value)
    return int(wire.fault in occurred) if wire.fault else counted[wire.label]


def _dumped(moments: Sequence[Moment], wires: Sequence[Wire]) -> Iterator[str]:
    """Yield the values at the start, then what changes, and a last time at which nothing does, so that the last values show."""
    first = moments[0]
    yield f"#{first.time}"
    yield "$dumpvars"
    yield from (_change(wire, number) for wire, number in zip(wires, first.numbers, strict=True))
    yield "$end"
    for before, after in itertools.pairwise(moments):
        yield f"#{after.time}"
        for wire, one, other in zip(wires, before.numbers, after.numbers, strict=True):
            if one != other:
                yield _change(wire, other)
    yield f"#{moments[-1].time + 1}"


def _change(wire: Wire, number: int | None) -> str:
    if wire.bits == 1:
        return f"{'x' if number is None else number}{wire.code}"
    digits = "x" if number is None else f"{number % 2**wire.bits:b}"
    return f"b{digits} {wire.code}"


def _comment(run: Run, model: Model, clock: Clock, wires: Sequence[Wire], about: str) -> Iterator[str]:
    """Yield the lines that say what the file is of and what its times and numbers mean."""
    tick = duration_words(model.tick_s)
    yield _escaped(about)
    yield "A run of the model of a machine, under its assumptions. Names of the file stand in quotes, with JSON escapes."
    if clock.exact:
        yield f"One tick of the model ({tick}) is {clock.units} units of time. Waiting ends at whole ticks."
    else:
        yield f"Times are not in seconds: one tick of the model ({tick}) is too short; it is written as {clock.units} units."
    yield "Steps take no time: those of one instant stand one unit after the other."
    yield ""
    yield "What the numbers mean:"
    yield "  entry: how many entries of the run are done; step: the same without waiting; failed: 1, the last one has no end"
    for wire in wires:
        if wire.signal is not None:
            really = " as it really does" if wire.really else ""
            yield f"  {wire.scope}.{wire.label}: {_quoted(wire.signal.name)}{really}{_meaning(wire)}"
        elif wire.fault:
            yield f"  {wire.scope}.{wire.label}: {_quoted(wire.fault)}, 1 once it has occurred"
    yield ""
    yield "The entries of the run:"
    yield from _entries(run, model)


def _meaning(wire: Wire) -> str:
    if wire.signal is None or not wire.signal.labels:
        return ", a number" + (" in two's complement" if wire.kind == "integer" else "")
    return "".join(f", {number} {_quoted(str(label).lower() if isinstance(label, bool) else label)}"
                   for number, label in enumerate(wire.signal.labels))  # fmt: skip


def _entries(run: Run, model: Model) -> Iterator[str]:
    ticks = number = 0
    for entry, step in enumerate(run.steps, start=1):
        waits = step.by.kind is StepKind.WAIT
        number += 0 if waits else 1
        named = f"entry {entry}" if waits else f"entry {entry}, step {number}"
        acted = f"; then {', '.join(map(_quoted, step.acted))}" if step.acted else ""
        yield f"  {named}, at {duration_words(ticks * model.tick_s)}: {_who(step, model)}{acted}"
        ticks += step.ticks


def _who(step: RunStep, model: Model) -> str:
    if step.by.kind is StepKind.WAIT:
        return f"waiting {duration_words(step.ticks * model.tick_s)}"
    to = "" if step.by.to is None else f" to {_quoted(step.by.to)}"
    return f"{step.by.kind.value} {_quoted(step.by.name)}{to}"


def _quoted(value: Value) -> str:
    """Return a value as JSON writes it, in ASCII and without a dollar sign, so that nothing in it looks like a keyword."""
    return json.dumps(value).replace("$", "\\u0024")


def _escaped(text: str) -> str:
    return _quoted(text)[1:-1]
