"""What mutation testing showed to be untested in the plain engine, beside the stored machines of `test_agreement`."""

import pytest
from msgspec.structs import replace

from seqcheck.compile.compile import compile_machine
from seqcheck.model import semantics
from seqcheck.model.expression import Apply, Const, Expression, Load, Op
from seqcheck.model.model import Assign, Model, Program, State, condition_of
from seqcheck.search.engine import Exploration, Limits, Progress, Stop
from seqcheck.search.engines import engine
from seqcheck.search.plain.plain import PlainEngine
from seqcheck.search.plain.program import Board, namespace
from tests.outside.reading import machine_of
from tests.outside.test_least_time import TWO_WAYS


def model_of(text: str, *faults: str) -> Model:
    return compile_machine(machine_of(text), faults)


def explore(model: Model, limits: Limits | None = None) -> Exploration:
    return PlainEngine().explore(model, (), limits or Limits(), lambda _: None)


def test_an_unknown_engine_is_named() -> None:
    with pytest.raises(KeyError, match="none"):
        engine("none")


# --- progress, limits and interruptions while the graph is judged ---
RING = """
machine: A ring
parts: {n: {range: 0..40}}
people: {next: {then: {n: (n + 1) MOD 41}}}
requirements: {R1: {recoverable: n = 0}}
"""


def test_nothing_waits_to_be_searched_while_the_graph_is_judged() -> None:
    seen: list[Progress] = []
    PlainEngine().explore(model_of(RING), (), Limits(), seen.append)
    assert [progress.waiting for progress in seen[-2:]] == [0, 0]
    assert [progress.states for progress in seen[-2:]] == [41, 41]


def test_what_a_cheaper_way_has_overtaken_no_longer_waits() -> None:
    """In this machine two ways lead to one state; the one found first is overtaken."""
    model, seen = model_of(TWO_WAYS), list[Progress]()
    PlainEngine().explore(model, (), Limits(), seen.append)
    assert seen[-1].waiting == 0
    assert max(progress.waiting for progress in seen) <= seen[-1].states


def test_an_interruption_while_the_graph_is_judged_leaves_it_undecided() -> None:
    model, seen = model_of(RING), list[Progress]()
    PlainEngine().explore(model, (), Limits(), seen.append)
    left = len(seen)

    def interrupt(_progress: Progress) -> None:
        nonlocal left
        left -= 1
        if left == 0:
            raise KeyboardInterrupt

    found = PlainEngine().explore(model, (), Limits(), interrupt)
    assert (found.stopped, found.states, found.found) == (Stop.INTERRUPTED, 41, {})


def test_limits_that_are_not_reached_are_no_limits() -> None:
    assert explore(model_of(RING), Limits(memory_mb=1e5, seconds=30.0, states=10**9)).stopped is None


def test_what_is_never_true_is_not_told_before_all_was_searched() -> None:
    model = model_of(RING)
    goal = condition_of(model.properties[0].rule).test
    stopped = PlainEngine().explore(model, (goal, Const(0)), Limits(states=5), lambda _: None)
    assert (stopped.stopped, stopped.never) == (Stop.STATES, frozenset())
    assert PlainEngine().explore(model, (goal, Const(0)), Limits(), lambda _: None).never == {1}


# --- generated code ---
def test_generated_code_can_reach_a_few_harmless_functions_only() -> None:
    names = namespace(Board(0, 0), lambda state: state)
    assert names["__builtins__"] == {
        "range": range, "min": min, "max": max, "abs": abs, "all": all, "any": any, "enumerate": enumerate, "len": len
    }  # fmt: skip
    for word in ("open", "__import__", "getattr", "print", "eval"):
        with pytest.raises(NameError):
            eval(word, dict(names))  # noqa: S307 - a fixed word


# --- programs of several assignments: what Structured Text will be compiled into ---
PROGRAMS = """
machine: Programs
parts: {a: {range: 0..3}, b: {range: 0..3}, c: {range: 0..3}}
people: {act: {then: {a: a}}}
plant: {follows: {when: a > b, after: at once, then: {b: b}}}
"""


def at_most_3(value: Expression) -> Expression:
    return Apply(Op.MIN, (value, Const(3)))


def in_turn(first: int, second: int, third: int) -> Program:
    """One more for the first; then the second gets what the first has, the third the sum of the two, 3 at most."""
    one_more = Apply(Op.PLUS, (Load(first), Const(1)))
    both = Apply(Op.PLUS, (Load(first), Load(second)))
    return (
        Assign(targets=(first,), values=(one_more,), bounded=False),
        Assign(targets=(second, third), values=(at_most_3(Load(first)), at_most_3(both)), bounded=False),
    )


def walked(model: Model) -> tuple[set[State], int]:
    """Visit every reachable state by the definition; count the transitions."""
    pending = [semantics.settle(model, raw) for raw in semantics.raw_starts(model)]
    seen, transitions = set(pending), 0
    while pending:
        state = pending.pop()
        for _, after in semantics.steps(model, state):
            if isinstance(after, tuple) and after != state:
                transitions += 1
                pending += [] if after in seen else [after]
                seen.add(after)
    return seen, transitions


@pytest.mark.parametrize(("in_step", "in_reaction"), [(True, False), (False, True), (True, True)])
def test_assignments_one_after_the_other_see_what_came_before(in_step: bool, in_reaction: bool) -> None:
    model = model_of(PROGRAMS)
    one_more = (Assign(targets=(0,), values=(Apply(Op.PLUS, (Load(0), Const(1))),), bounded=False),)
    step = replace(model.steps[0], program=in_turn(0, 2, 1) if in_step else one_more)
    reaction = replace(model.reactions[0], program=in_turn(1, 2, 2) if in_reaction else model.reactions[0].program)
    if in_reaction:
        reaction = replace(reaction, program=(*in_turn(1, 2, 2)[:1], replace(in_turn(1, 2, 0)[1], bounded=True)))
    model = replace(model, steps=(step,), reactions=(reaction,))
    states, transitions = walked(model)
    found = explore(model, Limits(states=200))
    assert len(states) > 1
    assert (found.states, found.transitions) == (len(states), transitions)
    assert found.entered == tuple(frozenset(state[place] for state in states) for place in range(3))
    assert len(found.failures) == 1, "the first assignment leaves its range in the end"


# --- starts and failures ---
STARTS = """
machine: The first start fails
parts: {n: {range: 0..2, starts: any}}
plant: {falls: {when: n = 0, after: at once, then: {n: n - 1}}}
"""


def test_a_start_that_fails_hides_no_other() -> None:
    found = explore(model_of(STARTS))
    assert (found.states, len(found.failures)) == (2, 1)
    assert found.entered == (frozenset({1, 2}),)


def test_where_no_start_settles_nothing_was_searched() -> None:
    found = explore(model_of(STARTS.replace("starts: any", "starts: 0")))
    assert (found.states, found.stopped, found.complete_steps) == (0, None, -1)


EQUALS = """
machine: Two ways to one failure
parts: {n: {range: 0..1}, a: bool, b: bool}
people:
  b first: {if: NOT b, then: {b: TRUE}}
  a first: {if: NOT a, then: {a: TRUE}}
plant: {falls: {when: a OR b, after: at once, then: {n: n - 1}}}
"""


def test_among_equal_ways_to_a_failure_the_first_in_the_file_is_shown() -> None:
    assert [trace.last for trace in explore(model_of(EQUALS)).failures] == [0]
