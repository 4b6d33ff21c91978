"""Algorithms that let one at a time into a place, timed and untimed, with the answers of those who proved them."""

import pytest

from tests.outside import puzzles
from tests.outside.conftest import Verify


def test_petersons_algorithm_keeps_one_out(verify: Verify) -> None:
    """G. L. Peterson, "Myths about the mutual exclusion problem", Information Processing Letters 12(3), 1981.

    20 states and 34 arcs with four places a process: own count by an independent program.
    """
    given = verify(puzzles.peterson())
    assert (given.plain.states, given.plain.transitions) == (20, 34)
    assert given.plain.of("both").verdict == "holds"
    assert given.plain.of("one_enters").steps == 3
    assert given.plain.of("other_enters").steps == 3


@pytest.mark.parametrize(("turn_given", "flag_first"), [(False, True), (True, False)])
def test_petersons_algorithm_without_one_of_its_parts_lets_both_in(verify: Verify, turn_given: bool, flag_first: bool) -> None:
    """The turn never given, or given before interest is shown (textbook exercise): both inside after three steps each."""
    given = verify(puzzles.peterson(turn_given=turn_given, flag_first=flag_first))
    assert given.plain.of("both").verdict == "violated"
    assert given.plain.of("both").steps == 6


@pytest.mark.parametrize("within", [1, 2, 3, 4])
@pytest.mark.parametrize("at_least", [1, 2, 3, 4, 5])
def test_fischers_algorithm_holds_exactly_if_claiming_is_faster_than_waiting(
    verify: Verify, within: int, at_least: int
) -> None:
    """Fischer's algorithm, as given by L. Lamport, "A fast mutual exclusion algorithm", ACM TOCS 5(1), 1987: iff A < B.

    All bounds are closed, so whole ticks lose nothing (Henzinger, Manna, Pnueli, ICALP 1992).
    """
    given = verify(puzzles.fischer(2, within, at_least))
    assert given.plain.of("both").verdict == ("holds" if within < at_least else "violated")
    for process in (1, 2):
        assert given.plain.of(f"enters_{process}").steps == 3
        assert given.plain.of(f"enters_{process}").seconds == at_least
    if within >= at_least:
        # 1 sees, 2 sees, 1 claims at once, 1 waits B and enters, 2 claims after B, waits B and enters.
        assert given.plain.of("both").steps == 6
        assert given.plain.of("both").seconds == 2 * at_least


@pytest.mark.parametrize(("within", "at_least", "verdict"), [(1, 2, "holds"), (2, 2, "violated"), (2, 3, "holds")])
def test_fischers_algorithm_for_three(verify: Verify, within: int, at_least: int, verdict: str) -> None:
    """The bound does not depend on how many take part (Lamport, as above)."""
    assert verify(puzzles.fischer(3, within, at_least)).plain.of("both").verdict == verdict
