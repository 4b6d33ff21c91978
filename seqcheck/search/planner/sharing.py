"""Shares work out among processes: whoever is free takes the next piece, this process too.

Where no fork is sound, this process does all.
"""

import os
import signal
import threading
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from queue import SimpleQueue
from types import TracebackType
from typing import Any, Generic, Self, TypeVar

from seqcheck.search.limits import Interruption
from seqcheck.search.planner.child import ENDS_WITHIN_S, end_with_parent, starting

Answer = TypeVar("Answer")

LOOKS_EVERY_S = 0.05
PATIENCE_S = 2.0
"""So long a process may take to come to its end after an interruption, or when the time is over."""

MOST_PIECES = 250


class Piece(Generic[Answer]):
    """A piece of work: *beside* does it in another process, and cannot change this one; *here* does it in this one.

    It is *lost* if it was broken off before it came to an answer.
    """

    def __init__(self, beside: Callable[[], Answer], here: Callable[[], Answer]) -> None:
        self.beside = beside
        self.here = here
        self.answer: Answer | None = None
        self.seconds = 0.0
        self.lost = False
        self._is_done = False

    @property
    def is_done(self) -> bool:
        """Whether there is an answer, or never will be one."""
        return self._is_done or self.lost

    def note(self, answer: Answer, seconds: float) -> None:
        """Note the answer."""
        self.answer, self.seconds, self._is_done = answer, seconds, True

    def do(self) -> None:
        """Do it in this process."""
        began = time.monotonic()
        self.note(self.here(), time.monotonic() - began)


class Helper:
    """Another process that takes pieces, as seen from the one that started it."""

    def __init__(self, process: BaseProcess, incoming: Connection) -> None:
        self._process = process
        self.incoming = incoming
        self.begun: set[int] = set()

    def interrupt(self) -> None:
        """Pass Ctrl-C on: a helper does not hear of it from the terminal."""
        if self._process.pid is not None:
            with suppress(ProcessLookupError):
                os.kill(self._process.pid, signal.SIGINT)

    def end(self) -> None:
        """End the process, if it goes on still."""
        self._process.terminate()
        self._process.join(ENDS_WITHIN_S)
        if self._process.is_alive():
            self._process.kill()
            self._process.join()
        self.incoming.close()


class Sharing:
    """Work on some pieces, each done once. A context: other processes begin with the first pieces at once, and end with it.

    Ctrl-C is noted; it reaches the others where they are waited for.
    """

    def __init__(self, pieces: Sequence[Piece[Any]]) -> None:
        if len(pieces) > MOST_PIECES:
            raise ValueError(len(pieces))
        self._pieces = pieces
        self._helpers: list[Helper] = []
        self._interruption = Interruption()
        self._queue, filling = os.pipe()
        os.write(filling, bytes(range(len(pieces))))
        os.close(filling)

    def __enter__(self) -> Self:
        """Begin, in as many other processes as there are processors left."""
        self._interruption.__enter__()
        context = starting()
        if context.get_start_method() == "fork":
            for _ in range(min(len(os.sched_getaffinity(0)) - 1, len(self._pieces))):
                incoming, outgoing = context.Pipe(duplex=False)
                about = (self._queue, self._pieces, outgoing)
                process = context.Process(target=help_out, args=about, daemon=True)  # type: ignore[attr-defined]
                process.start()
                outgoing.close()
                self._helpers.append(Helper(process, incoming))
        return self

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None) -> None:
        """End the other processes."""
        for helper in self._helpers:
            helper.end()
        os.close(self._queue)
        self._interruption.__exit__(kind, value, trace)

    def finish(self, seconds_left: Callable[[], float | None]) -> None:
        """Work until every piece is done, or the time is over. What was raised in another process is raised here."""
        for number in taken(self._queue):
            self._pieces[number].do()
        self._wait(seconds_left)
        for piece in self._pieces:
            if not piece.is_done:
                piece.do()

    def _wait(self, seconds_left: Callable[[], float | None]) -> None:
        told_at: float | None = None
        while self._helpers:
            ready = wait([helper.incoming for helper in self._helpers], LOOKS_EVERY_S)
            for helper in [one for one in self._helpers if one.incoming in ready]:
                self._hear(helper)
            left = seconds_left()
            if told_at is None and (self._interruption.noted or (left is not None and left <= 0)):
                told_at = time.monotonic()
                for helper in self._helpers if self._interruption.noted else ():
                    helper.interrupt()
            if told_at is not None and time.monotonic() - told_at > PATIENCE_S:
                self._break_off()

    def _hear(self, helper: Helper) -> None:
        """Take in what a helper tells; what one that died had begun is done in this process."""
        try:
            number, seconds, told = helper.incoming.recv()
        except (EOFError, OSError):
            helper.end()
            self._helpers.remove(helper)
            return
        if isinstance(told, BaseException):
            raise told
        if told is None:
            helper.begun.add(number)
        else:
            helper.begun.discard(number)
            self._pieces[number].note(told[0], seconds)

    def _break_off(self) -> None:
        for helper in self._helpers:
            for number in helper.begun:
                self._pieces[number].lost = True
            helper.end()
        self._helpers.clear()


def taken(queue: int) -> Iterator[int]:
    """Take one piece after the other from a queue that processes share, until none is left."""
    while number := os.read(queue, 1):
        yield number[0]


def help_out(queue: int, pieces: Sequence[Piece[Any]], outgoing: Connection) -> None:
    """Take pieces and tell what comes of each: all that the process does."""
    os.setpgid(0, 0)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    threading.Thread(target=end_with_parent, daemon=True).start()
    answers: SimpleQueue[object] = SimpleQueue()
    telling = threading.Thread(target=tell, args=(answers, outgoing), daemon=True)
    telling.start()
    with Interruption():
        for number in taken(queue):
            began = time.monotonic()
            answers.put((number, 0.0, None))
            try:
                told: object = (pieces[number].beside(),)
            except Exception as raised:  # noqa: BLE001 - it is raised again where the answers are waited for
                raised.add_note(traceback.format_exc())
                told = raised
            answers.put((number, time.monotonic() - began, told))
    answers.put(None)
    telling.join()
    os._exit(0)


def tell(answers: "SimpleQueue[object]", outgoing: Connection) -> None:
    """Send answers on while others are worked for, since a long one fills the pipe until somebody listens."""
    try:
        while (answer := answers.get()) is not None:
            outgoing.send(answer)
    except OSError:
        pass
    finally:
        outgoing.close()
