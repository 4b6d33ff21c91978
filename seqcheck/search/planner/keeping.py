"""Keeps snapshots of one call's searches in a file, so that a search that was stopped or killed can be taken up again."""

import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path

from msgspec import Struct, field
from msgspec.structs import replace

from seqcheck.search.engine import Snapshot
from seqcheck.search.planner.container import Binding, NotOursError, Parts, Search, Section, Writing, read_sections

EVERY_S = 20.0
MOST_S = 45.0
"""A snapshot is due after so long; later if writing one takes more than a tenth of that, but no later than the second."""


class Shelf(Struct, kw_only=True):
    """A file of snapshots: a section for each engine and set of faults of one sequence file."""

    path: Path
    binding: Binding
    sections: list[Section] = field(default_factory=list)

    def open(self, engines: Sequence[str]) -> None:
        """Read what is there, and what was left beside it. Raises `NotOursError` for anything else, and `OSError`."""
        with suppress(FileNotFoundError):
            self.sections = read_sections(self.path, self.binding)
        for engine in engines:
            self.take_in(engine)
        Writing(self.path, self.binding).drop()

    def aside(self, engine: str) -> Path:
        """Return where an engine in a process of its own keeps its snapshots until they are taken in."""
        return self.path.with_name(f"{self.path.name}.{engine}")

    def find(self, search: Search) -> Section | None:
        """Return the snapshot of a search."""
        return next((section for section in self.sections if section.search == search), None)

    def put(self, search: Search, spent_s: float, snapshot: Snapshot) -> None:
        """Put a snapshot in place of the one before; those of other searches stay."""
        self._write(lambda writing: writing.section(search, spent_s, snapshot.parts), {search})

    def take_in(self, engine: str) -> None:
        """Put what an engine has kept aside in place of what is here."""
        other = self.aside(engine)
        try:
            sections = read_sections(other, self.binding)
        except FileNotFoundError:
            return

        def copied(writing: Writing) -> None:
            for section in sections:
                writing.copy(other, section)

        self._write(copied, {section.search for section in sections})
        other.unlink()

    def _write(self, add: Callable[[Writing], None], replaced: set[Search]) -> None:
        writing = Writing(self.path, self.binding)
        try:
            for section in self.sections:
                if section.search not in replaced:
                    writing.copy(self.path, section)
            add(writing)
            writing.close()
        except BaseException:
            writing.drop()
            raise
        self.sections = writing.sections

    def remove(self) -> None:
        """Remove the file: everything has been answered."""
        self.path.unlink(missing_ok=True)
        self.sections = []

    def tidy(self, engine: str) -> None:
        """Take in what an engine whose process has ended kept aside; remove what it did not finish."""
        with suppress(NotOursError, OSError):
            self.take_in(engine)
        for name in (f"{self.path.name}.{engine}", f"{self.path.name}.{engine}.part"):
            self.path.with_name(name).unlink(missing_ok=True)


class FileKeeper:
    """Keeps snapshots of one search on a shelf, one about every *every_s* seconds."""

    def __init__(
        self, shelf: Shelf, faults: tuple[str, ...], *, exact_counts: bool = False, every_s: float | None = None
    ) -> None:
        self._shelf = shelf
        self._search = Search(engine="", faults=faults, exact_counts=exact_counts)
        self._began = self._last = time.monotonic()
        self._every_s = self._interval_s = EVERY_S if every_s is None else every_s
        mine = [section for section in shelf.sections if replace(section.search, engine="") == self._search]
        self.engines = tuple(section.search.engine for section in mine)
        self.trouble = ""
        self.spent_before_s = max((section.spent_s for section in mine), default=0.0)

    def due(self) -> bool:
        """Tell whether it is time for a new snapshot."""
        return time.monotonic() - self._last >= self._interval_s

    def save(self, snapshot: Snapshot) -> None:
        """Put a snapshot in place of the one before, whole or not at all; a disk that takes none is noted in *trouble*."""
        began = time.monotonic()
        spent_s = round(self.spent_before_s + began - self._began, 3)
        try:
            self._shelf.put(replace(self._search, engine=snapshot.engine), spent_s, snapshot)
            self.trouble = ""
        except OSError as error:
            self.trouble = error.strerror or str(error)
        self._last = time.monotonic()
        self._interval_s = min(MOST_S, max(self._every_s, 10 * (self._last - began)))

    def kept(self, engine: str) -> Snapshot | None:
        """Return the snapshot to go on from, if there is one of that engine."""
        section = self._shelf.find(replace(self._search, engine=engine))
        return None if section is None else Snapshot(engine=engine, parts=Parts(self._shelf.path, section.parts))

    def take_in(self, engine: str) -> None:
        """Put onto the shelf what an engine in a process of its own has kept; note in *trouble* if that is not possible."""
        try:
            self._shelf.take_in(engine)
            self.trouble = ""
        except OSError as error:
            self.trouble = error.strerror or str(error)

    def tidy(self, engine: str) -> None:
        """Take in what an engine whose process has ended kept aside; remove what it did not finish."""
        self._shelf.tidy(engine)

    def onto(self, engine: str) -> "FileKeeper":
        """Return a keeper of the same search that writes beside the shelf."""
        beside = Shelf(path=self._shelf.aside(engine), binding=self._shelf.binding)
        search = self._search
        keeper = FileKeeper(beside, search.faults, exact_counts=search.exact_counts, every_s=self._every_s)
        keeper.spent_before_s, keeper._began = self.spent_before_s, self._began
        return keeper


class AsideKeeper:
    """The keeper of an engine in a process of its own: it writes beside the shelf and tells of it."""

    def __init__(self, keeper: FileKeeper, engine: str, tell: Callable[[str], None]) -> None:
        self._kept = keeper
        self._beside = keeper.onto(engine)
        self._tell = tell

    def due(self) -> bool:
        """Tell whether it is time for a new snapshot."""
        return self._beside.due()

    def save(self, snapshot: Snapshot) -> None:
        """Put a snapshot in place of the one before, whole or not at all."""
        self._beside.save(snapshot)
        self._tell(self._beside.trouble)

    def kept(self, engine: str) -> Snapshot | None:
        """Return the snapshot to go on from, if there is one of that engine."""
        return self._kept.kept(engine)
