"""The plain definition, page by page: arithmetic, settling, steps, ticks."""

from collections.abc import Callable

import pytest

from seqcheck.compile.compile import compile_machine
from seqcheck.model import semantics
from seqcheck.model.expression import Apply, Const, Op
from seqcheck.model.model import Model, State
from seqcheck.model.run import Beyond, Endless
from tests.outside.reading import machine_of


def model_of(text: str, *faults: str) -> Model:
    return compile_machine(machine_of(text), faults)


def start(model: Model) -> State:
    return semantics.settle(model, next(semantics.raw_starts(model)))


def place(model: Model, name: str) -> int:
    return [variable.name for variable in model.variables].index(name)


def take(model: Model, state: State, name: str) -> State:
    step = next(step for step in model.steps if step.name == name and step.to is not False)
    assert semantics.possible(model, step, state)
    return semantics.take(model, step, state)


@pytest.mark.parametrize(
    ("a", "b", "quotient", "rest"), [(7, 2, 3, 1), (-7, 2, -3, -1), (7, -2, -3, 1), (-7, -2, 3, -1), (0, 5, 0, 0)]
)
def test_division_drops_the_remainder_towards_zero(a: int, b: int, quotient: int, rest: int) -> None:
    """IEC 61131-3 division of integers truncates; MOD has the sign of its left side (the project's language page)."""
    assert (semantics.divide(a, b), semantics.modulo(a, b)) == (quotient, rest)


@pytest.mark.parametrize(
    "call",
    [
        lambda: semantics.divide(1, 0),
        lambda: semantics.modulo(1, 0),
        lambda: semantics.power(2, -1),
        lambda: semantics.select(2, 5, 6),
        lambda: semantics.select(-1, 5, 6),
    ],
)
def test_what_has_no_value(call: Callable[[], int]) -> None:
    with pytest.raises(semantics.Impossible):
        call()


@pytest.mark.parametrize(
    ("op", "operands", "value"),
    [
        (Op.NOT, (0,), 1),
        (Op.NEG, (4,), -4),
        (Op.POWER, (2, 5), 32),
        (Op.TIMES, (3, -4), -12),
        (Op.LESS, (1, 1), 0),
        (Op.AT_MOST, (1, 1), 1),
        (Op.GREATER, (2, 1), 1),
        (Op.AT_LEAST, (1, 2), 0),
        (Op.EQUAL, (3, 3), 1),
        (Op.UNEQUAL, (3, 3), 0),
        (Op.AND, (1, 1, 0), 0),
        (Op.OR, (0, 0, 1), 1),
        (Op.XOR, (1, 1), 0),
        (Op.SEL, (0, 7, 8), 7),
        (Op.SEL, (1, 7, 8), 8),
        (Op.MUX, (1, 7, 8), 8),
        (Op.MIN, (4, 2, 3), 2),
        (Op.MAX, (4, 2, 5), 5),
        (Op.LIMIT, (0, 9, 5), 5),
        (Op.LIMIT, (0, -9, 5), 0),
        (Op.LIMIT, (6, 1, 5), 5),
        (Op.ABS, (-3,), 3),
        (Op.PLUS, (1, 2), 3),
        (Op.MINUS, (1, 2), -1),
        (Op.DIVIDE, (9, 4), 2),
        (Op.MOD, (9, 4), 1),
    ],
)
def test_operations(op: Op, operands: tuple[int, ...], value: int) -> None:
    """Functions as in IEC 61131-3: SEL takes its second input at FALSE, MUX counts from 0, LIMIT is MIN(MAX(IN, MN), MX)."""
    model = model_of("machine: M\nparts: {a: bool}\n")
    assert semantics.evaluate(model, Apply(op, tuple(Const(o) for o in operands)), (0,)) == value


def test_every_operand_is_evaluated() -> None:
    model = model_of("machine: M\nparts: {d: {range: 0..2}}\nhazards: {H: {must not be: d <> 0 AND 4 / d > 2}}\n")
    with pytest.raises(semantics.Impossible):
        semantics.evaluate(model, model.properties[0].rule.must_not_be.test, (0,))  # type: ignore[union-attr]


CHAIN = """
machine: M
memory: {a: bool, b: bool, c: bool}
commands:
  go: {then: {a: TRUE}}
  swap: {then: {a: b, b: a}}
trips:
  late:  {when: b, then: {c: TRUE}}
  early: {when: a, then: {b: TRUE}}
"""


def test_a_trip_later_in_the_file_sets_off_an_earlier_one_in_the_next_round() -> None:
    model = model_of(CHAIN)
    acted: list[list[str]] = []
    step = next(step for step in model.steps if step.name == "go")
    after = semantics.take(model, step, start(model), lambda names, _values: acted.append(names))
    assert after == (1, 1, 1)
    assert acted == [["early"], ["late"], []]


def test_all_right_hand_sides_are_read_before_any_is_written() -> None:
    model = model_of(CHAIN.replace("late:  {when: b", "late:  {when: c").replace("early: {when: a", "early: {when: c"))
    assert take(model, (1, 0, 0), "swap") == (0, 1, 0)


def test_the_later_of_two_trips_that_override_each_other_wins_and_rests() -> None:
    trips = "trips:\n  up: {when: p, then: {x: on}}\n  down: {when: p, then: {x: off}}\n"
    model = model_of("machine: M\noutputs: {x: [off, on]}\npanel: {p: bool}\n" + trips)
    assert take(model, start(model), "p")[place(model, "x")] == 0


