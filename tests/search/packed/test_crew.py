"""Work shared among threads: each number once, all ended before it goes on, and no failure lost."""

import threading
import time

import pytest

from seqcheck.search.packed.crew import Crew


def test_each_number_is_worked_on_once_and_all_have_ended() -> None:
    crew, done = Crew(2), list[int]()

    def work(number: int) -> None:
        time.sleep(0.002 * number)
        done.append(number)

    for many in (1, 2, 3):
        done.clear()
        crew.each(work, many)
        assert sorted(done) == list(range(many))
    crew.end()


@pytest.mark.parametrize("failing", [0, 1, 2])
def test_a_failure_is_raised_when_all_have_ended(failing: int) -> None:
    crew, done = Crew(2), list[int]()

    def work(number: int) -> None:
        if number == failing:
            raise ValueError(number)
        time.sleep(0.01)
        done.append(number)

    with pytest.raises(ValueError, match=str(failing)):
        crew.each(work, 3)
    assert sorted(done) == [number for number in range(3) if number != failing]
    done.clear()
    crew.each(done.append, 3)
    assert sorted(done) == [0, 1, 2], "the threads go on after a failure"
    crew.end()


def test_no_thread_is_left() -> None:
    """Threads that earlier tests began may end meanwhile."""
    before = set(threading.enumerate())
    crew = Crew(3)
    assert set(threading.enumerate()) <= before
    crew.each(lambda _: None, 2)
    own = set(threading.enumerate()) - before
    assert len(own) == 3
    crew.end()
    for thread in own:
        thread.join(1)
    assert not any(thread.is_alive() for thread in own)
