"""Keeps the answers of a campaign in a file of JSON lines, so that one that was stopped can be taken up again.

The first line says what the file is about; each further line is one answer, added when it comes. A last line that was cut off
is left out. There is nothing in the file that is run: traces are taken again, step by step, with the plain definition.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, Self

import msgspec
from msgspec import Struct

from seqcheck.analyse.faults.asking import Answer
from seqcheck.analyse.faults.together import Minimal, Whole
from seqcheck.analyse.record import Disagreement
from seqcheck.model import semantics

FORM = "seqcheck-faults-kept/1"
DAMAGED = (Disagreement, semantics.Impossible, semantics.Failed, ValueError, LookupError, TypeError, ArithmeticError)
"""What comes of a trace that is none."""


class NotOursError(Exception):
    """The file keeps something else; the text says what."""


class CannotKeepError(Exception):
    """The file cannot be read or written; the text says why."""


@contextmanager
def writing() -> Iterator[None]:
    """Read or write the file. Raises `CannotKeepError` where that fails."""
    try:
        yield
    except OSError as error:
        raise CannotKeepError(error.strerror or str(error)) from None


@contextmanager
def checking(study: tuple[str, ...]) -> Iterator[None]:
    """Take the traces of a kept answer again. Raises `NotOursError` where they are none of this machine."""
    try:
        yield
    except DAMAGED as error:
        about = " and ".join(filter(None, study)) or "no fault"
        raise NotOursError(f"the answer about {about} is damaged: {error}") from None


class Heading(Struct, frozen=True, kw_only=True):
    """What a file of answers is about: it goes with one version of the tool, one sequence file and one way to search."""

    form: str
    version: str
    sequence_sha256: str
    search: str


class Line(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A line of the file: an answer, or what one search over all sets found, with what that was about."""

    answer: Answer | None = None
    whole: tuple[str, int] | None = None
    minimal: Minimal | None = None


class Kept:
    """The answers of one campaign, in a file. *path* None: they are kept nowhere."""

    def __init__(self, path: Path | None, heading: Heading) -> None:
        self._path = path
        self._heading = heading
        self._file: BinaryIO | None = None
        self.answers: dict[tuple[str, ...], Answer] = {}
        self.minimal: dict[tuple[str, int], Minimal] = {}
        self.found_before: tuple[Line, ...] = ()

    @property
    def is_file(self) -> bool:
        """Whether answers may come out of a file."""
        return self._path is not None

    def open(self) -> Self:
        """Read the answers that are there, and make ready to add others. Raises `NotOursError` and `CannotKeepError`."""
        if self._path is not None:
            with writing():
                self._opened(self._path)
        return self

    def _opened(self, path: Path) -> None:
        written = path.read_bytes() if path.exists() else b""
        whole = written[: written.rfind(b"\n") + 1]
        if written and not whole:
            raise NotOursError("its first line is no heading")
        self.found_before = tuple(self._read(whole))
        for line in self.found_before:
            if line.answer is not None:
                self.answers[line.answer.study] = line.answer
            if line.whole is not None and line.minimal is not None:
                self.minimal[line.whole] = line.minimal
        self._file = path.open("r+b" if written else "wb")
        self._file.truncate(len(whole))
        self._file.seek(len(whole))
        if not whole:
            self._write(self._heading)

    def _read(self, whole: bytes) -> Iterator[Line]:
        if not whole:
            return
        first, *others = whole.splitlines()
        try:
            heading = msgspec.json.decode(first, type=Heading)
        except (msgspec.MsgspecError, UnicodeDecodeError):
            raise NotOursError("its first line is no heading") from None
        if heading.form != FORM:
            raise NotOursError(f"its form is {heading.form}, and this version reads {FORM}")
        if heading.sequence_sha256 != self._heading.sequence_sha256:
            raise NotOursError("it is about another file, or this one as it was before a change")
        if heading.version != self._heading.version:
            raise NotOursError(f"version {heading.version} wrote it, and this is {self._heading.version}")
        if heading.search != self._heading.search:
            raise NotOursError(f"it was searched with {heading.search}, not with {self._heading.search}")
        for number, line in enumerate(others, start=2):
            try:
                yield msgspec.json.decode(line, type=Line)
            except (msgspec.MsgspecError, UnicodeDecodeError) as error:
                raise NotOursError(f"line {number} is damaged: {error}") from None

    def add(self, answer: Answer) -> None:
        """Keep an answer. Raises `CannotKeepError`."""
        self.answers[answer.study] = answer
        if self._file is not None:
            self._write(Line(answer=answer))

    def add_minimal(self, whole: Whole, found: Minimal) -> None:
        """Keep what one search over all sets found. Raises `CannotKeepError`."""
        self.minimal[whole.about] = found
        if self._file is not None:
            self._write(Line(whole=whole.about, minimal=found))

    def _write(self, what: Struct) -> None:
        if self._file is not None:
            with writing():
                self._file.write(msgspec.json.encode(what) + b"\n")
                self._file.flush()

    def close(self) -> None:
        """Close the file."""
        if self._file is not None:
            self._file.close()
            self._file = None
