"""Hands questions to a crew, takes the answers as they come, keeps them, and asks again what got lost on the way."""

import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, Future, wait
from enum import Enum
from typing import Any, TypeVar

from msgspec import Struct, field
from msgspec.structs import replace

from seqcheck.analyse.faults.asking import Answer, Batch, Question, work
from seqcheck.analyse.faults.crews import Crew, Here, NoCrewError
from seqcheck.analyse.faults.keeping import Kept
from seqcheck.analyse.faults.together import Minimal, Whole, search_together
from seqcheck.search.engine import Limits, Stop
from seqcheck.search.limits import Interruption

ALONE_S = 0.7
"""For so long questions are answered in this process: small machines are done before other processes have begun."""

MOST_TRIES = 3
"""So often a question is asked if those who work on it die."""

LOOKS_EVERY_S = 0.1

FEW_SETS = 10
"""So many sets are searched one by one; with more, somebody searches all of them at once, and whoever is first has won."""

LEAST_S = 5.0
"""A search over all sets has so long at least."""

TOGETHER_S = 30.0
"""So long it may take where nothing else is asked before it has ended."""

T = TypeVar("T")


class Ended(Enum):
    """Why the work ended before every question was answered."""

    SECONDS = "the limit on time"
    INTERRUPTED = "an interruption from the keyboard"
    NOBODY = "the loss of all who worked on it"


class Pace(Struct, frozen=True, kw_only=True):
    """How far the work is. *left_s* None: that cannot be told yet."""

    done: int
    total: int
    left_s: float | None


class Orders(Struct, frozen=True, kw_only=True):
    """How to work: with which engine, within which limits, whom to call if it takes long or, *at_once*, from the start.

    *together_first*: all sets of faults are searched at once, in this process, before any is searched by itself.
    """

    engine: str
    limits: Limits
    crew: Callable[[], Crew]
    at_once: bool
    watch: Callable[[Pace], None]
    together_first: bool = False


class Told(Struct, frozen=True, kw_only=True):
    """What a search over all sets of faults at once came to; *found* None: to no end."""

    whole: Whole
    found: Minimal | None


