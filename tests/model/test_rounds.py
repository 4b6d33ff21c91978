"""Settling watched round by round: who is named when it never ends, and who is told of what acts."""

import pytest

from seqcheck.compile.compile import compile_machine
from seqcheck.model import semantics
from seqcheck.model.model import Model, State
from seqcheck.model.run import Endless
from tests.outside.reading import machine_of

LONG = """
machine: Settling takes too long, and a timer changes in the first round
tick: 1 s
parts: {n: {range: 0..20000}, go: bool}
outputs: {o: bool}
sensors: {goes: go}
timers:
  falls: {kind: TOF, in: goes, pt: 1 s}
  rests: {kind: TON, in: goes, pt: 1 s}
trips: {rises: {when: goes, then: {o: TRUE}}}
plant: {counts: {when: go AND n < 20000, after: at once, then: {n: n + 1}}}
people: {go: {if: NOT go, then: {go: TRUE}}}
"""


def model_of(text: str) -> Model:
    return compile_machine(machine_of(text))


def test_settling_that_takes_too_long_names_all_that_changed_something() -> None:
    model = model_of(LONG)
    start = semantics.settle(model, next(semantics.raw_starts(model)))
    with pytest.raises(semantics.Failed) as failed:
        semantics.take(model, model.steps[0], start)
    assert failed.value.failure == Endless(names=("rises", "counts", "falls"))


TICKS = """
machine: A trip acts as time passes
tick: 1 s
parts: {p: bool}
panel: {key: {states: [FALSE, TRUE], starts: TRUE}}
outputs: {o: bool, w: bool}
timers: {t: {kind: TON, in: key, pt: 1 s}}
trips: {starts: {when: t.Q, then: {o: TRUE}}, follows: {when: o, then: {w: TRUE}}}
"""


def test_a_watch_is_told_each_round_of_a_tick() -> None:
    model = model_of(TICKS)
    start = semantics.settle(model, next(semantics.raw_starts(model)))
    told: list[tuple[list[str], State]] = []
    later = semantics.tick(model, start, lambda reactions, values: told.append((reactions, values)))
    assert [reactions for reactions, _ in told] == [["starts", "follows"], []]
    assert told[-1][1] == later
