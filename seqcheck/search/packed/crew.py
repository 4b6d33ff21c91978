"""Threads that do numbered work together with the one that asks. Lighter than a pool with futures, for it is asked often."""

import threading
from collections.abc import Callable
from queue import SimpleQueue

from msgspec import Struct, field

Work = Callable[[int], None]


class Hand(Struct):
    """One thread: what it is to do (None: end), and what came of it (None: all is well)."""

    asked: SimpleQueue[tuple[Work, int] | None] = field(default_factory=SimpleQueue)
    done: SimpleQueue[BaseException | None] = field(default_factory=SimpleQueue)

    def run(self) -> None:
        """Work until told to end."""
        while (task := self.asked.get()) is not None:
            work, number = task
            try:
                work(number)
            except BaseException as problem:  # noqa: BLE001 - raised again in the thread that asked
                self.done.put(problem)
            else:
                self.done.put(None)
            del task, work


class Crew:
    """Some hands besides the thread that asks; they begin when there is something to do."""

    def __init__(self, others: int) -> None:
        self._others = others
        self._hands: list[Hand] = []

    def each(self, work: Work, many: int) -> None:
        """Do work for the numbers 0 to *many* - 1, one more than there are hands at most. All have ended when this ends."""
        if not self._hands:
            self._begin()
        others = self._hands[: many - 1]
        for number, hand in enumerate(others, 1):
            hand.asked.put((work, number))
        try:
            work(0)
        finally:
            problems = [hand.done.get() for hand in others]
        for problem in problems:
            if problem is not None:
                raise problem

    def _begin(self) -> None:
        self._hands = [Hand() for _ in range(self._others)]
        for hand in self._hands:
            threading.Thread(target=hand.run, daemon=True).start()

    def end(self) -> None:
        """Let all threads end."""
        for hand in self._hands:
            hand.asked.put(None)
        self._hands = []
