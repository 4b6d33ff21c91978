"""Which renderer is taken, and what is said where there is none, where it fails, or where it takes too much."""

import os
import sys
from pathlib import Path

import pytest

from seqcheck.draw import browser, render
from seqcheck.draw.render import Format, NotRenderedError, rendered, renderer

DOT = "digraph d { a -> b }\n"
POSIX = pytest.mark.skipif(os.name == "nt", reason="a program of a few lines of shell is put in the place of dot")


def put(folder: Path, name: str, script: str) -> None:
    """Put a program into a folder."""
    (folder / name).write_text(f"#!/bin/sh\n{script}\n", encoding="utf-8")
    (folder / name).chmod(0o755)


@pytest.fixture
def only(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the only folder in which programs are looked for."""
    monkeypatch.setenv("PATH", str(tmp_path))
    return tmp_path


def test_without_dot_the_packaged_renderer_is_taken(only: Path) -> None:
    program = renderer(Format.SVG)
    assert program is not None
    assert program.stem == render.PACKAGED
    assert only not in program.parents
    assert rendered(DOT, Format.SVG).startswith(b"<?xml")
    assert rendered(DOT, Format.PNG).startswith(b"\x89PNG")


@POSIX
def test_the_systems_dot_comes_first(only: Path) -> None:
    put(only, "dot", 'read first; echo "given $1 $2: $first"')
    assert rendered(DOT, Format.SVG) == b"given -Kdot -Tsvg: digraph d { a -> b }\n"
    assert rendered(DOT, Format.PDF).startswith(b"given -Kdot -Tpdf")


@pytest.mark.usefixtures("only")
def test_without_any_there_is_a_hint(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(render, "PACKAGED", "no-such-renderer")
    with pytest.raises(NotRenderedError, match="no renderer for svg here") as said:
        rendered(DOT, Format.SVG)
    assert "install Graphviz" in said.value.hint
    assert rendered(DOT, Format.DOT) == DOT.encode()


@pytest.mark.usefixtures("only")
def test_the_packaged_renderer_makes_no_pdf() -> None:
    assert renderer(Format.PDF) is None


@POSIX
def test_a_renderer_that_fails_is_quoted(only: Path) -> None:
    put(only, "dot", "echo 'Warning: no such font' >&2; echo 'what is this?' >&2; exit 3")
    with pytest.raises(NotRenderedError, match="dot failed: what is this\\?"):
        rendered(DOT, Format.SVG)
    put(only, "dot", "echo 'Warning: no such font' >&2; exit 3")
    with pytest.raises(NotRenderedError, match="dot failed: it ended with 3"):
        rendered(DOT, Format.SVG)


@POSIX
def test_a_renderer_that_hangs_is_ended(only: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    put(only, "dot", "exec /bin/sleep 60")
    monkeypatch.setattr(render, "MOST_SECONDS", 0.2)
    with pytest.raises(NotRenderedError, match="did not finish within"):
        rendered(DOT, Format.SVG)


@pytest.mark.skipif(sys.platform != "linux", reason="memory can be bounded on Linux only")
def test_a_renderer_that_takes_too_much_memory_is_ended(only: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    put(only, "dot", f'/bin/sleep 0.3; exec {sys.executable} -c "x = bytearray(10**9); print(len(x))"')
    monkeypatch.setattr(render, "MOST_BYTES", 300 * 2**20)
    with pytest.raises(NotRenderedError, match="dot failed"):
        rendered(DOT, Format.SVG)


@POSIX
def test_a_program_that_cannot_be_started_is_no_traceback(only: Path) -> None:
    (only / "dot").write_bytes(b"\x7fELF nothing")
    (only / "dot").chmod(0o755)
    with pytest.raises(NotRenderedError, match="dot cannot be started"):
        rendered(DOT, Format.SVG)


@pytest.mark.usefixtures("only")
def test_without_a_browser_there_is_a_hint() -> None:
    with pytest.raises(NotRenderedError, match="nothing here that makes png") as said:
        browser.by_browser("<svg/>", Format.PNG)
    assert "--format svg" in said.value.hint


@pytest.mark.skipif(browser.browser() is None, reason="there is no Chromium here: SVG to PDF and PNG is not tested")
def test_a_browser_makes_pdf_and_png() -> None:
    svg = rendered(DOT, Format.SVG).decode()
    assert browser.by_browser(svg, Format.PDF).startswith(b"%PDF")
    assert browser.by_browser(svg, Format.PNG).startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("start", "size"),
    [
        ('<svg width="72pt" height="36pt"', (97, 49)),
        ('<svg xmlns="x" width="180mm" viewBox="0 0 1 1" height="25.4mm"', (681, 97)),
        ("<svg", (800, 1100)),
    ],
)
def test_the_size_of_an_svg_is_read(start: str, size: tuple[int, int]) -> None:
    assert browser.size_of(f"{start}></svg>") == size
