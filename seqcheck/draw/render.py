"""DOT text to a picture, by the system's `dot`, or else by the packaged renderer. The one place that starts either."""

import os
import re
import shutil
import subprocess
import sysconfig
from enum import Enum
from pathlib import Path

from seqcheck.draw.dot import dot_of
from seqcheck.draw.drawing import Drawing

PACKAGED = "graphviz-pure"
MOST_SECONDS = 60.0


class Format(Enum):
    """The form of a picture's file, as its name ends."""

    SVG = "svg"
    PNG = "png"
    PDF = "pdf"
    DOT = "dot"


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
    name = f"{PACKAGED}.exe" if os.name == "nt" else PACKAGED
    beside = Path(sysconfig.get_path("scripts")) / name
    return beside if beside.is_file() else None


def rendered(dot: str, form: Format) -> bytes:
    """Render DOT text. Raises `NotRenderedError` if nothing here can, or if the renderer fails or takes too long."""
    if form is Format.DOT:
        return dot.encode()
    program = renderer(form)
    if program is None:
        wanted = "Graphviz (its program dot)" if form is Format.PDF else f"Graphviz (its program dot) or the package {PACKAGED}"
        raise NotRenderedError(f"there is no renderer for {form.value} here", f"install {wanted}, or take --format dot")
    try:
        done = subprocess.run(  # noqa: S603 - a program found by its name, fed by us
            [program, "-Kdot", f"-T{form.value}"], input=dot.encode(), capture_output=True, timeout=MOST_SECONDS, check=False
        )
    except subprocess.TimeoutExpired:
        why = f"{program.name} did not finish within {MOST_SECONDS:g} s"
        raise NotRenderedError(why, "take --format dot, or draw less") from None
    except OSError as error:
        raise NotRenderedError(f"{program.name} cannot be started: {error.strerror or error}", "take --format dot") from None
    if done.returncode != 0 or not done.stdout:
        said = done.stderr.decode(errors="replace").strip().splitlines()
        raise NotRenderedError(f"{program.name} failed: {said[0] if said else done.returncode}", "take --format dot")
    return done.stdout


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
