"""Random machines: the tool's whole answer against an independent search, and the simulator step by step against the model."""

import random
import tempfile
from itertools import combinations
from pathlib import Path

from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from seqcheck.check.machine import Machine
from seqcheck.compile.compile import compile_machine
from seqcheck.model import model as m
from seqcheck.model import semantics
from seqcheck.model.expression import Sense
from seqcheck.model.run import By, Failure, StepKind, Value
from seqcheck.simulate.simulator import Choice, Simulator
from tests.effort import examples
from tests.outside.answer import Answer, ask
from tests.outside.comparing import compare, compare_findings, compare_order
from tests.outside.independent import Graph, described, grown, survey
from tests.outside.machines import machines
from tests.outside.orders import answered, orders_of
from tests.outside.reading import machine_of

MOST_STATES = 1_000
WALK = 10
RELAXED = settings(
    max_examples=examples(60), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


def asked(text: str, *arguments: str) -> Answer:
    """Put a text to the tool in a folder of its own; it must be accepted."""
    with tempfile.TemporaryDirectory() as folder:
        given_back = ask(text, Path(folder), *arguments)
    assert not given_back.diagnostics, (given_back.diagnostics, text)
    return given_back


@RELAXED
@given(text=machines())
def test_the_tools_answers_are_those_of_an_independent_search(text: str) -> None:
    """States, transitions, verdicts, fewest steps and least time of every property; each fault alone too."""
    machine = machine_of(text)
    graphs = {faults: grown(compile_machine(machine, faults), MOST_STATES) for faults in fault_sets(machine)}
    if any(graph is None for graph in graphs.values()):
        event("too many states")
        return
    given_back = asked(text, "--faults", "2")
    assert given_back.complete
    assert [case.faults for case in given_back.cases] == list(graphs)
    for case in given_back.cases:
        graph = graphs[case.faults]
        assert graph is not None
        compare(case, survey(graph))
        for order in orders_of(machine, case.faults):
            answer = answered(order, 4 * MOST_STATES)
            if answer is not None:
                compare_order(case, order.id, answer, float(machine.tick_s))
        if not case.faults:
            compare_findings(given_back.findings, survey(graph))


def fault_sets(machine: Machine) -> list[tuple[str, ...]]:
    """Return all sets of up to two faults; two that are stuck on one signal don't go together."""
    pairs = [
        (a.name, b.name)
        for a, b in combinations(machine.faults, 2)
        if a.stuck is None or b.stuck is None or a.stuck.signal != b.stuck.signal
    ]
    return [(), *((fault.name,) for fault in machine.faults), *pairs]


@RELAXED
@given(text=machines(), seed=st.integers(0, 2**32 - 1))
def test_the_simulator_and_the_model_go_the_same_way(text: str, seed: int) -> None:
    """Along a random walk: the same steps are possible, and each leads to the same values or the same failure."""
    machine = machine_of(text)
    model = compile_machine(machine, [fault.name for fault in machine.faults])
    chance = random.Random(seed)  # noqa: S311 - no secret
    raw = chance.choice(list(semantics.raw_starts(model)))
    start = {v.name: v.shown(x) for v, x in zip(model.variables, raw, strict=True) if is_declared(v)}
    simulator = Simulator(machine, start=start)
    state = settled(model, raw)
    if not isinstance(state, tuple):
        event("start fails")
        assert simulator.failure is not None
        assert described(simulator.failure) == described(state)
        return
    assert simulator.failure is None
    for _ in range(WALK):
        ways = ways_on(model, simulator, state)
        if not ways:
            break
        by, state = chance.choice(ways)
        simulator.take(by)


def settled(model: m.Model, raw: m.State) -> m.State | Failure:
    """Return where a start settles, or how it fails."""
    try:
        return semantics.settle(model, raw)
    except semantics.Failed as failed:
        return failed.failure


def ways_on(model: m.Model, simulator: Simulator, state: m.State) -> list[tuple[By, m.State]]:
    """Compare all that can happen in a state; return what leads on."""
    assert dict(simulator.state()) == shown(model, state)
    ways = []
    led = dict(semantics.steps(model, state))
    numbers = {(step.kind, step.name, step.to): number for number, step in enumerate(model.steps)}
    choices = {(c.by.kind, c.by.name, c.by.to): c for c in simulator.choices()}
    assert set(numbers) <= set(choices) | {key for key in numbers if key[0] is StepKind.PANEL}
    for key, choice in choices.items():
        number = None if choice.by.kind is StepKind.WAIT else numbers[key]
        assert choice.possible == (number in led), choice
        if number in led:
            ways += way_of(model, simulator, choice, led[number])
    for key in set(numbers) - set(choices):
        assert led.get(numbers[key], state) == state, "only a panel item left as it is may be left out of the choices"
    return ways


def way_of(model: m.Model, simulator: Simulator, choice: Choice, expected: m.State | Failure) -> list[tuple[By, m.State]]:
    """Take a step and take it back; compare where it leads. A failing step leads nowhere."""
    before = simulator.state()
    outcome = simulator.take(choice.by)
    if not isinstance(expected, tuple):
        event("step fails")
        assert outcome.failure is not None
        assert described(outcome.failure) == described(expected)
        assert simulator.state() == before
        return []
    assert outcome.failure is None
    assert dict(simulator.state()) == shown(model, expected), choice
    flags = zip(model.faults, model.fault_variables, strict=True)
    assert set(simulator.occurred) == {fault for fault, flag in flags if expected[flag]}
    simulator.undo()
    assert simulator.state() == before
    return [(choice.by, expected)]


def is_declared(variable: m.Variable) -> bool:
    """Tell parts, panel items, outputs and memory from what the model adds."""
    hidden = {m.VariableKind.TIMER, m.VariableKind.CLOCK, m.VariableKind.FAULT, m.VariableKind.POWER}
    return variable.kind not in hidden


def shown(model: m.Model, state: m.State) -> dict[str, Value]:
    """Return what can be seen of a state, in the names of the file. A sensor without a value is left out."""
    seen: dict[str, Value] = {v.name: v.shown(x) for v, x in zip(model.variables, state, strict=True) if is_declared(v)}
    for number, sensor in enumerate(model.sensors):
        try:
            seen[sensor.name] = sensor.shown(semantics.evaluate(model, Sense(number), state))
        except semantics.Impossible:
            continue
    for timer in model.timers:
        seen[f"{timer.name}.Q"] = bool(semantics.evaluate(model, timer.q, state))
        seen[f"{timer.name}.ET"] = semantics.evaluate(model, timer.et, state)
    return seen


def test_the_strategy_reaches_rich_behaviour() -> None:
    """Among random machines some have each thing that the comparison is there for. A strategy gone dull fails here."""
    seen: set[str] = set()

    @settings(max_examples=150, deadline=None, database=None, derandomize=True, suppress_health_check=list(HealthCheck))
    @given(text=machines())
    def look(text: str) -> None:
        model = compile_machine(machine_of(text))
        graph = grown(model, 400)
        seen.update(marks(graph) if graph is not None else ())

    look()
    wanted = {"100 states", "endless", "out of range", "no value"}
    wanted |= {f"{counter} {does}" for counter in ("TON", "TOF", "TP", "clock") for does in ("counts", "elapses")}
    kinds = ("Hazard", "Reachable", "Recoverable", "Forbid", "Only")
    wanted |= {f"{kind} {holds}" for kind in kinds for holds in (True, False)}
    assert wanted - seen == set()


def marks(graph: Graph) -> set[str]:
    """Return what a machine shows."""
    surveyed = survey(graph)
    judged = [p for p in graph.model.properties if p.id in surveyed.expected]
    found = {f"{type(p.rule).__name__} {surveyed.expected[p.id].holds}" for p in judged}
    found |= {"100 states"} if surveyed.states >= 100 else set()
    for label in surveyed.failures:
        found.add("endless" if label.startswith("settling") else "no value" if label.endswith("None") else "out of range")
    counters = {t.variable: (t.kind.name, t.pt + (t.kind is m.TimerKind.TP)) for t in graph.model.timers}
    counters |= {c.variable: ("clock", c.most) for c in graph.model.clocks}
    for before, after, data in graph.moves.edges(data=True):
        for place, (kind, most) in counters.items():
            if data["step"] is None and after[place] > before[place]:
                found |= {f"{kind} counts"} | ({f"{kind} elapses"} if after[place] == most else set())
    return found
