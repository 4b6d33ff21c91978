"""Pictures in SVG to PDF or PNG, by a Chromium that is installed: for what the renderers of DOT cannot make."""

import re
import shutil
import tempfile
from pathlib import Path

from seqcheck.draw.render import Format, NotRenderedError, started

PROGRAMS = ("chromium", "chromium-browser", "google-chrome", "chrome")
MOST_SECONDS = 60.0
QUIET = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
SIZE = re.compile(r'<svg [^>]*?\bwidth="([\d.]+)(pt|mm|px|)"[^>]*?\bheight="([\d.]+)(pt|mm|px|)"')
PIXELS = {"pt": 96 / 72, "mm": 96 / 25.4, "px": 1.0, "": 1.0}


def browser() -> Path | None:
    """Return the program, if there is one."""
    return next((Path(found) for name in PROGRAMS if (found := shutil.which(name))), None)


def by_browser(svg: str, form: Format) -> bytes:
    """Return an SVG file as PDF or PNG. Raises `NotRenderedError`."""
    program = browser()
    if program is None:
        raise NotRenderedError(f"there is nothing here that makes {form.value} of it", "install Chromium, or take --format svg")
    width, height = size_of(svg)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        picture = folder / f"picture.{form.value}"
        style = f"@page{{size:{width}px {height}px;margin:0}}html,body{{margin:0;background:white}}svg{{display:block}}"
        page = f'<!DOCTYPE html><meta charset="utf-8"><style>{style}</style>{svg[svg.index("<svg") :]}'
        (folder / "page.html").write_text(page, encoding="utf-8")
        asked = (
            ["--no-pdf-header-footer", f"--print-to-pdf={picture}"]
            if form is Format.PDF
            else ["--hide-scrollbars", f"--window-size={width},{height}", f"--screenshot={picture}"]
        )
        own = f"--user-data-dir={folder / 'own'}"
        done = started([str(program), *QUIET, own, *asked, (folder / "page.html").as_uri()], b"", MOST_SECONDS, bounded=False)
        if not picture.is_file():
            raise NotRenderedError(f"{program.name} failed with exit code {done.code}", "take --format svg")
        return picture.read_bytes()


def size_of(svg: str) -> tuple[int, int]:
    """Return how many pixels wide and high an SVG file is shown."""
    found = SIZE.search(svg)
    if found is None:
        return 800, 1100
    width, height = (int(float(found[n]) * PIXELS[found[n + 1]]) + 1 for n in (1, 3))
    return width, height