class Desk(Struct, kw_only=True):
    """Where questions are given out. A context: Ctrl-C ends the work; whoever was called is dismissed at its end."""

    orders: Orders
    kept: Kept
    ended: Ended | None = None
    done: int = 0
    total: int = 0
    lost: list[tuple[str, ...]] = field(default_factory=list)
    wholes: list[Whole] = field(default_factory=list)
    _began: float = field(default_factory=time.monotonic)
    _answered: int = 0
    _crew: Crew | None = None
    _tries: dict[tuple[str, ...], int] = field(default_factory=dict)
    _pending: "dict[Future[Any], Batch | Whole]" = field(default_factory=dict)
    _interruption: Interruption = field(default_factory=Interruption)

    def __enter__(self) -> "Desk":
        """Begin to note interruptions."""
        self._interruption.__enter__()
        return self

    def __exit__(self, *_raised: object) -> None:
        """Dismiss whoever was called, and leave Ctrl-C as it was."""
        if self._crew is not None:
            self._crew.dismiss()
        self._interruption.__exit__(None, None, None)

    def work_off(self, subjects: Iterable[T], ask: Callable[[T], Question | None]) -> Iterator[Answer | Told]:
        """Ask about subjects, and yield what is answered as it comes. Where nothing is left to *ask*, that is done.

        What is said of all sets at once comes in between, if it does. Those that nobody survived are in *lost*. Raises
        `NoCrewError` if there is nobody to begin with.
        """
        waiting: deque[T] = deque(subjects)
        asked: dict[tuple[str, ...], T] = {}
        while (waiting or self._batches()) and not self._is_over():
            crew = self._who()
            while waiting and len(self._pending) < 2 * crew.size:
                batch = self._batch(waiting, crew.batch, ask, asked)
                if not self._hand_over(crew, batch) or isinstance(crew, Here):
                    break
            for future in wait(self._pending, LOOKS_EVERY_S, FIRST_COMPLETED).done if self._pending else ():
                about = self._pending.pop(future, None)
                if about is None:
                    continue
                if self._is_lost(future, crew):
                    self._ask_again(about, waiting, asked)
                elif isinstance(about, Whole):
                    yield Told(whole=about, found=future.result())
                    self._drop(lambda study: ask(asked[study]) is None if study in asked else True)
                else:
                    yield from self._taken(future.result())
            self.orders.watch(self._pace())

    def search_together_first(self) -> Iterator[Told]:
        """Search all sets of faults at once, if that is to come first, and yield what it came to."""
        wholes = self.wholes if self.orders.together_first else []
        while wholes and not self._is_over():
            seconds = self._limits().seconds
            seconds = TOGETHER_S if seconds is None else min(seconds, TOGETHER_S)
            whole = wholes.pop(0)
            yield Told(whole=whole, found=search_together(whole, seconds, self.orders.limits.memory_mb))

    def _hand_over(self, crew: Crew, batch: Batch) -> bool:
        """Hand a batch over, if it is one; tell whether there is anybody."""
        try:
            if batch:
                self._pending[crew.submit(work, batch, self.orders.engine, self._limits())] = batch
        except NoCrewError:
            self.ended = Ended.NOBODY
        return self.ended is None

    def _drop(self, is_needless: Callable[[tuple[str, ...]], bool]) -> None:
        """Wait no longer for answers to questions that need none by now."""
        for future, about in list(self._pending.items()):
            if not isinstance(about, Whole) and all(is_needless(question.study) for question in about):
                future.cancel()
                del self._pending[future]
                self.done += len(about)

    def _batches(self) -> bool:
        """Tell whether somebody works on questions; work on all sets at once is not waited for."""
        return any(not isinstance(about, Whole) for about in self._pending.values())

    def _batch(
        self, waiting: "deque[T]", most: int, ask: Callable[[T], Question | None], asked: dict[tuple[str, ...], T]
    ) -> Batch:
        questions: list[Question] = []
        while waiting and len(questions) < most:
            subject = waiting.popleft()
            question = ask(subject)
            if question is None:
                self.done += 1
            else:
                asked[question.study] = subject
                questions.append(question)
        return tuple(questions)

    def _is_lost(self, future: "Future[Any]", crew: Crew) -> bool:
        """Tell whether there will be no answer; errors of this program are raised."""
        if future.cancelled():
            return True
        error = future.exception()
        if error is None:
            return False
        try:
            if not crew.is_loss(error):
                raise error
        except NoCrewError:
            self.ended = Ended.NOBODY
        return True

    def _taken(self, answers: Iterable[Answer]) -> Iterator[Answer]:
        for answer in answers:
            if answer.stopped is Stop.INTERRUPTED:
                self.ended = Ended.INTERRUPTED
                continue
            self._answered += 1
            self.done += 1
            if answer.stopped is None:
                self.kept.add(answer)
            yield answer

    def _ask_again(self, about: "Batch | Whole", waiting: "deque[T]", asked: Mapping[tuple[str, ...], T]) -> None:
        for question in () if isinstance(about, Whole) else about:
            tries = self._tries[question.study] = self._tries.get(question.study, 0) + 1
            if tries < MOST_TRIES:
                waiting.append(asked[question.study])
            else:
                self.done += 1
                self.lost.append(question.study)

    def _who(self) -> Crew:
        if self._crew is None and (self.orders.at_once or time.monotonic() - self._began > ALONE_S):
            self._crew = self.orders.crew()
            if self.total - self.done > FEW_SETS:
                self._begin_wholes(self._crew)
        return self._crew if self._crew is not None else Here()

    def _begin_wholes(self, crew: Crew) -> None:
        """Begin to search all sets at once, for no longer than one after the other is likely to take."""
        pace, seconds = self._pace().left_s, self._limits().seconds
        if pace is not None:
            seconds = max(LEAST_S, pace) if seconds is None else min(seconds, max(LEAST_S, pace))
        elif crew.size == 1:
            return
        for whole in self.wholes:
            self._pending[crew.submit(search_together, whole, seconds)] = whole

    def _limits(self) -> Limits:
        limits = self.orders.limits
        return limits if limits.seconds is None else replace(limits, seconds=max(0.0, self._seconds_left(limits.seconds)))

    def _seconds_left(self, seconds: float) -> float:
        return seconds - (time.monotonic() - self._began)

    def _is_over(self) -> bool:
        seconds = self.orders.limits.seconds
        if self._interruption.noted:
            self.ended = Ended.INTERRUPTED
        elif seconds is not None and self._seconds_left(seconds) <= 0:
            self.ended = Ended.SECONDS
        return self.ended is not None

    def _pace(self) -> Pace:
        spent, left = time.monotonic() - self._began, self.total - self.done
        return Pace(done=self.done, total=self.total, left_s=spent / self._answered * left if self._answered else None)
