"""Waveforms read back by a reader of its own (vcdvcd), values looked up in the table of the file's comment."""

import json
import re
from dataclasses import dataclass
from fractions import Fraction

import pytest
from msgspec.structs import replace
from vcdvcd import VCDVCD

from seqcheck.model.run import By, Run, RunStep, StepKind, Value
from seqcheck.report.vcd import clock_of, vcd_of
from tests.report.recorded import Recorded, as_simulated, of_drafts, of_stored, recorded_of

ROW = re.compile(r'^  (\w+\.\w+): ("(?:[^"\\]|\\.)*")(.*)$', re.MULTILINE)
LABEL = re.compile(r', (\d+) ("(?:[^"\\]|\\.)*"|-?\d+)')
SECONDS = {
    "s": Fraction(1),
    **{unit: Fraction(1, 1000**power) for power, unit in enumerate(("s", "ms", "us", "ns", "ps", "fs"))},
}

HOSTILE = """\
machine: "$end <b>&\\\\ \\u202e"
tick: 300 ms
parts:
  p: {states: [a, b], text: "$end $var wire 1 ! x $end"}
  n: {range: -2..2, starts: 0}
  wide: {range: -3000000000..-2999999999}
outputs: {o: [low, high], o_really: [high, low]}
sensors: {at_b: p = b}
timers: {t: {kind: TON, in: at_b, pt: 300 ms}}
people: {"$end \\u00e9 \\"quoted\\"": {if: n > -2 AND o = high, then: {p: b, n: n - 1}}}
commands: {"go $end": {permissives: {never: "FALSE"}, then: {o: high}}, other: {then: {o_really: low}}}
faults: {"stuck $end": {output: o, stuck: high}, stuck__end: {output: o_really, stuck: low}}
hazards: {H1: {must not be: n = -2 AND t.Q AND o = high AND o_really = low}}
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """A waveform as read: seconds of one unit, and for each entry of the run its time and the values by path."""

    unit_s: Fraction
    times: list[int]
    values: list[dict[str, str]]
    text: str


def read(text: str) -> Read:
    dump = VCDVCD(vcd_string=text, store_tvs=True)
    paths = {name.split(".", 1)[1]: dump[name] for name in dump.signals}
    times = [time for time, _ in paths["entry"].tv]
    assert [int(bits, 2) for _, bits in paths["entry"].tv] == list(range(len(times)))
    number, unit = text.split("$timescale ")[1].split(" $end", maxsplit=1)[0].split()
    return Read(
        unit_s=int(number) * SECONDS[unit],
        times=times,
        values=[{path: signal[time] for path, signal in paths.items()} for time in times],
        text=text,
    )


def decoded(one: Read, entry: int, *, really: bool = False) -> dict[str, Value]:
    """Return the values of signals after an entry, by their names in the file, as the comment says."""
    found: dict[str, Value] = {}
    for path, quoted, rest in ROW.findall(one.text):
        if path.startswith("faults.") or ("as it really does" in rest) is not really or one.values[entry][path] == "x":
            continue
        bits = one.values[entry][path]
        raw = int(bits, 2) - (2 ** len(bits) if "two's complement" in rest and bits[0] == "1" and len(bits) >= 32 else 0)
        labels = {int(number): json.loads(label) for number, label in LABEL.findall(rest)}
        logical = path.startswith("timers.") or sorted(map(str, labels.values())) == ["false", "true"]
        found[json.loads(quoted)] = bool(raw) if logical else labels.get(raw, raw) if labels else raw
    return found


def waveform(one: Recorded) -> Read:
    return read(vcd_of(one.run, one.result.accounts, one.model, about="here"))


def test_every_step_of_every_run_is_there_with_its_values() -> None:
    for one in (*of_drafts(), *of_stored()):
        found = waveform(one)
        along = as_simulated(one)
        assert [decoded(found, entry) for entry in range(len(along))] == along, one.name


def test_times_are_those_of_the_run_and_steps_of_one_instant_follow_one_another() -> None:
    for one in of_drafts():
        found = waveform(one)
        ticks, times = 0, [0]
        for step in one.run.steps:
            ticks += step.ticks
            whole = ticks * one.model.tick_s / found.unit_s
            assert whole.denominator == 1
            times.append(int(whole) if step.by.kind is StepKind.WAIT else times[-1] + 1)
        assert found.times == times
        numbers = [int(values["step"], 2) for values in found.values]
        assert numbers[-1] == one.run.step_count


def test_what_a_stuck_output_really_does_and_which_fault_occurred() -> None:
    runs = recorded_of(HOSTILE, "stuck $end")
    assert any(account.really for one in runs for account in one.result.accounts)
    for one in runs:
        found = waveform(one)
        for entry, account in enumerate(one.result.accounts, start=1):
            commanded, really = decoded(found, entry), decoded(found, entry, really=True)
            assert really["o"] == dict(account.really).get("o", commanded["o"])
        occurred = [int(values["faults.stuck__end"]) for values in found.values]
        by = [step.by.kind for step in one.run.steps]
        assert occurred == [int(StepKind.FAULT in by[:entry]) for entry in range(len(by) + 1)]


def test_a_hostile_file_is_ascii_and_its_names_are_kept_apart() -> None:
    one = recorded_of(HOSTILE, "stuck $end", "stuck__end")[0]
    text = vcd_of(one.run, one.result.accounts, one.model, about="$end \n \u202e", date="$end")
    assert text.isascii()
    assert [decoded(read(text), entry) for entry in range(len(one.run.steps) + 1)] == as_simulated(one)
    head = text.split("$enddefinitions")[0]
    assert head.count("$end") == head.count("$var ") + 2 * head.count("$scope ") + len(
        ("$date", "$version", "$comment", "$timescale")
    )
    labels = re.findall(r"\$var \w+ \d+ (\S+) (\S+) \$end", head)
    assert len({code for code, _ in labels}) == len(labels)
    assert {"o", "o_really", "o_really_2", "stuck__end", "stuck__end_2"} <= {label for _, label in labels}


def test_a_step_that_fails_is_marked() -> None:
    failing = [one for one in of_stored() if one.run.failure is not None and one.run.steps]
    assert failing
    for one in failing:
        assert [values["failed"] for values in waveform(one).values] == ["0"] * len(one.run.steps) + ["1"]


@pytest.mark.parametrize(
    ("tick", "unit", "units"),
    [
        ("5", "1 ms", 5000),
        ("1/10", "100 us", 1000),
        ("1/4", "100 us", 2500),
        ("3600", "1 s", 3600),
        ("1000000", "100 s", 10000),
    ],
)
def test_the_unit_is_a_thousandth_of_a_tick_or_finer(tick: str, unit: str, units: int) -> None:
    clock = clock_of(Run(start=(), steps=(), end=()), Fraction(tick))
    assert (clock.unit, clock.units, clock.exact) == (unit, units, True)


def test_many_steps_in_one_instant_do_not_reach_the_next_tick() -> None:
    step = RunStep(by=By(kind=StepKind.PERSON, name="turn"))
    clock = clock_of(Run(start=(), steps=(step,) * 5000, end=()), Fraction(1))
    assert clock.units >= 50_000


def test_a_tick_too_short_for_the_standards_units_is_said() -> None:
    (one, *_) = of_drafts()
    short = replace(one.model, tick_s=Fraction(1, 10**18))
    text = vcd_of(one.run, one.result.accounts, short, about="here")
    assert "Times are not in seconds" in text
    assert read(text).times[-1] == waveform(one).times[-1]


def test_the_same_run_gives_the_same_bytes_and_no_date_unless_one_is_given() -> None:
    (one, *_) = of_drafts()
    plain = vcd_of(one.run, one.result.accounts, one.model, about="here")
    assert plain == vcd_of(one.run, one.result.accounts, one.model, about="here")
    assert "$date" not in plain
    dated = vcd_of(one.run, one.result.accounts, one.model, about="here", date="2026-01-31T12:00:00")
    assert dated == f"$date 2026-01-31T12:00:00 $end\n{plain}"
