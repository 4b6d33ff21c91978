"""Margins, against machines with every other length searched one by one; and verdicts without runs against those with."""

from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from seqcheck.analyse.auditing.margins import Bound, Duration, Margin, margins
from seqcheck.analyse.auditing.removing import Removing
from seqcheck.check.changing import with_latest, with_preset
from seqcheck.check.machine import Machine
from seqcheck.cli.audit import rebuilt
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model import semantics
from seqcheck.model.model import Elsewhere, Model, Recoverable
from seqcheck.search.engine import Limits
from seqcheck.search.plain.plain import PlainEngine
from seqcheck.search.symbolic.deciding import decide
from tests.analyse.auditing import plainly
from tests.analyse.auditing.driven import driven
from tests.effort import examples
from tests.outside.machines import machines
from tests.outside.reading import machine_of
from tests.search.observing import observed_in

REMOVING = Removing(limits=Limits, observer=lambda _: None, engine=PlainEngine())
LONGEST = 7
RELAXED = settings(max_examples=examples(40), deadline=None, suppress_health_check=list(HealthCheck))
TEXTS = st.one_of(driven(), machines(with_faults=False))

BRAKE = """
machine: A wheel with a brake
parts:
  wheel: [still, turning]
  lid: [shut, open]
sensors:
  lid_shut: lid = shut
outputs:
  drive: [off, on]
  catch: [holds, free]
timers:
  rested: {kind: TON, in: drive = off, pt: 8 s}
commands:
  start:   {permissives: {the lid is shut: lid_shut, the catch holds: catch = holds}, then: {drive: on}}
  stop:    {then: {drive: off}}
  release: {permissives: {it has rested: rested.Q}, then: {catch: free}}
  hold:    {permissives: {the lid is shut: lid_shut}, then: {catch: holds}}
plant:
  it turns: {when: drive = on AND wheel = still, after: at once, then: {wheel: turning}}
  it rests: {when: drive = off AND wheel = turning, after: 1..5 s, then: {wheel: still}}
people:
  open the lid: {if: catch = free AND lid = shut, then: {lid: open}}
  shut the lid: {if: lid = open, then: {lid: shut}}
hazards:
  H1: {must not be: lid = open AND wheel = turning}
"""


def told(machine: Machine) -> tuple[Margin, ...]:
    model = compile_machine(machine)
    elsewhere = [p.id for p in model.properties if isinstance(p.rule, Elsewhere)]
    asked = [model, *(compile_observed(machine, id_) for id_ in elsewhere)]
    return tuple(margins(asked, lambda duration, ticks: rebuilt(machine, duration, ticks), REMOVING))


def models(machine: Machine) -> list[Model]:
    return [compile_machine(machine), *(compile_observed(machine, id_) for id_ in observed_in(machine))]


def violated(machine: Machine) -> dict[str, int | None]:
    """Return what a machine violates, with the fewest steps; what fails under the name of the check that it breaks."""
    found: dict[str, int | None] = {}
    for model in models(machine):
        for id_, steps in plainly.violated_in(plainly.graph_of(model)).items():
            found.setdefault(id_.split(":")[0], steps)
    return found


def lengthened(machine: Machine, duration: Duration, ticks: int | None) -> Machine:
    if duration.bound is Bound.LATEST:
        return with_latest(machine, duration.name, ticks)
    assert ticks is not None
    return with_preset(machine, duration.name, ticks)


