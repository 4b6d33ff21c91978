"""Derived faults: which there are, what they are called, what they leave alone."""

import pytest

from seqcheck.check.machine import Fault, PowerLoss, Stuck
from tests.check.examples import accepted, look_at

WHOLE = """\
machine: Small press
parts:
  ram: [top, moving, bottom]
  level: {range: 0..15}
  mass: {range: 0..16}
sensors:
  ram_up: ram = top
  where: ram
  filled: level
  weighed: mass
  doubled: mass * 2
outputs:
  drive: {states: [off, down], unpowered: down}
  speed: {range: 0..2, unpowered: 1}
memory:
  ready: {starts: TRUE, retained: FALSE}
  made: {range: 0..3, retained: TRUE}
timers:
  held: {kind: TON, in: ram_up, pt: 2 s}
  lit: {kind: TOF, in: ram_up, pt: 2 s}
"""


def derived(words: str, more: str = "", before: str = WHOLE) -> tuple[Fault, ...]:
    return accepted(f"{before}faults:\n  derive: [{words}]\n{more}").faults


def names(words: str, more: str = "") -> list[str]:
    return [fault.name for fault in derived(words, more)]


def test_every_sensor_sticks_at_each_value_and_among_many_numbers_at_the_ends() -> None:
    expected = ["ram_up stuck at FALSE", "ram_up stuck at TRUE"]
    expected += [f"where stuck at {state}" for state in ("top", "moving", "bottom")]
    expected += [f"filled stuck at {level}" for level in range(16)]
    expected += ["weighed stuck at 0", "weighed stuck at 16", "doubled stuck at 0", "doubled stuck at 32"]
    assert names("sensors") == expected
    assert derived("sensors")[1].stuck == Stuck(signal="ram_up", is_sensor=True, value=True)


def test_every_output_sticks_at_each_state() -> None:
    expected = ["drive stuck at off", "drive stuck at down", *(f"speed stuck at {speed}" for speed in range(3))]
    assert names("outputs") == expected
    assert derived("outputs")[0].stuck == Stuck(signal="drive", is_sensor=False, value="off")


def test_a_restart_forgets_outputs_memory_that_is_not_retained_and_timers() -> None:
    (fault,) = derived("restart")
    assert (fault.name, fault.resets) == ("controller restarts", ("drive", "speed", "ready", "held", "lit"))
    assert (fault.stuck, fault.power, fault.effects) == (None, None, ())


def test_power_that_is_lost_takes_the_timers_and_gives_the_rest_its_start_when_it_returns() -> None:
    (fault,) = derived("power")
    assert (fault.name, fault.resets) == ("power lost", ("held", "lit"))
    assert fault.power == PowerLoss(returns="power returns", resets=("drive", "speed", "ready", "held", "lit"))


def test_every_timer_loses_its_time() -> None:
    assert [(fault.name, fault.resets) for fault in derived("timers")] == [
        ("held loses its time", ("held",)),
        ("lit loses its time", ("lit",)),
    ]


def test_derived_faults_come_after_those_of_the_file_in_one_order_whatever_the_list() -> None:
    assert names("timers, Restart, restart", "  ram falls: {then: {ram: moving}}\n") == [
        "ram falls",
        "controller restarts",
        "held loses its time",
        "lit loses its time",
    ]


def test_the_files_own_stuck_fault_stands_for_the_derived_one() -> None:
    own = "  my own: {output: DRIVE, stuck: Down, if: ram = top}\n"
    assert names("outputs", own)[:2] == ["my own", "drive stuck at off"]
    assert "drive stuck at down" not in names("outputs", own)
    assert "ram_up stuck at TRUE" in names("sensors, outputs", own)


def test_a_derived_name_on_the_very_same_fault_is_no_clash() -> None:
    own = "  drive stuck at down: {output: drive, stuck: down}\n"
    assert names("outputs", own)[:2] == ["drive stuck at down", "drive stuck at off"]


def test_a_fault_knows_that_it_is_derived_and_its_place_is_the_word() -> None:
    own, *others = derived("outputs, timers", "  ram falls: {then: {ram: moving}}\n")
    assert not own.derived
    assert all(fault.derived for fault in others)
    line = WHOLE.count("\n") + 2
    assert {(fault.span.line, fault.span.column) for fault in others} == {(line, 12), (line, 21)}


@pytest.mark.parametrize(("words", "codes"), [("sensors, outputs, timers", []), ("restart", ["E202"]), ("power", ["E202"] * 2)])
def test_only_power_and_a_restart_need_more_said(words: str, codes: list[str]) -> None:
    text = f"machine: M\noutputs: {{lamp: bool}}\nmemory: {{kept: bool}}\nfaults: {{derive: [{words}]}}\n"
    assert [diagnostic.code.value for diagnostic in look_at(text)[1]] == codes


@pytest.mark.parametrize("word", ["restart", "power"])
def test_retained_memory_may_start_in_several_ways(word: str) -> None:
    text = f"machine: M\nmemory: {{kept: {{starts: any, retained: TRUE}}}}\nfaults: {{derive: [{word}]}}\n"
    assert len(accepted(text).faults) == 1
    assert [d.code.value for d in look_at(text.replace("TRUE", "FALSE"))[1]] == ["E412"]


def test_trips_may_be_called_derive() -> None:
    more = "trips:\n  derive: {when: ram_up, then: {drive: off}}\n"
    machine = accepted(f"{WHOLE}{more}")
    assert ([trip.name for trip in machine.trips], machine.faults) == (["derive"], ())
