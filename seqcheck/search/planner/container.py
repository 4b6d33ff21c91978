"""The file that snapshots are kept in: written whole or not at all, read part by part, any damage to it noticed.

The file is lines of JSON, some followed by raw bytes:

    {"seqcheck snapshots": 1, "version": "0.1.0", "sequence sha256": "…"}      first
    {"engine": "plain", "faults": ["…"], "exact counts": false, "spent s": 12.5}   begins a section: the snapshot of one search
    {"part": "search", "bytes": 1234}                                          1,234 raw bytes and a line feed follow
    {"sha256": "…"}                                                            last: of all that comes before it

Nothing in it is ever run: no pickles, only JSON and the engine's own packed numbers.
"""

import hashlib
import json
import os
from collections.abc import Iterator, Mapping
from io import BufferedReader
from pathlib import Path
from typing import Protocol

from msgspec import Struct, field
from msgspec.structs import replace

FORM = 1
MARK = "seqcheck snapshots"
LONGEST_LINE = 1 << 20
PIECE = 1 << 20


class NotOursError(Exception):
    """A file that is no snapshot of this search; the text says why."""


class Binding(Struct, frozen=True, kw_only=True):
    """What a file of snapshots belongs to."""

    version: str
    sequence_sha256: str


class Search(Struct, frozen=True, kw_only=True):
    """Which search a section is of."""

    engine: str
    faults: tuple[str, ...]
    exact_counts: bool


class Section(Struct, kw_only=True):
    """One snapshot in a file: its bytes are from *begin* to *end*, those of each part from where and how many."""

    search: Search
    spent_s: float
    begin: int
    end: int = 0
    parts: dict[str, tuple[int, int]] = field(default_factory=dict)


class Parts(Mapping[str, bytes]):
    """The parts of a section, each read when it is asked for."""

    def __init__(self, path: Path, places: Mapping[str, tuple[int, int]]) -> None:
        self._path = path
        self._places = places

    def __len__(self) -> int:
        """Return how many parts there are."""
        return len(self._places)

    def __iter__(self) -> Iterator[str]:
        """Yield the names of the parts."""
        return iter(self._places)

    def __getitem__(self, name: str) -> bytes:
        """Return one part."""
        begin, size = self._places[name]
        with self._path.open("rb") as file:
            file.seek(begin)
            return file.read(size)


def read_sections(path: Path, binding: Binding) -> list[Section]:
    """Return what a file holds, having read all of it. Raises `NotOursError`, and `OSError` if it cannot be read."""
    with path.open("rb") as file:
        digest = hashlib.sha256()
        head = _line(file, digest)
        if head.get(MARK) != FORM:
            raise NotOursError("it is no file of snapshots" if MARK not in head else "its form is of another version")
        sections: list[Section] = []
        end, said = digest.hexdigest(), _line(file, digest)
        while "sha256" not in said:
            _take(file, said, digest, sections)
            end, said = digest.hexdigest(), _line(file, digest)
        if said["sha256"] != end or file.read(1):
            raise NotOursError("it is damaged: its sha256 is another")
    _check(head, binding)
    return sections


def _check(head: Mapping[str, object], binding: Binding) -> None:
    if head.get("sequence sha256") != binding.sequence_sha256:
        raise NotOursError("it belongs to another sequence file, or to another revision of this one")
    if head.get("version") != binding.version:
        raise NotOursError(f"it was written by version {head.get('version')}; this is {binding.version}")


class _Digest(Protocol):
    def update(self, data: bytes, /) -> None:
        """Take in bytes."""

    def hexdigest(self) -> str:
        """Return the digest so far."""


def _line(file: BufferedReader, digest: _Digest) -> dict[str, object]:
    """Read a line of JSON."""
    data = file.readline(LONGEST_LINE)
    digest.update(data)
    try:
        said = json.loads(data)
    except (ValueError, RecursionError):
        said = None
    if not data.endswith(b"\n") or not isinstance(said, dict):
        raise NotOursError("it is no file of snapshots" if file.tell() == len(data) else "it is damaged")
    return said


def _take(file: BufferedReader, said: Mapping[str, object], digest: _Digest, sections: list[Section]) -> None:
    """Take in the beginning of a section, or a part."""
    match said:
        case {"engine": str(engine), "faults": list(faults), "exact counts": bool(exact), "spent s": float(spent)}:
            search = Search(engine=engine, faults=tuple(map(str, faults)), exact_counts=exact)
            begin = file.tell() - len(section_line(search, spent))
            sections.append(Section(search=search, spent_s=spent, begin=begin, end=file.tell()))
        case {"part": str(name), "bytes": int(size)} if sections and size >= 0:
            sections[-1].parts[name] = (file.tell(), size)
            left = size + 1
            while left and (data := file.read(min(PIECE, left))):
                digest.update(data)
                left -= len(data)
            sections[-1].end = file.tell()
        case _:
            raise NotOursError("it is damaged")


def line(**said: object) -> bytes:
    """Return a line of JSON; a name's underscores become spaces."""
    return (json.dumps({name.replace("_", " "): value for name, value in said.items()}, ensure_ascii=False) + "\n").encode()


def section_line(search: Search, spent_s: float) -> bytes:
    """Return the line that begins a section."""
    return line(engine=search.engine, faults=list(search.faults), exact_counts=search.exact_counts, spent_s=spent_s)


class Writing:
    """A file being written; nobody sees it before `close`. *sections* are those written so far."""

    def __init__(self, path: Path, binding: Binding) -> None:
        self._path = path
        self._aside = path.with_name(f"{path.name}.part")
        self._digest = hashlib.sha256()
        self._file = self._aside.open("wb")
        self._at = 0
        self.sections: list[Section] = []
        self._put(line(seqcheck_snapshots=FORM, version=binding.version, sequence_sha256=binding.sequence_sha256))

    def section(self, search: Search, spent_s: float, parts: Mapping[str, bytes]) -> None:
        """Write a snapshot."""
        section = Section(search=search, spent_s=spent_s, begin=self._at)
        self._put(section_line(search, spent_s))
        for name in parts:
            data = parts[name]
            self._put(line(part=name, bytes=len(data)))
            section.parts[name] = (self._at, len(data))
            self._put(data)
            self._put(b"\n")
        section.end = self._at
        self.sections.append(section)

    def copy(self, source: Path, section: Section) -> None:
        """Write a section of another file again."""
        moved = self._at - section.begin
        with source.open("rb") as file:
            file.seek(section.begin)
            left = section.end - section.begin
            while left and (data := file.read(min(PIECE, left))):
                self._put(data)
                left -= len(data)
        parts = {name: (begin + moved, size) for name, (begin, size) in section.parts.items()}
        self.sections.append(replace(section, begin=section.begin + moved, end=section.end + moved, parts=parts))

    def close(self) -> None:
        """Put the file in the place of the one before, on the disk."""
        self._put(line(sha256=self._digest.hexdigest()))
        self._file.flush()
        os.fsync(self._file.fileno())
        self._file.close()
        self._aside.replace(self._path)

    def drop(self) -> None:
        """Leave the file before as it is."""
        self._file.close()
        self._aside.unlink(missing_ok=True)

    def _put(self, data: bytes) -> None:
        self._digest.update(data)
        self._file.write(data)
        self._at += len(data)
