"""Compares what the tool told with what an independent search says it must tell."""

from hypothesis import currently_in_test_context, event

from tests.outside.answer import Case, Found
from tests.outside.independent import Cost, Surveyed
from tests.outside.orders import Answer


def compare_findings(findings: tuple[Found, ...], surveyed: Surveyed) -> None:
    """Compare what never happens, and the states that nobody and nothing leaves."""
    told = {(found.kind, found.about) for found in findings if found.kind.startswith("never_")}
    kinds = {"never_accepted", "never_happens", "never_entered"}
    reactions = {("never_happens", name) for name in surveyed.idle}
    assert {pair for pair in told if pair[0] in kinds} - reactions == surveyed.findings
    if surveyed.reaction_count == 1:  # nothing else changes things within a round: whoever is asleep there never happened
        assert told >= {("never_happens", name) for name in surveyed.asleep}
    dead = [found for found in findings if found.kind == "dead_end"]
    assert len(dead) == bool(surveyed.dead_ends)
    for found in dead:
        note("dead end")
        assert found.text.startswith(f"{surveyed.dead_ends:,} state")
        assert (found.steps, found.seconds) == timed(surveyed.nearest_dead_end, surveyed)


def compare(case: Case, surveyed: Surveyed) -> None:
    """Compare one case with the independent answer."""
    assert (case.states, case.transitions) == (surveyed.states, surveyed.transitions)
    note(f"states: up to {10 ** len(str(case.states))}")
    for name, expected in surveyed.expected.items():
        result = case.of(name)
        note(f"{result.kind} {result.verdict}")
        assert result.verdict == ("holds" if expected.holds else "violated"), name
        if expected.cost is not None:
            assert (result.steps, result.seconds) == timed(expected.cost, surveyed), name
    told: dict[str, tuple[float, float]] = {}
    for result in case.results:
        if result.failure is not None:
            assert result.failure in surveyed.failures
            cheapest(told, result.failure, (result.steps or 0, result.seconds or 0.0))
    due: dict[str, tuple[float, float]] = {}
    for label, cost in surveyed.failures.items():
        cheapest(due, label, timed(cost, surveyed))
    assert told == due


def compare_order(case: Case, identity: str, answer: Answer, tick_s: float) -> None:
    """Compare the verdict on a response or a precedence, and its run."""
    result = case.of(identity)
    note(f"{result.kind} {result.verdict}")
    assert result.verdict == answer.verdict, identity
    if answer.violated is not None:
        steps, ticks = answer.violated
        assert (result.steps, result.seconds) == (steps, ticks * tick_s), identity


def timed(cost: Cost | None, surveyed: Surveyed) -> tuple[int, float]:
    """Return a cost with its ticks turned into seconds."""
    assert cost is not None
    steps, ticks = cost
    return steps, ticks * surveyed.tick_s


def cheapest(costs: dict[str, tuple[float, float]], label: str, cost: tuple[float, float]) -> None:
    """Keep the least cost of what is one to the tool: a rule that leaves ranges, and settling that never ends."""
    rule = label.partition(":")[0] if label.startswith("settling") else label.rpartition(",")[0]
    costs[rule] = min(cost, costs.get(rule, cost))


def note(label: str) -> None:
    """Count an event for Hypothesis, if it is running."""
    if currently_in_test_context():
        event(label)
