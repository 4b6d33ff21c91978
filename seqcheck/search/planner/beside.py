"""Answers a question in a process of its own, beside what this one does, where a fork is sound; else when it is asked for."""

import os
import signal
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from types import TracebackType
from typing import Generic, Self, TypeVar

from seqcheck.search.limits import Interruption
from seqcheck.search.planner.child import ENDS_WITHIN_S, end_with_parent, starting

Answer = TypeVar("Answer")

LOOKS_EVERY_S = 0.05


class Beside(Generic[Answer]):
    """One question. *beside* answers it in a process of its own, and cannot change this one; *here* answers it in this one.

    A context, at whose end the process is ended. Ctrl-C at the terminal is for this process; it is passed on when the answer is
    waited for.
    """

    def __init__(self, beside: Callable[[], Answer], here: Callable[[], Answer]) -> None:
        self._beside = beside
        self._here = here
        self._incoming: Connection | None = None
        self._process: BaseProcess | None = None

    def __enter__(self) -> Self:
        """Begin, if a second processor is there."""
        context = starting()
        if context.get_start_method() == "fork" and len(os.sched_getaffinity(0)) > 1:
            self._incoming, outgoing = context.Pipe(duplex=False)
            self._process = context.Process(target=tell, args=(self._beside, outgoing), daemon=True)  # type: ignore[attr-defined]
            self._process.start()
            outgoing.close()
        return self

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None) -> None:
        """End the process, if it goes on still."""
        if self._process is not None and self._incoming is not None:
            self._process.terminate()
            self._process.join(ENDS_WITHIN_S)
            self._incoming.close()

    def answer(self) -> Answer:
        """Return the answer; what was raised in the process is raised here. One that died is asked again in this process."""
        if self._incoming is None:
            return self._here()
        self._wait(self._incoming)
        try:
            told = self._incoming.recv()
        except (EOFError, OSError):
            return self._here()
        if isinstance(told, BaseException):
            raise told
        answer: Answer = told[0]
        return answer

    def _wait(self, incoming: Connection) -> None:
        passed_on = False
        with Interruption() as interruption:
            while not incoming.poll(LOOKS_EVERY_S):
                if interruption.noted and not passed_on and self._process is not None and self._process.pid is not None:
                    os.kill(self._process.pid, signal.SIGINT)
                    passed_on = True


def tell(work: Callable[[], object], outgoing: Connection) -> None:
    """Answer, and tell what came of it: all that the process does."""
    os.setpgid(0, 0)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    threading.Thread(target=end_with_parent, daemon=True).start()
    try:
        with Interruption():
            told: object = (work(),)
    except Exception as raised:  # noqa: BLE001 - it is raised again where the answer is asked for
        told = raised
    outgoing.send(told)
    outgoing.close()
    os._exit(0)
