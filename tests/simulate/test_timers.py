"""Timers of IEC 61131-3 (behaviour as the standard restates it; rows computed by an independent program), PT = 3."""

import pytest

from seqcheck.check.machine import Section
from seqcheck.check.typed import TruthType
from seqcheck.model.run import By, StepKind
from seqcheck.simulate.simulator import Simulator
from tests.simulate.build import Parts, asked, et, number, q, read, timer, trip, truth, variable

TABLES = {
    "TON": ("0 1 1 1 1 1 0 1 1 0", "0 0 0 0 1 1 0 0 0 0", "0 0 1 2 3 3 0 0 1 0"),
    "TOF": ("1 1 0 0 0 0 1 0 1 0 0 0 0", "1 1 1 1 1 0 1 1 1 1 1 1 0", "0 0 0 1 2 3 0 0 0 0 1 2 3"),
    "TP": ("0 1 0 1 0 0 0 1 1 1 1 1 0", "0 1 1 1 0 0 0 1 1 1 0 0 0", "0 0 1 2 0 0 0 0 1 2 3 3 0"),
}


SIGNAL = variable("signal", TruthType(), Section.PANEL, (False, True))


def one_timer(kind: str, *, start: bool) -> Simulator:
    parts = Parts(variables=(SIGNAL,), timers=(timer("t", kind, read("signal"), 3),))
    return Simulator(parts.machine, start={"signal": start})


def set_signal(simulator: Simulator, *, to: bool) -> None:
    if simulator.value("signal") != to:
        assert not simulator.take(By(kind=StepKind.PANEL, name="signal", to=to)).refused_by


@pytest.mark.parametrize("kind", TABLES)
def test_tables(kind: str) -> None:
    signals, outputs, elapsed = ([int(each) for each in row.split()] for row in TABLES[kind])
    simulator = one_timer(kind, start=bool(signals[0]))
    for column, (signal, expected_q, expected_et) in enumerate(zip(signals, outputs, elapsed, strict=True)):
        if column:
            assert simulator.wait(1).ticks == 1
        set_signal(simulator, to=bool(signal))
        assert (simulator.value("t.Q"), simulator.value("t.ET")) == (bool(expected_q), expected_et), (kind, column)


@pytest.mark.parametrize(
    ("kind", "start", "expected"),
    [
        ("TON", False, (False, 0)),
        ("TON", True, (False, 0)),
        ("TOF", False, (False, 3)),
        ("TOF", True, (True, 0)),
        ("TP", False, (False, 0)),
        ("TP", True, (True, 0)),
    ],
)
def test_starts(kind: str, start: bool, expected: tuple[bool, int]) -> None:
    """A TOF starts timed out; a TP whose input is true at the start begins a pulse."""
    simulator = one_timer(kind, start=start)
    assert (simulator.value("t.Q"), simulator.value("t.ET")) == expected


def test_a_pulse_that_is_over_waits_for_the_input_to_fall() -> None:
    simulator = one_timer("TP", start=True)
    assert simulator.wait(10).ticks == 10
    assert (simulator.value("t.Q"), simulator.value("t.ET")) == (False, 3)
    set_signal(simulator, to=False)
    assert simulator.value("t.ET") == 0
    set_signal(simulator, to=True)
    assert (simulator.value("t.Q"), simulator.value("t.ET")) == (True, 0)


def test_a_pulse_ignores_its_input_while_it_runs() -> None:
    simulator = one_timer("TP", start=True)
    simulator.wait(1)
    for to in (False, True, False):
        set_signal(simulator, to=to)
        assert (simulator.value("t.Q"), simulator.value("t.ET")) == (True, 1)


def test_timers_are_brought_up_to_date_in_file_order() -> None:
    """A timer sees those before it as they are now, and those after it as they were a round ago."""
    passing = trip("seen in passing", q("first") & ~q("second"), {"count": asked("count") + 1})
    both = (timer("first", "TOF", read("signal"), 1), timer("second", "TOF", q("first"), 1))
    variables = (SIGNAL, number("count", 0, 9, Section.MEMORY))
    forward = Simulator(Parts(variables=variables, timers=both, trips=(passing,)).machine)
    set_signal(forward, to=True)
    assert (forward.value("second.Q"), forward.value("count")) == (True, 0)
    backward = Simulator(Parts(variables=variables, timers=both[::-1], trips=(passing,)).machine)
    set_signal(backward, to=True)
    assert (backward.value("second.Q"), backward.value("count")) == (True, 1)


def test_elapsed_time_can_be_read() -> None:
    late = trip("late", et("t") > 1, {"alarm": True})
    parts = Parts(
        variables=(truth("signal", Section.PANEL), truth("alarm", Section.OUTPUT)),
        timers=(timer("t", "TON", read("signal"), 3),),
        trips=(late,),
    )
    simulator = Simulator(parts.machine)
    set_signal(simulator, to=True)
    assert simulator.wait(1).acted == ()
    assert simulator.wait(1).acted == ("late",)
    assert simulator.value("alarm") is True
