"""Asks an engine for one file's searches: with snapshots if they are wanted, and keeps what each search tells of itself."""

from pathlib import Path
from typing import TYPE_CHECKING

import click
from msgspec import Struct, field
from msgspec.structs import replace

from seqcheck import __version__
from seqcheck.cli.beforehand import AUTO, IN_THIS_PROCESS
from seqcheck.cli.load import Loaded
from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.report.searched import Searched, searched
from seqcheck.search.engine import NO_EXTRAS, Engine, Evidence, Exploration, Extras, Limits, Observer, Stop, Unfit
from seqcheck.search.engines import NAMES, engine
from seqcheck.search.planner.job import NoAnswerError

if TYPE_CHECKING:
    from seqcheck.search.planner.keeping import FileKeeper, Shelf
    from seqcheck.search.planner.standby import Standby

INTERNAL_ERROR = 70


def searcher(name: str, standby: "Standby | None" = None) -> Engine:
    """Return what searches if *name* is chosen: an engine, or the planner that chooses one."""
    if name == IN_THIS_PROCESS:
        return engine(name)
    from seqcheck.search.planner.planner import Alone, Planner

    return Planner(meanwhile=get_ready, standby=standby) if name == AUTO else Alone(name, standby=standby)


def get_ready() -> None:
    """Import what every run is played in: it is needed soon, and others search meanwhile."""
    import seqcheck.simulate.replay  # noqa: F401


class Wanted(Struct, frozen=True, kw_only=True):
    """What is wanted of every search besides verdicts."""

    resume: Path | None
    proof: bool
    exact_counts: bool
    first: bool


class Searches(Struct, kw_only=True):
    """The searches of one file: an engine that passes on what is wanted besides, and notes what it was answered."""

    name: str
    searching: Engine
    wanted: Wanted
    shelf: "Shelf | None"
    told: dict[tuple[str, ...], Searched] = field(default_factory=dict)
    evidence: dict[tuple[str, ...], Evidence | None] = field(default_factory=dict)
    is_at_the_first: bool = False

    def explore(
        self,
        model: Model,
        watches: tuple[Expression, ...],
        limits: Limits,
        observer: Observer,
        extras: Extras = NO_EXTRAS,
    ) -> Exploration:
        """Ask the engine. Raises `click.ClickException` if it is not made for this machine."""
        wanted, keeper = self.wanted, self._keeper(model.study)
        extras = replace(extras, keeper=keeper, evidence=wanted.proof, exact_counts=wanted.exact_counts, first=wanted.first)
        try:
            found = self.searching.explore(model, watches, limits, observer, extras)
        except NoAnswerError as none:
            click.echo(f"seqcheck: no engine came to an answer, so there is no verdict: {none}", err=True)
            raise SystemExit(INTERNAL_ERROR) from None
        except Unfit as unfit:
            raise click.ClickException(f"the engine {self.name} is not made for this machine: {unfit}") from None
        self.told[model.study] = searched(found, 0.0 if keeper is None else keeper.spent_before_s)
        self.evidence[model.study] = found.evidence
        self.is_at_the_first = self.is_at_the_first or found.stopped is Stop.FIRST
        if keeper is not None and keeper.trouble:
            click.echo(f"no snapshot could be kept: {keeper.trouble}", err=True)
        return found

    def _keeper(self, study: tuple[str, ...]) -> "FileKeeper | None":
        if self.shelf is None:
            return None
        from seqcheck.search.planner.keeping import FileKeeper

        return FileKeeper(self.shelf, study, exact_counts=self.wanted.exact_counts)

    def close(self, *, complete: bool) -> None:
        """Remove the snapshots if everything has been answered; else tell where they are."""
        if self.shelf is None:
            return
        if complete:
            self.shelf.remove()
        elif self.shelf.sections:
            command = "the same command without --first" if self.is_at_the_first else "the same command"
            click.echo(f"the search is kept in {self.shelf.path}: {command} takes it up again", err=True)


def searches_of(loaded: Loaded, name: str, wanted: Wanted, standby: "Standby | None" = None) -> Searches:
    """Return the searches of a file. Raises `click.ClickException` if the snapshots are of something else."""
    shelf = None if wanted.resume is None else shelf_of(loaded, wanted.resume)
    return Searches(name=name, searching=searcher(name, standby), wanted=wanted, shelf=shelf)


def shelf_of(loaded: Loaded, path: Path) -> "Shelf":
    """Open the snapshots of a file. Raises `click.ClickException` if they are of something else."""
    from seqcheck.search.planner.container import Binding, NotOursError
    from seqcheck.search.planner.keeping import Shelf

    shelf = Shelf(path=path, binding=Binding(version=__version__, sequence_sha256=loaded.sha256))
    try:
        shelf.open(NAMES)
    except NotOursError as error:
        text = f"{path} was left as it is; it keeps no search of {loaded.file}: {error}"
        raise click.ClickException(text) from None
    except OSError as error:
        raise click.ClickException(f"cannot keep snapshots in {path}: {error.strerror or error}") from None
    return shelf
