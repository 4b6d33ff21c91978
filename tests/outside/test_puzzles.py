"""Puzzles with published answers: states, transitions and shortest solutions as the tool gives them."""

import math

import pytest

from tests.outside import puzzles
from tests.outside.answer import Answer, Found
from tests.outside.conftest import Verify


def test_wolf_goat_and_cabbage(verify: Verify) -> None:
    """Seven crossings: the classic answer (attributed to Alcuin, from memory). 10 states, 20 arcs: own count, from memory."""
    given = verify(puzzles.wolf_goat_cabbage(careful=True))
    assert (given.plain.states, given.plain.transitions) == (10, 20)
    assert given.plain.of("across").verdict == "holds"
    assert given.plain.of("across").steps == 7
    assert given.plain.of("eaten").verdict == "holds"
    assert given.exit_code == 0


def test_a_careless_ferryman_loses_something_at_once(verify: Verify) -> None:
    given = verify(puzzles.wolf_goat_cabbage(careful=False))
    assert given.plain.of("eaten").verdict == "violated"
    assert given.plain.of("eaten").steps == 1
    assert given.plain.states == 16, "every set of banks can be had: four things on two banks"
    assert given.exit_code == 1


def test_jugs(verify: Verify) -> None:
    """Jugs of 5 and 3 to measure 4: six pours is the classic answer; 16 states, 58 arcs: own count, from memory."""
    given = verify(puzzles.jugs(5, 3, 4))
    assert (given.plain.states, given.plain.transitions) == (16, 58)
    assert given.plain.of("measured").steps == 6


def test_jugs_with_a_common_divisor_never_measure_an_odd_amount(verify: Verify) -> None:
    """Only multiples of the greatest common divisor can be measured (textbook number theory)."""
    given = verify(puzzles.jugs(6, 4, 3))
    assert given.plain.of("measured").verdict == "violated"
    assert given.exit_code == 1


def test_missionaries_and_cannibals(verify: Verify) -> None:
    """Eleven crossings for three pairs (Amarel, 1968, as restated in textbooks); 16 states, 34 arcs: own count, from memory."""
    given = verify(puzzles.missionaries_and_cannibals(3))
    assert (given.plain.states, given.plain.transitions) == (16, 34)
    assert given.plain.of("across").steps == 11


def test_four_pairs_cannot_cross(verify: Verify) -> None:
    """With a boat for two, four pairs cannot cross (classic, from memory)."""
    given = verify(puzzles.missionaries_and_cannibals(4))
    assert given.plain.of("across").verdict == "violated"


@pytest.mark.parametrize("discs", range(1, 7))
def test_towers_of_hanoi(verify: Verify, discs: int) -> None:
    """3^n states, 3^(n+1) - 3 arcs, 2^n - 1 moves (textbook; Lucas 1883)."""
    given = verify(puzzles.hanoi(discs))
    assert given.plain.states == 3**discs
    assert given.plain.transitions == 3 ** (discs + 1) - 3
    assert given.plain.of("moved").steps == 2**discs - 1


@pytest.mark.parametrize(("count", "modulus"), [(1, 2), (1, 7), (2, 5), (3, 4), (4, 3), (8, 2)])
def test_independent_counters(verify: Verify, count: int, modulus: int) -> None:
    """m^k states, each with k moves (counting)."""
    given = verify(puzzles.counters(count, modulus))
    assert given.plain.states == modulus**count
    assert given.plain.transitions == count * modulus**count


@pytest.mark.parametrize("count", range(3, 9))
def test_philosophers_who_take_both_forks_never_block(verify: Verify, count: int) -> None:
    """4, 7, 11, 18, 29, 47 states: Lucas numbers, OEIS A000204 (sets of a ring without neighbours)."""
    given = verify(puzzles.philosophers_both_forks(count))
    golden = (1 + math.sqrt(5)) / 2
    assert given.plain.states == {3: 4, 4: 7, 5: 11, 6: 18, 7: 29, 8: 47}[count] == round(golden**count)
    assert not nobody_leaves(given)


@pytest.mark.parametrize("count", range(2, 8))
def test_philosophers_who_take_one_fork_first_can_block(verify: Verify, count: int) -> None:
    """6, 14, 34, 82, 198, 478 states: OEIS A002203; one deadlock, when each holds one fork, after n steps (textbook)."""
    given = verify(puzzles.philosophers_one_fork(count))
    assert given.plain.states == {2: 6, 3: 14, 4: 34, 5: 82, 6: 198, 7: 478}[count]
    assert given.plain.of("all_wait").steps == count
    (blocked,) = nobody_leaves(given)
    assert blocked.text.startswith("1 state ")
    assert blocked.steps == count
    assert blocked.end == {f"p{i}": "waits" for i in range(count)}


def nobody_leaves(given: Answer) -> list[Found]:
    """Return the findings that tell of a state that nobody and nothing leaves."""
    return [finding for finding in given.findings if "nobody and nothing leaves" in finding.text]
