"""The values along a run against the simulator, which shares no code with it."""

from seqcheck.report.course import Group, signals, values_along
from tests.report.recorded import as_simulated, of_drafts, of_stored, recorded_of

DIVIDES = """\
machine: Divides
parts: {d: {range: 0..2}}
sensors: {part: 2 / d, full: d = 2}
people: {up: {if: d < 2, then: {d: d + 1}}, down: {if: d > 0, then: {d: d - 1}}}
hazards: {H1: {must not be: d = 2}}
"""


def test_values_are_those_of_the_simulator() -> None:
    runs = (*of_drafts(), *of_stored())
    assert len(runs) > 100
    for one in runs:
        assert list(values_along(one.run, one.model)) == as_simulated(one), one.name


def test_the_last_values_are_the_end_of_the_run() -> None:
    for one in (*of_drafts(), *of_stored()):
        end = {name: value for name, value in one.run.end if not name.endswith(".ET")}
        if one.run.steps:
            assert values_along(one.run, one.model)[-1] == end, one.name


def test_every_value_has_a_signal() -> None:
    for one in of_stored():
        named = {signal.name: signal for signal in signals(one.model)}
        for values in values_along(one.run, one.model):
            assert values.keys() <= named.keys()
            for name, value in values.items():
                assert named[name].lowest <= named[name].raw(value) <= named[name].highest


def test_a_sensor_without_a_value_at_the_start_is_left_out() -> None:
    for one in recorded_of(DIVIDES):
        along = values_along(one.run, one.model)
        assert "part" not in along[0]
        assert [signal.group for signal in signals(one.model)] == [Group.PART, Group.SENSOR, Group.SENSOR]
        if one.result.id == "H1":
            assert [values.get("part") for values in along] == [None, 2, 1]
