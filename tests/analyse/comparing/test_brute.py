"""Random machines and random changes of them, against a comparison state by state."""

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from seqcheck.analyse.comparing.comparison import Comparison, Outcome
from seqcheck.analyse.comparing.joining import join
from seqcheck.analyse.comparing.naming import Naming
from seqcheck.compile.compile import compile_machine
from seqcheck.model.run import By
from seqcheck.search.comparing.explicit import compare_states
from seqcheck.search.comparing.pair import Compared, Difference, Pair, Side
from seqcheck.search.comparing.symbolic import compare_sets
from seqcheck.search.engine import Limits
from tests.analyse.asking import silent
from tests.analyse.comparing.brute import Expected, Name, compared
from tests.analyse.comparing.changing import changed
from tests.analyse.comparing.comparing import told
from tests.effort import examples
from tests.outside.machines import machines
from tests.outside.reading import machine_of


def numbers(found: Compared) -> dict[str, object]:
    """Return all counts of a search."""

    def many(one: Difference | None) -> int:
        return one.count if one else 0

    return {
        "states": (found.old.states, found.new.states, found.old.situations, found.new.situations, found.common),
        "situations": [many(one) for one in (found.gone, found.come, found.starts_gone, found.starts_come)],
        "accepted": {place: (many(level.more), many(level.less)) for place, level in found.accepted.items()},
        "judged": {place: (many(level.more), many(level.less)) for place, level in found.judged.items()},
        "moved": {place: (many(moved.gone), many(moved.come)) for place, moved in found.moved.items()},
        "unclear": bool(found.unclear),
    }


def counts(found: Comparison) -> dict[str, object]:
    """Return what was found in the form of what is expected."""

    def name(by: By) -> Name:
        return (by.kind.value, by.name, by.to)

    return {
        "gone": found.gone.count if found.gone else 0,
        "come": found.come.count if found.come else 0,
        "starts_gone": found.starts_gone.count if found.starts_gone else 0,
        "starts_come": found.starts_come.count if found.starts_come else 0,
        "common": found.common,
        "accepted": {c.name: c.accepted.count for c in found.commands if c.accepted},
        "refused": {c.name: c.refused.count for c in found.commands if c.refused},
        "moves_gone": {name(s.by): s.gone.count for s in found.steps if s.gone},
        "moves_come": {name(s.by): s.come.count for s in found.steps if s.come},
    }


def wanted(expected: Expected) -> dict[str, object]:
    """Return what is expected."""
    names = ("gone", "come", "starts_gone", "starts_come", "common", "accepted", "refused", "moves_gone", "moves_come")
    return {name: getattr(expected, name) for name in names}


def differs(expected: Expected) -> bool:
    """Tell whether the machines do not do the same."""
    return any(value for name, value in wanted(expected).items() if name != "common")


@settings(max_examples=examples(40), deadline=None, suppress_health_check=list(HealthCheck))
@given(changed())
def test_random_changes(pair: tuple[str, str]) -> None:
    old, new = pair
    expected = compared(compile_machine(machine_of(old)), compile_machine(machine_of(new)))
    assume(expected is not None)
    assert expected is not None
    found = told(old, new)
    if found.quick:
        assert not differs(expected)
        return
    assert counts(found) == wanted(expected)
    assert bool(found.unclear) == expected.unclear
    if differs(expected):
        assert found.outcome is Outcome.DIFFERS
    elif found.outcome is Outcome.SAME:
        assert not expected.unclear


@settings(max_examples=examples(25), deadline=None, suppress_health_check=list(HealthCheck))
@given(changed())
def test_state_by_state_is_the_same_as_by_sets(pair: tuple[str, str]) -> None:
    old, new = (compile_machine(machine_of(text)) for text in pair)
    asked = join(old, new, Naming(old, new, ())).pair
    by_sets = compare_sets(asked, Limits(), silent)
    assume(by_sets.old.states + by_sets.new.states < 600)
    by_states = compare_states(asked, Limits(), silent)
    assert numbers(by_states) == numbers(by_sets)
    for side in (by_sets.old, by_sets.new):
        assert side.asked <= by_states.searched(Side.OLD if side is by_sets.old else Side.NEW).asked
    assert outcomes(by_states, asked) == outcomes(by_sets, asked)


def outcomes(found: Compared, pair: Pair) -> list[tuple[bool, bool]]:
    """Return what was found of the properties of one id that come out differently."""
    both = [(a in found.old.found, b in found.new.found) for a, b in pair.properties if a is not None and b is not None]
    return [(a, b) for a, b in both if a != b]


HIDDEN = [("part_1", "piece_1"), ("output_0", "lamp_0"), ("timer_0", "delay_0"), ("memory_0", "store_0"), ("part_0", "piece_0")]


@settings(max_examples=examples(12), deadline=None, suppress_health_check=list(HealthCheck))
@given(machines(with_faults=False), st.sampled_from(HIDDEN))
def test_what_both_hide_is_never_called_the_same_where_it_decides(text: str, name: tuple[str, str]) -> None:
    assume(name[0] in text)
    other = text.replace(*name)
    expected = compared(compile_machine(machine_of(text)), compile_machine(machine_of(other)))
    assume(expected is not None)
    assert expected is not None
    found = told(text, other)
    assert counts(found) == wanted(expected)
    assert (found.unclear > 0) is expected.unclear
    assert not (expected.unclear and found.outcome is Outcome.SAME)
    assert told(text, other, "=".join(name)).outcome is Outcome.SAME