def test_settling_that_never_ends_names_who_chases_whom() -> None:
    model = model_of("""
machine: M
memory: {x: bool, y: bool}
trips:
  set y: {when: NOT x, then: {y: TRUE, x: TRUE}}
  once:  {when: NOT y, then: {y: y}}
  clear: {when: x AND NOT y, then: {x: FALSE}}
  flip:  {when: y, then: {y: FALSE}}
""")
    with pytest.raises(semantics.Failed) as failed:
        semantics.settle(model, (0, 0))
    assert failed.value.failure == Endless(names=("set y", "clear", "flip"))


def test_an_assignment_outside_the_range_fails_though_a_later_trip_would_mend_it() -> None:
    cap = "trips: {cap: {when: n > 2, then: {n: 0}}}\n"
    model = model_of("machine: M\nmemory: {n: {range: 0..3}}\ncommands: {up: {then: {n: n + 1}}}\n" + cap)
    step = model.steps[0]
    with pytest.raises(semantics.Failed) as failed:
        semantics.take(model, step, (3,))
    assert failed.value.failure == Beyond(rule="up", variable="n", problem="n would become 4, its range is 0..3")


CLOCKS = """
machine: M
tick: 1 s
parts: {p: [idle, moving, done], held: bool}
people:
  push: {if: p = idle, then: {p: moving}}
  hold: {if: NOT held, then: {held: TRUE}}
  let go: {if: held, then: {held: FALSE}}
plant:
  arrives: {when: p = moving AND NOT held, after: 2..3 s, then: {p: done}}
"""


def test_a_plant_rule_happens_between_its_bounds_and_time_stops_at_the_latest() -> None:
    model = model_of(CLOCKS)
    state = take(model, start(model), "push")
    rule = next(step for step in model.steps if step.name == "arrives")
    possible = []
    while (later := semantics.tick(model, state)) is not None:
        possible.append(semantics.possible(model, rule, state))
        state = later
    assert possible == [False, False, True]
    assert semantics.possible(model, rule, state)
    assert semantics.take(model, rule, state)[place(model, "p")] == 2


def test_a_break_of_its_condition_starts_a_plant_clock_anew() -> None:
    model = model_of(CLOCKS)
    state = take(model, start(model), "push")
    state = semantics.tick(model, state) or state
    clock = place(model, "clock of arrives")
    assert state[clock] == 1
    assert take(model, take(model, state, "hold"), "let go")[clock] == 0


def test_a_break_inside_settling_is_no_break() -> None:
    text = CLOCKS + "  bounces: {when: held, after: at once, then: {held: FALSE}}\n"
    model = model_of(text)
    state = take(model, start(model), "push")
    state = semantics.tick(model, state) or state
    assert take(model, state, "hold") == state


def test_a_clock_stops_counting_at_its_largest_bound() -> None:
    model = model_of(CLOCKS.replace("2..3 s", "2 s or more"))
    state = take(model, start(model), "push")
    for _ in range(5):
        state = semantics.tick(model, state) or state
    assert state[place(model, "clock of arrives")] == 2


def test_stuck_signals() -> None:
    text = """
machine: M
parts: {door: [shut, open]}
outputs: {drive: [off, on]}
sensors: {seen_shut: door = shut}
memory: {noted: bool}
commands:
  note: {permissives: {seen: seen_shut, asked: drive = off}, then: {noted: TRUE}}
people: {open: {then: {door: open}}}
faults:
  sees it shut: {sensor: seen_shut, stuck: TRUE}
  sees it open: {sensor: seen_shut, stuck: FALSE}
  drive runs:   {output: drive, stuck: on}
hazards: {H1: {must not be: drive = on}}
"""
    model = model_of(text, "sees it shut", "sees it open", "drive runs")
    hazard = model.properties[0].rule.must_not_be.test  # type: ignore[union-attr]
    state = take(model, take(model, start(model), "open"), "sees it shut")
    second = next(step for step in model.steps if step.name == "sees it open")
    assert not semantics.possible(model, second, state), "one signal sticks once"
    state = take(model, state, "drive runs")
    assert semantics.evaluate(model, hazard, state), "the truth sees what the output does"
    assert take(model, state, "note")[place(model, "noted")], "the controller sees what it commanded, and the stuck sensor"


def test_every_start_is_a_combination_of_the_starts() -> None:
    model = model_of("machine: M\nparts: {a: {states: [x, y, z], starts: [z, x]}, n: {range: 2..4, starts: any}}\n")
    assert sorted(semantics.raw_starts(model)) == [(0, 2), (0, 3), (0, 4), (2, 2), (2, 3), (2, 4)]


FLASHER = """
machine: M
tick: 1 s
panel: {run: bool}
memory: {beats: {range: 0..9}, marks: {range: 0..9}}
timers:
  beat:  {kind: TON, in: NOT beat.Q, pt: 2 s}
  one:   {kind: TON, in: NOT two.Q, pt: 2 s}
  two:   {kind: TON, in: one.Q, pt: 1 s}
  pulse: {kind: TP, in: NOT pulse.Q, pt: 2 s}
trips:
  beat: {when: beat.Q, then: {beats: beats + 1}}
  mark: {when: two.Q, then: {marks: marks + 1}}
"""


def test_timers_that_reset_themselves_and_each_other_beat_as_on_a_controller() -> None:
    """A TON fed by its own NOT Q shows Q for one scan every pt; two TONs that reset each other flash (common practice, no
    source). Trips see it; settled states do not."""
    model = model_of(FLASHER)
    state, shown = start(model), []
    for _ in range(6):
        state = semantics.tick(model, state) or state
        shown.append((state[place(model, "beats")], state[place(model, "marks")], state[place(model, "pulse")]))
    assert shown == [(0, 0, 2), (1, 0, 1), (1, 1, 2), (2, 1, 1), (2, 1, 2), (3, 2, 1)]
