"""What goes on by itself, as the tool follows it and as the definition has it, state by state, on random machines."""

from random import Random

from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from seqcheck.analyse.automatic.following import Acting, Alone
from seqcheck.analyse.procedures.moving import Moves
from seqcheck.analyse.record import SHOWN
from tests.analyse.asking import model_of
from tests.analyse.automatic.alone import Reading, drawn
from tests.effort import examples
from tests.outside.independent import grown
from tests.outside.machines import machines

DEPTH = 3
RELAXED = settings(
    max_examples=examples(25), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


@RELAXED
@given(machines(with_faults=False), st.randoms(use_true_random=False))
def test_every_history_that_happens_is_drawn_and_no_other(text: str, chance: Random) -> None:
    model = model_of(text)
    graph = grown(model, 200)
    if graph is None or not graph.moves:
        return
    states = sorted(graph.moves)
    shown = tuple(place for place, variable in enumerate(model.variables) if variable.kind in SHOWN)
    moves = Moves(model)
    for state in chance.sample(states, min(3, len(states))):
        situations = Alone(moves, shown, Acting(moves)).follow(moves.number(state))
        reading = Reading(model, shown)
        stays = reading.stays(state)
        assert situations[0].fails == reading.fails
        assert situations[0].rests == stays or reading.fails
        histories = reading.histories(state, DEPTH)
        assert drawn(situations, 0, DEPTH) == histories
        come_back = any(one.to == 0 for situation in situations for one in situation.happenings)
        for one in situations[0].happenings:
            earliest, latest = reading.times(state)[one.step, one.acted, situations[one.to].values]
            assert one.earliest <= earliest
            assert one.latest is None or (latest is not None and latest <= one.latest)
            assert come_back or (one.earliest, one.latest) == (earliest, latest)
        event(f"{min(9, len(situations))} situations, {'branching' if len(histories) > DEPTH + 1 else 'in a line'}")


def test_what_looks_and_goes_on_alike_is_one_situation() -> None:
    """Two lamps that go out one after the other, in either order: a square, not a tree."""
    text = """\
machine: Two lamps
parts: {left: [on, off], right: [on, off]}
plant:
  left goes out: {when: left = on, after: 1..2 s, then: {left: off}}
  right goes out: {when: right = on, after: 1..2 s, then: {right: off}}
"""
    model = model_of(text)
    moves = Moves(model)
    situations = Alone(moves, (0, 1), Acting(moves)).follow(moves.number((0, 0, 0, 0)))
    assert [(one.values, [h.to for h in one.happenings], one.rests) for one in situations] == [
        ((0, 0), [1, 2], False),
        ((1, 0), [3], False),
        ((0, 1), [3], False),
        ((1, 1), [], True),
    ]
    assert [(h.earliest, h.latest) for one in situations for h in one.happenings] == [(1, 2), (1, 2), (0, 1), (0, 1)]


def test_a_rule_that_may_never_come_has_no_latest_time() -> None:
    text = "machine: M\nparts: {lamp: [on, off]}\nplant:\n  fails: {when: lamp = on, after: 3 s or more, then: {lamp: off}}\n"
    model = model_of(text)
    moves = Moves(model)
    first, second = Alone(moves, (0,), Acting(moves)).follow(moves.number((0, 0)))
    assert [(h.earliest, h.latest, h.to) for h in first.happenings] == [(3, None, 1)]
    assert first.rests
    assert second.rests
    assert not second.happenings
