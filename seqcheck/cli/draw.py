"""`seqcheck draw`: pictures of one file, each in a file of its own. Where nothing can render, the DOT text is written."""

import re
import time
from pathlib import Path

import click
from msgspec import Struct

from seqcheck.cli.exporting import make_folder
from seqcheck.cli.load import load
from seqcheck.cli.output import write_bytes
from seqcheck.cli.picturing import Kind, Picture, Pictures, Question
from seqcheck.draw.browser import browser, by_browser
from seqcheck.draw.dot import dot_of
from seqcheck.draw.naming import slug
from seqcheck.draw.render import Format, NotRenderedError, rendered, renderer
from seqcheck.report.graphml import graphml_of
from seqcheck.report.lines import counted
from seqcheck.search.engine import Limits

REFUSED, UNDECIDED = 2, 3
KINDS = [kind.value for kind in Kind]
FORMATS = [form.value for form in Format]


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--out", "folder", required=True, metavar="DIR", type=click.Path(path_type=Path), help="Where the pictures go.")
@click.option("--what", "kinds", metavar="KIND", help=f"Only these, with commas: {', '.join(KINDS)}.  [default: all]")
@click.option("--format", "form", type=click.Choice(FORMATS), default="svg", show_default=True, help="How they are written.")
@click.option("--by", metavar="NAME,…", default="", help="What the map is sorted by: parts, panel items, sensors, …")
@click.option("--run", "ids", metavar="ID", multiple=True, help="A timing diagram of this hazard's or requirement's run.")
@click.option("--max-seconds", type=click.FloatRange(min=0), metavar="S", help="Give up searching after so many seconds.")
@click.option("--max-memory", type=click.FloatRange(min=1), metavar="MB", help="Give up when so many megabytes are taken.")
def draw(  # noqa: PLR0913, PLR0917 - one argument for each option
    file: Path,
    folder: Path,
    kinds: str | None,
    form: str,
    by: str,
    ids: tuple[str, ...],
    max_seconds: float | None,
    max_memory: float | None,
) -> None:
    """Draw FILE: step charts, state charts, the map of reachable situations, who locks whom, timing diagrams of runs.

    Timing diagrams are of what is violated; where nothing is, of what is shown to be reachable.

    Exit code: 0 all is drawn, 2 FILE is refused, an option is wrong, or nothing here makes this format, 3 a limit was reached
    (or Ctrl-C), so that pictures may lack something, and say so, 70 internal error. A picture is no verdict.
    """
    writing = Writing(folder=folder, stem=stem_of(file), form=Format(form))
    wanted = kinds_of(kinds) if writing.form is not Format.GRAPHML else the_map(kinds)
    refuse_idle(wanted, by, ids)
    writing.check()
    loaded = load(file)
    if loaded.machine is None:
        raise SystemExit(REFUSED)
    question = Question(
        by=tuple(name.strip() for name in by.split(",") if name.strip()),
        ids=ids,
        limits=Limits(seconds=max_seconds, memory_mb=max_memory),
        began=time.monotonic(),
        link=writing.name_of,
    )
    pictures = Pictures(loaded, loaded.machine, question)
    pictures.refuse_unknown()
    make_folder(folder)
    for kind in wanted:
        for picture in pictures.of(kind):
            writing.write(picture)
    for note in dict.fromkeys((*pictures.notes, *writing.notes)):
        click.echo(note, err=True)
    click.echo(f"{loaded.file}: {counted(writing.count, 'picture')} written to {folder}", err=True)
    raise SystemExit(0 if pictures.complete else UNDECIDED)


def kinds_of(text: str | None) -> tuple[Kind, ...]:
    """Return the kinds asked for, each once, in the order of `Kind`. Raises `click.BadParameter`."""
    names = KINDS if text is None else [name.strip() for name in text.split(",") if name.strip()]
    for name in names:
        if name not in KINDS:
            raise click.BadParameter(
                f"there are no pictures of the kind {name!r}; choose from {', '.join(KINDS)}", param_hint="--what"
            )
    if not names:
        raise click.BadParameter(f"choose from {', '.join(KINDS)}", param_hint="--what")
    return tuple(kind for kind in Kind if kind.value in names)


def the_map(text: str | None) -> tuple[Kind, ...]:
    """Return the kind that GraphML is written of. Raises `click.BadParameter` if others were asked for."""
    if text is not None and kinds_of(text) != (Kind.MAP,):
        raise click.BadParameter("graphml is written of the map only: take --what map", param_hint="--format")
    return (Kind.MAP,)


def refuse_idle(wanted: tuple[Kind, ...], by: str, ids: tuple[str, ...]) -> None:
    """Raise `click.BadParameter` if an option is about pictures that are not drawn."""
    if by and Kind.MAP not in wanted:
        raise click.BadParameter("it sorts the map, and no map is drawn: add map to --what", param_hint="--by")
    if ids and Kind.TIMING not in wanted:
        raise click.BadParameter("it is for timing diagrams, and none are drawn: add timing to --what", param_hint="--run")


def stem_of(file: Path) -> str:
    """Return what the names of the pictures of a file begin with."""
    return file.stem if re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,80}", file.stem) else slug(file.stem) or "machine"


class Writing(Struct, kw_only=True):
    """Writes pictures into a folder. *notes* is what is to be said besides."""

    folder: Path
    stem: str
    form: Format
    count: int = 0
    notes: tuple[str, ...] = ()

    def check(self) -> None:
        """Raise `click.ClickException` if nothing here makes this format."""
        if self.form is Format.PDF and renderer(Format.PDF) is None and browser() is None:
            raise click.ClickException(
                "PDF is made by Graphviz (its program dot) or Chromium, and neither is here: install one, or take --format svg"
            )

    def name_of(self, name: str) -> str:
        """Return the name of a picture's file."""
        return f"{self.stem}.{name}.{self.form.value}"

    def write(self, picture: Picture) -> None:
        """Write a picture; if it cannot be rendered, what it is made from."""
        try:
            form, data = self.form, self._data(picture)
        except NotRenderedError as error:
            form = Format.DOT if picture.drawing is not None else Format.SVG
            data = picture.svg.encode() if picture.drawing is None else dot_of(picture.drawing).encode()
            self._note(f"written as {form.value}, because {error}; {error.hint}")
        write_bytes(str(self.folder / f"{self.stem}.{picture.name}.{form.value}"), data)
        self.count += 1

    def _data(self, picture: Picture) -> bytes:
        """Return what is written. Raises `NotRenderedError`."""
        if self.form is Format.GRAPHML and picture.map is not None:
            return graphml_of(picture.map).encode()
        if picture.drawing is not None:
            dot = dot_of(picture.drawing)
            if self.form is Format.PDF and renderer(Format.PDF) is None:
                return by_browser(rendered(dot, Format.SVG).decode(), Format.PDF)
            return rendered(dot, self.form)
        match self.form:
            case Format.SVG:
                return picture.svg.encode()
            case Format.DOT:
                raise NotRenderedError("a timing diagram has no DOT text", "take --format svg for it")
            case _:
                return by_browser(picture.svg, self.form)

    def _note(self, text: str) -> None:
        self.notes = (*self.notes, text)
