"""Conditions in few words: true where they must be, false where they must not, and said as a person would say them."""

from functools import cache
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seqcheck.check.machine import Machine
from seqcheck.compile.compile import compile_machine
from seqcheck.model import semantics
from seqcheck.model.expression import TRUE, Expression
from seqcheck.model.model import State
from seqcheck.model.wording import wording
from seqcheck.search.engine import NO_EXTRAS, Limits
from seqcheck.search.limits import Allowance
from seqcheck.search.symbolic.budget import Budget
from seqcheck.search.symbolic.diagrams import Node
from seqcheck.search.symbolic.literals import Literals
from seqcheck.search.symbolic.situations import mirrored
from seqcheck.search.symbolic.symbolic import Search
from seqcheck.search.symbolic.telling import telling
from tests.outside.reading import machine_of

TEXT = """
machine: Things to tell apart
parts:
  lid: [shut, open]
sensors:
  lid_shut: lid = shut
outputs:
  drive: [off, slow, fast]
memory:
  ready: bool
  count: {range: 0..3}
commands:
  stop: {then: {drive: off}}
hazards:
  H1: {must not be: count = 3}
"""
STATES: tuple[State, ...] = tuple(product(range(2), range(3), range(2), range(4)))
"""Every value of lid, drive, ready and count."""


class Apart:
    """The states of the machine, to be told apart."""

    def __init__(self, machine: Machine) -> None:
        self.model = compile_machine(machine)
        self._whole = mirrored(self.model)
        with Allowance(Limits()) as allowance:
            self._search = Search(self._whole, Budget(allowance, Limits(), lambda _: None), NO_EXTRAS)
        self._literals = Literals(self._whole, self._search, [len(self.model.variables)])

    def said(self, yes: set[State], no: set[State], *, counting: bool = True) -> Expression | None:
        space = self._search.parts.space
        literals = [*self._literals.simple, *(self._literals.counting if counting else [])]
        return telling(space, space.any(map(self._point, yes)), space.any(map(self._point, no)), literals)

    def _point(self, state: State) -> Node:
        shut = semantics.evaluate(self.model, self.model.sensors[0].value, state)
        return self._search.parts.space.point((*state, shut))

    def words(self, test: str, care: str = "TRUE") -> str | None:
        """Say a condition of which only the states that have another one matter."""
        cared = {state for state in STATES if self._has(care, state)}
        yes = {state for state in cared if self._has(test, state)}
        told = self.said(yes, cared - yes)
        return None if told is None else wording(self.model, told)

    def _has(self, test: str, state: State) -> bool:
        return bool(semantics.evaluate(self.model, probe(test), state))


@cache
def probe(test: str) -> Expression:
    """Return a condition of the file as the model has it."""
    text = TEXT.replace("commands:\n", f"commands:\n  probe: {{permissives: {{it: {test}}}, then: {{drive: off}}}}\n")
    (step,) = [step for step in compile_machine(machine_of(text)).steps if step.name == "probe"]
    return step.guards[0].test


@pytest.fixture(scope="module")
def apart() -> Apart:
    return Apart(machine_of(TEXT))


@pytest.mark.parametrize(
    ("test", "care", "said"),
    [
        ("lid_shut", "TRUE", "lid_shut"),
        ("NOT lid_shut", "TRUE", "NOT lid_shut"),
        ("drive = off", "TRUE", "drive = off"),
        ("drive <> fast", "TRUE", "drive <> fast"),
        ("ready", "TRUE", "ready"),
        ("lid_shut AND ready", "TRUE", "lid_shut AND ready"),
        ("lid_shut OR ready", "TRUE", "lid_shut OR ready"),
        ("count < 2", "TRUE", "count <= 1"),
        ("lid_shut AND ready AND drive = slow", "lid_shut AND (ready OR drive = slow)", "drive = slow AND ready"),
        ("drive = slow OR drive = fast", "TRUE", "drive <> off"),
        ("lid_shut AND ready OR NOT lid_shut AND NOT ready", "TRUE", None),
    ],
)
def test_small_cases_are_said_as_a_person_would(apart: Apart, test: str, care: str, said: str | None) -> None:
    words = apart.words(test, care)
    if said is None:
        assert words is not None
        assert words.count(" OR ") == 1
    else:
        assert words == said


def test_all_and_nothing(apart: Apart) -> None:
    assert apart.said(set(STATES), set()) == TRUE
    assert apart.said(set(), set(STATES)) is None


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_a_condition_is_true_where_it_must_be_and_false_where_it_must_not(apart: Apart, data: st.DataObject) -> None:
    yes = data.draw(st.sets(st.sampled_from(STATES), min_size=1, max_size=6))
    no = data.draw(st.sets(st.sampled_from(STATES), max_size=6)) - yes
    told = apart.said(yes, no)
    assert told is not None
    assert all(semantics.evaluate(apart.model, told, state) for state in yes)
    assert not any(semantics.evaluate(apart.model, told, state) for state in no)


def test_without_numbers_some_states_cannot_be_told_apart(apart: Apart) -> None:
    assert apart.said({(0, 0, 0, 1)}, {(0, 0, 0, 2)}, counting=False) is None
