"""DOT text to a picture, by the system's `dot`, or else by the packaged renderer. The one place that starts either."""

import os
import re
import shutil
import subprocess
import sys
import sysconfig
from collections.abc import Sequence
from contextlib import suppress
from enum import Enum
from pathlib import Path

from msgspec import Struct

from seqcheck.draw.dot import dot_of
from seqcheck.draw.drawing import Drawing

PACKAGED = "graphviz-pure"
MOST_SECONDS = 60.0
ROUTING_FAILED = "routesplines"
"""What a renderer says that finds no way for a curved edge; straight ones it can always draw."""
MOST_BYTES = 4 * 2**30
"""Memory that a renderer may take; pictures that can be read take some megabytes."""


class Format(Enum):
    """The form of a picture's file, as its name ends."""

    SVG = "svg"
    PNG = "png"
    PDF = "pdf"
    DOT = "dot"
    GRAPHML = "graphml"


class NotRenderedError(Exception):
    """A picture cannot be rendered; the text says why, *hint* what helps."""

    def __init__(self, why: str, hint: str) -> None:
        super().__init__(why)
        self.hint = hint


def renderer(form: Format) -> Path | None:
    """Return the program that renders *form*, if there is one."""
    if form is Format.PDF:
        return _system()
    return _system() or _packaged()


def _system() -> Path | None:
    found = shutil.which("dot")
    return Path(found) if found else None


def _packaged() -> Path | None:
    """Return the packaged renderer: where its package says it is, else beside the other programs of this Python."""
    name = f"{PACKAGED}.exe" if os.name == "nt" else PACKAGED
    beside = Path(sysconfig.get_path("scripts")) / name
    if beside.is_file():
        return beside
    from importlib.metadata import PackageNotFoundError, files

    try:
        listed = [Path(str(one.locate())).resolve() for one in files(PACKAGED) or () if one.name == name]
    except PackageNotFoundError:
        return None
    return next((one for one in listed if one.is_file()), None)


def rendered(dot: str, form: Format) -> bytes:
    """Render DOT text. Raises `NotRenderedError` if nothing here can, or if the renderer fails or takes too long."""
    if form is Format.DOT:
        return dot.encode()
    program = renderer(form)
    if program is None:
        wanted = "Graphviz (its program dot)" if form is Format.PDF else f"Graphviz (its program dot) or the package {PACKAGED}"
        raise NotRenderedError(f"there is no renderer for {form.value} here", f"install {wanted}, or take --format dot")
    done = started([str(program), "-Kdot", f"-T{form.value}"], dot.encode(), MOST_SECONDS)
    if done.code != 0 and ROUTING_FAILED in done.said:
        done = started([str(program), "-Kdot", f"-T{form.value}", "-Gsplines=line"], dot.encode(), MOST_SECONDS)
    if done.code != 0 or not done.output:
        raise NotRenderedError(f"{program.name} failed: {_why(done)}", "take --format dot")
    return done.output


def _why(done: "Ended") -> str:
    """Return the first line that a renderer said and that is no warning, else its exit code: warnings fail nothing."""
    lines = (line.strip() for line in done.said.splitlines())
    said = next((line for line in lines if line and not line.lower().startswith("warning")), "")
    return said or f"it ended with {done.code}"


class Ended(Struct, frozen=True, kw_only=True):
    """What came of a program: its exit code, what it wrote, what it said besides."""

    code: int
    output: bytes
    said: str


def started(command: Sequence[str], fed: bytes, seconds: float, *, bounded: bool = True) -> Ended:
    """Run a program with so much time, and if *bounded* so much memory, at most. Raises `NotRenderedError` if that ends it."""
    name = Path(command[0]).name
    try:
        program = subprocess.Popen(  # noqa: S603 - a program found by its name, fed by us
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE
        )
    except OSError as error:
        raise NotRenderedError(f"{name} cannot be started: {error.strerror or error}", "take --format dot") from None
    with program:
        if bounded:
            bound_memory(program.pid)
        try:
            output, said = program.communicate(fed, timeout=seconds)
        except subprocess.TimeoutExpired:
            program.kill()
            raise NotRenderedError(f"{name} did not finish within {seconds:g} s", "take --format dot, or draw less") from None
        except BaseException:
            program.kill()
            raise
    return Ended(code=program.returncode, output=output, said=said.decode(errors="replace"))


def bound_memory(pid: int) -> None:
    """Keep a program from taking more than `MOST_BYTES`, where the system can."""
    if sys.platform == "linux":
        import resource

        with suppress(OSError, ValueError):
            resource.prlimit(pid, resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))


def svg_of(drawing: Drawing) -> str:
    """Return a drawing as a whole SVG file. Raises `NotRenderedError`."""
    return rendered(dot_of(drawing), Format.SVG).decode()


def inline(svg: str, prefix: str, title: str) -> str:
    """Return an SVG as a page holds it: no prologue, ids of its own, and in the colour of the text around it.

    *prefix* and *title* are ours or escaped already.
    """
    start = svg.index("<svg")
    body = re.sub(r"<!--.*?-->\n?", "", svg[start:], flags=re.DOTALL)
    body = re.sub(r'\bid="', f'id="{prefix}-', body)
    body = re.sub(r'<polygon fill="white" stroke="none"[^>]*/>', "", body, count=1)
    body = body.replace('stroke="black"', 'stroke="currentColor"').replace('fill="black"', 'fill="currentColor"')
    body = re.sub(r"<text (?![^>]*fill=)", '<text fill="currentColor" ', body)
    return body.replace("<svg ", f'<svg role="img" aria-label="{title}" ', 1)