@st.composite
def braked(draw: st.DrawFn) -> str:
    """The wheel with other durations, another timer, and a requirement on time."""
    least, most = sorted((draw(st.integers(1, 3)), draw(st.integers(1, 4))))
    kind, pt, within = draw(st.sampled_from(["TON", "TON", "TOF", "TP"])), draw(st.integers(1, 5)), draw(st.integers(0, 4))
    asked = draw(st.sampled_from(["rested.Q", "rested.Q", "NOT rested.Q", f"rested.ET >= {min(pt, 2)}"]))
    into = draw(st.sampled_from(["drive = off", "drive = on", "catch = free"]))
    goal = draw(st.sampled_from(["wheel = still", "lid = open"]))
    wanted = draw(
        st.sampled_from(
            [
                "",
                f"  R1: {{when: drive = off, within: {within} s, then: wheel = still}}\n",
                f"  R1: {{recoverable: {goal}}}\n",
                f"  R1: {{reachable: lid = open AND {goal}}}\n",
                "  R1: {before: lid = open, first: rested.Q}\n",
            ]
        )
    )
    text = BRAKE.replace("1..5 s", f"{least}..{most} s").replace("kind: TON", f"kind: {kind}").replace("pt: 8 s", f"pt: {pt} s")
    text = text.replace("it has rested: rested.Q", f"it has rested: {asked}").replace("in: drive = off", f"in: {into}")
    return text + ("requirements:\n" + wanted) * bool(wanted)


@RELAXED
@given(text=st.one_of(braked(), braked(), TEXTS))
def test_margins_end_where_the_first_verdict_turns(text: str) -> None:
    machine = machine_of(text)
    try:
        now = violated(machine)
        for margin in told(machine):
            check(machine, margin, now)
    except (plainly.TooManyStatesError, semantics.Impossible):
        event("not worth it")


def check(machine: Machine, margin: Margin, now: dict[str, int | None]) -> None:
    duration, is_rule = margin.duration, margin.duration.bound is Bound.LATEST
    event(f"{duration.bound.value}: {'turns' if margin.turns_at else 'does not'}")
    if margin.turns_at is not None:
        there = violated(lengthened(machine, duration, margin.turns_at))
        fresh = {id_: steps for id_, steps in there.items() if id_ not in now}
        assert {need.id for need in margin.violated} == fresh.keys()
        assert set(margin.restored) == now.keys() - there.keys()
        assert fresh or margin.restored
        for need in margin.violated:
            assert need.run is None or need.run.step_count == fresh[need.id]
            assert (need.run is None) == (fresh[need.id] is None or bool(need.failing))
    if any(isinstance(p.rule, Recoverable) for p in compile_machine(machine).properties) and is_rule:
        return
    if is_rule:
        end = LONGEST if margin.turns_at is None else margin.turns_at - 1
        untouched: list[int | None] = list(range(duration.ticks + 1, min(end, LONGEST) + 1))
        untouched += [None] if margin.turns_at is None else []
    else:
        untouched = list(range(margin.turns_at + 1 if margin.turns_at else 1, duration.ticks))
    for ticks in untouched:
        assert violated(lengthened(machine, duration, ticks)).keys() == now.keys(), (duration, ticks)


@RELAXED
@given(text=st.one_of(braked(), TEXTS))
def test_verdicts_without_runs_are_those_with(text: str) -> None:
    machine = machine_of(text)
    try:
        for model in models(machine):
            graph = plainly.graph_of(model)
            due = plainly.violated_in(graph)
            shown = decide(model, Limits(), lambda _: None, shown=tuple(due))
            assert shown.stopped is None
            assert shown.ids == {id_.split(":")[0] for id_ in due}
            assert shown.traces.keys() == {id_ for id_, steps in due.items() if steps is not None and ":" not in id_}
    except (plainly.TooManyStatesError, semantics.Impossible):
        event("not worth it")


def test_a_run_down_and_the_timer_that_waits_for_it() -> None:
    """Waiting 8 s for a wheel that takes up to 5 s leaves 3 s either way: at the same moment anything may come first."""
    rule, timer = told(machine_of(BRAKE))
    assert (rule.duration.name, rule.duration.ticks, rule.turns_at) == ("it rests", 5, 8)
    assert [(need.id, need.run is not None) for need in rule.violated] == [("H1", True)]
    assert (timer.duration.name, timer.duration.ticks, timer.turns_at) == ("rested", 8, 5)
    assert [need.id for need in timer.violated] == ["H1"]


def test_what_is_violated_may_come_to_hold() -> None:
    machine = machine_of(BRAKE.replace("pt: 8 s", "pt: 3 s"))
    rule, timer = told(machine)
    assert (rule.turns_at, rule.tried_to) == (None, None)
    assert (timer.turns_at, timer.tried_to) == (None, 1)
