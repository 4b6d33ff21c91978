"""State charts: on a small door by hand, and on random machines against all states listed by the definition."""

from collections.abc import Iterator, Mapping, Sequence

from hypothesis import assume, given, settings

from seqcheck.analyse.charting import ASKED, Chart, state_charts
from seqcheck.analyse.mapping.axes import sortables
from seqcheck.model import semantics
from seqcheck.model.model import Model, State, Step
from seqcheck.search.engine import Limits, Stop
from tests.analyse.asking import model_of, silent
from tests.analyse.test_locking import DOOR
from tests.effort import examples
from tests.outside.independent import grown
from tests.outside.machines import machines

MOST_STATES = 400


def chart(text: str, what: str) -> Chart:
    return next(one for one in state_charts(model_of(text), Limits(), silent).things if one.what == what)


def told(chart: Chart) -> dict[str, list[tuple[str, tuple[str, ...], str]]]:
    values = [situation.values[0] for situation in chart.map.situations]
    return {
        value: [(one.name, one.by, one.would) for one in refusals]
        for value, refusals in zip(values, chart.refusals, strict=True)
    }


def test_what_is_refused_and_by_what() -> None:
    assert told(chart(DOOR, "door")) == {
        "shut": [],
        "open": [("start", ("the door is shut",), ""), ("open the door", ("door = shut",), "open")],
    }
    assert told(chart(DOOR, "bolt")) == {
        "thrown": [("open the door", ("bolt = drawn",), "")],
        "drawn": [],
    }


def test_what_is_accepted_in_some_states_only() -> None:
    """The key may be out."""
    found = chart(DOOR, "door")
    assert found.sometimes == (frozenset({"start", "draw the bolt", "open the door"}), frozenset({"draw the bolt"}))


BETWEEN_THEM = """
machine: Two keys of which one is always out
parts: {left: [in, out], right: [in, out], door: [shut, open]}
sensors: {left_in: door = open OR left = in, right_in: door = open OR right = in}
commands:
  go: {permissives: {left key: left_in, right key: right_in}, then: {ran: TRUE}}
memory: {ran: bool}
people:
  swap: {if: TRUE, then: {left: "SEL(left = in, in, out)", right: "SEL(left = in, out, in)"}}
  open: {if: door = shut, then: {door: open}}
  start over: {if: door = open, then: {left: in, right: out, door: shut}}
hazards: {H1: {must not be: left = in AND right = in}}
"""


def test_several_may_refuse_between_them() -> None:
    """No key is missing in all states with the door shut, and one always is."""
    found = chart(BETWEEN_THEM.replace("right: [in, out]", "right: [out, in]"), "door").refusals[0]
    assert [(one.name, one.by, one.alone) for one in found] == [
        ("go", ("left key", "right key"), False),
        ("start over", ("door = open",), True),
    ]


def test_a_limit_is_told() -> None:
    assert state_charts(model_of(DOOR), Limits(seconds=0), silent).stopped is Stop.SECONDS


def grouped(model: Model, states: Sequence[State], one: Chart) -> Mapping[str, list[State]]:
    """Return the states by what the chart is of."""
    (axis,) = one.map.axes
    what = next(s for s in sortables(model) if s.name == axis.name)
    found: dict[str, list[State]] = {}
    for state in states:
        raw = semantics.evaluate(model, what.value, state)
        label = what.labels[raw] if what.labels else raw
        found.setdefault(str(label).upper() if isinstance(label, bool) else str(label), []).append(state)
    return found


def accepted(model: Model, step: Step, states: Sequence[State]) -> int:
    return sum(all(holds(model, guard.test, state) for guard in step.guards) for state in states)


def holds(model: Model, test: object, state: State) -> bool:
    try:
        return bool(semantics.evaluate(model, test, state))  # type: ignore[arg-type]
    except semantics.Impossible:
        return False


def asked(model: Model) -> Iterator[Step]:
    yield from (step for step in model.steps if step.kind in ASKED and step.guards)


@settings(max_examples=examples(60), deadline=None)
@given(machines(with_faults=False))
def test_charts_say_what_the_definition_says(text: str) -> None:
    model = model_of(text)
    graph = grown(model, MOST_STATES)
    assume(graph is not None)
    assert graph is not None
    states = list(graph.moves)
    for one in state_charts(model, Limits(), silent).things:
        groups = grouped(model, states, one)
        assert {s.values[0]: s.states for s in one.map.situations} == {value: len(group) for value, group in groups.items()}
        decisive = [step for step in asked(model) if accepted(model, step, states)]
        for situation, refusals, others, sometimes in zip(
            one.map.situations, one.refusals, one.others, one.sometimes, strict=True
        ):
            group = groups[situation.values[0]]
            counts = {step.name: accepted(model, step, group) for step in decisive}
            assert len(refusals) + others == sum(not count for count in counts.values())
            assert {refusal.name for refusal in refusals} <= {name for name, count in counts.items() if not count}
            assert sometimes == {name for name, count in counts.items() if 0 < count < len(group)}
            for refusal in refusals:
                step = next(step for step in decisive if step.name == refusal.name)
                failing = [g for g in step.guards if not any(holds(model, g.test, state) for state in group)]
                if step.kind.value == "command" and refusal.alone:
                    assert set(refusal.by) <= {guard.name for guard in failing}
                assert refusal.alone or not failing or step.kind.value == "person"
