"""The page in a real browser: from disk with no network, by mouse and keyboard, on paper, on narrow screens, without script."""

import json
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from msgspec.structs import replace

from seqcheck.analyse.verdict import Verdict
from seqcheck.model.model import Source
from seqcheck.review.answering import why
from seqcheck.review.frames import Frame, frames, items
from seqcheck.review.page import page_of
from seqcheck.review.record import Review
from tests.review.mixer import MIXER
from tests.review.pages import HOSTILE, review_of

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

CHROMIUM = shutil.which("chromium")
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SECONDS = 10_000
"""Milliseconds until a wait counts as failed."""

playwright = pytest.importorskip(
    "playwright.sync_api", reason="playwright is not installed: the page is not tried in a browser"
)
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="there is no chromium here: the page is not tried in a browser")


class Watched:
    """An open page, with all that it asked for and complained of."""

    def __init__(self, browser: "Browser", file: Path, **context: Any) -> None:
        self.file = file
        self.context = browser.new_context(**context)
        self.context.set_offline(True)
        self.page: Page = self.context.new_page()
        self.page.set_default_timeout(SECONDS)
        self.asked: list[str] = []
        self.complaints: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("dialog", self._dialog)
        self.page.goto(file.as_uri())

    def _dialog(self, dialog: Any) -> None:
        self.complaints.append(f"dialog: {dialog.message}")
        dialog.dismiss()

    def __enter__(self) -> "Watched":
        return self

    def __exit__(self, *about: object) -> None:
        self.context.close()
        if about[0] is None:
            assert self.complaints == []
            assert set(self.asked) <= {self.file.as_uri()}


@pytest.fixture(scope="module")
def browser() -> "Iterator[Browser]":
    with playwright.sync_playwright() as started:
        opened = started.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def mixer(tmp_path_factory: pytest.TempPathFactory) -> Review:
    return review_of(MIXER, tmp_path_factory.mktemp("mixer"))


@pytest.fixture(scope="module")
def file(mixer: Review, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "review.html"
    path.write_text(page_of(mixer), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> tuple[Review, Path]:
    review = review_of(HOSTILE, tmp_path_factory.mktemp("hostile"))
    path = tmp_path_factory.mktemp("page") / "hostile.html"
    path.write_text(page_of(review), encoding="utf-8")
    return review, path


# --- the replay ---
def expected(review: Review, id_: str) -> tuple[Frame, ...]:
    """Return what the board of a violated hazard must show, step by step."""
    result = next(one for one in review.verification.cases[0].results if one.id == id_)
    assert result.run is not None
    return frames(result.run, result.accounts, review.model, items(review.model))


def shown(page: "Page", anchor: str) -> Frame:
    cells = page.locator(f'[data-run="{anchor}"] .value')
    return tuple(cells.all_text_contents())


def marked(page: "Page", anchor: str) -> list[str]:
    """Return which values are said to have changed."""
    return page.locator(f'[data-run="{anchor}"] tr:has(.was:not(:empty)) th').all_text_contents()


def by_group(review: Review, frame: Frame) -> Frame:
    """Return a frame in the order of the board, group by group: that of the items."""
    assert len(frame) == len(items(review.model))
    return frame


def test_replay_by_mouse(browser: "Browser", mixer: Review, file: Path) -> None:
    wanted = expected(mixer, "H1")
    with Watched(browser, file) as watched:
        page = watched.page
        box = page.locator('[data-run="run-H1"]')
        forward, back = box.get_by_role("button", name="Forward"), box.get_by_role("button", name="Back")
        assert shown(page, "run-H1") == wanted[0]
        for number, frame in enumerate(wanted[1:], start=1):
            forward.click()
            assert shown(page, "run-H1") == by_group(mixer, frame)
            assert (box.get_by_role("status").text_content() or "").startswith(f"{number} of {len(wanted) - 1}, ")
            changed = [
                one.spoken for one, old, new in zip(items(mixer.model), wanted[number - 1], frame, strict=True) if old != new
            ]
            assert marked(page, "run-H1") == changed
        assert forward.get_attribute("aria-disabled") == "true"
        forward.click(force=True)
        assert shown(page, "run-H1") == wanted[-1]
        back.click()
        assert shown(page, "run-H1") == wanted[-2]


def test_replay_by_keyboard(browser: "Browser", mixer: Review, file: Path) -> None:
    wanted = expected(mixer, "H1")
    with Watched(browser, file) as watched:
        page = watched.page
        page.locator('[data-run="run-H1"]').focus()
        for key, frame in (
            ("ArrowRight", wanted[1]),
            ("ArrowRight", wanted[2]),
            ("ArrowLeft", wanted[1]),
            ("End", wanted[-1]),
            ("ArrowRight", wanted[-1]),
            ("Home", wanted[0]),
            ("ArrowLeft", wanted[0]),
        ):
            page.keyboard.press(key)
            assert shown(page, "run-H1") == frame
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.textContent") == "Start"


def test_runs_that_reach_what_is_required_and_those_with_faults_have_a_replay(browser: "Browser", file: Path) -> None:
    with Watched(browser, file) as watched:
        page = watched.page
        for anchor in ("run-R1", "fault-run-1"):
            page.locator(f"details#{anchor} > summary").click()
            page.locator(f'[data-run="{anchor}"]').get_by_role("button", name="End", exact=True).click()
            assert page.locator(f'[data-run="{anchor}"] .said').is_visible()


# --- tables and links ---
def column(page: "Page", table: str, place: int) -> list[str]:
    return page.locator(f"#{table} tbody tr:visible > *:nth-child({place})").all_text_contents()


def test_tables_are_sorted(browser: "Browser", file: Path) -> None:
    with Watched(browser, file) as watched:
        page = watched.page
        head = page.locator("#purpose-table th", has_text="Line")
        button = head.get_by_role("button")
        before = column(page, "purpose-table", 4)
        button.click()
        assert head.get_attribute("aria-sort") == "ascending"
        assert [int(one) for one in column(page, "purpose-table", 4)] == sorted(int(one) for one in before)
        page.keyboard.press("Enter")
        assert head.get_attribute("aria-sort") == "descending"
        assert [int(one) for one in column(page, "purpose-table", 4)] == sorted((int(one) for one in before), reverse=True)
        page.locator("#purpose-table th", has_text="Command").get_by_role("button").click()
        assert head.get_attribute("aria-sort") is None
        commands = column(page, "purpose-table", 1)
        assert commands == sorted(commands)


def test_tables_are_filtered(browser: "Browser", file: Path) -> None:
    with Watched(browser, file) as watched:
        page = watched.page
        field = page.locator("#procedure-1-matters-filter")
        every = column(page, "procedure-1-matters", 1)
        field.fill("instead")
        left = column(page, "procedure-1-matters", 1)
        rows = page.locator("#procedure-1-matters tbody tr:visible").all_text_contents()
        assert 0 < len(left) < len(every)
        assert all("instead" in row.lower() for row in rows)
        said = page.locator(".filter", has=field).get_by_role("status").text_content()
        assert said == f"{len(left)} of {len(every)} rows shown"
        page.emulate_media(media="print")
        assert len(column(page, "procedure-1-matters", 1)) == len(every)


def test_a_link_opens_what_is_folded(browser: "Browser", file: Path) -> None:
    with Watched(browser, file) as watched:
        page = watched.page
        page.goto(f"{file.as_uri()}#fault-run-1")
        page.wait_for_function("document.getElementById('fault-run-1').open")
        page.locator("#fault-table-1 a").last.click()
        assert page.evaluate("document.querySelector(location.hash).open")
        watched.asked = [one.partition("#")[0] for one in watched.asked]


# --- paper, narrow screens, no script ---
def printed(file: Path, browser: "Browser") -> Path:
    with Watched(browser, file) as watched:
        path = file.with_suffix(".pdf")
        watched.page.pdf(path=str(path), prefer_css_page_size=True)
    return path


def text_of_pages(pdf: Path, *pages: str) -> str:
    done = subprocess.run(["pdftotext", *pages, str(pdf), "-"], capture_output=True, text=True, check=True)
    return " ".join(done.stdout.split())


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="there is no pdftotext here: the printed page is not read")
def test_the_first_printed_page_answers(browser: "Browser", mixer: Review, file: Path) -> None:
    pdf = printed(file, browser)
    first = text_of_pages(pdf, "-f", "1", "-l", "1")
    assert mixer.model.name in first
    assert mixer.sha256 in first
    assert "What was checked" in first
    assert all(one in first for one in mixer.verification.assumptions[:5])
    violated = [one for one in mixer.verification.cases[0].results if one.verdict is Verdict.VIOLATED]
    assert violated
    for result in violated:
        assert result.text in first
        assert why(result, mixer.words) in first
    whole = text_of_pages(pdf)
    pages = int(whole.rpartition("page ")[2].split()[2])
    assert 5 <= pages <= 40
    assert "Signatures" in whole
    assert "Show only rows" not in whole
    assert "Forward" not in whole


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="there is no pdftotext here: the printed page is not read")
def test_headings_are_printed_again_on_later_pages(browser: "Browser", mixer: Review, tmp_path: Path) -> None:
    """Also those that are buttons on screen: browsers leave these out where they repeat a heading."""
    sources = tuple(Source(about=f"item no. {n}", source="assumed", line=n) for n in range(150))
    path = tmp_path / "long.html"
    path.write_text(page_of(replace(mixer, verification=replace(mixer.verification, sources=sources))), encoding="utf-8")
    pdf = printed(path, browser)
    pages = [text_of_pages(pdf, "-f", str(n), "-l", str(n)) for n in range(1, 8)]
    listing = [page for page in pages if "item no. " in page]
    assert len(listing) > 2
    assert all({"About", "Source", "Line"} <= set(page.split()) for page in listing)


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="there is no pdftotext here: the printed page is not read")
@pytest.mark.parametrize("many", [16, 60])
def test_the_cover_stays_one_page_however_much_is_violated(
    browser: "Browser", hostile: tuple[Review, Path], tmp_path: Path, many: int
) -> None:
    review = hostile[0]
    (case,) = review.verification.cases
    worst = max((one for one in case.results if one.kind == "hazard"), key=lambda one: len(why(one, review.words)))
    results = tuple(replace(worst, id=f"H{n}", text="wordy text " * 27) for n in range(1, many + 1))
    cases = (replace(case, results=results),)
    path = tmp_path / "many.html"
    path.write_text(page_of(replace(review, verification=replace(review.verification, cases=cases))), encoding="utf-8")
    first = text_of_pages(printed(path, browser), "-f", "1", "-l", "1")
    assert all(f"H{n}" in first for n in range(1, many + 1))
    assert "With a single fault (of 1)" in first


def test_it_is_read_on_a_narrow_screen(browser: "Browser", file: Path, hostile: tuple[Review, Path]) -> None:
    for path in (file, hostile[1]):
        with Watched(browser, path, viewport={"width": 320, "height": 640}) as watched:
            page = watched.page
            page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
            assert page.evaluate("document.documentElement.scrollWidth") <= 320


def test_without_script_everything_is_there_to_read(browser: "Browser", mixer: Review, file: Path) -> None:
    with Watched(browser, file, java_script_enabled=False) as watched:
        page = watched.page
        text = page.locator("body").text_content() or ""
        assert all(one.text in text for one in mixer.verification.cases[0].results)
        assert page.locator("button").count() == 0
        assert page.locator("input").count() == 0
        summary = page.locator("details#fault-run-1 > summary")
        summary.click()
        assert page.locator("#fault-run-1-steps").is_visible()


# --- everybody can use it, nobody can break it ---
@pytest.mark.parametrize(("scheme", "rules"), [("light", {}), ("dark", {"runOnly": ["color-contrast"]})])
def test_nothing_stands_in_the_way_of_anybody(browser: "Browser", file: Path, scheme: str, rules: dict[str, Any]) -> None:
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe is not installed: accessibility is not checked"
    )
    with Watched(browser, file, color_scheme=scheme) as watched:
        watched.page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        found = axe.Axe().run(watched.page, options={"resultTypes": ["violations"], **rules}).response["violations"]
        grave = {one["id"]: one["nodes"][0]["html"][:200] for one in found if one["impact"] in {"serious", "critical"}}
        assert grave == {}


def test_hostile_names_are_shown_and_run_nothing(browser: "Browser", hostile: tuple[Review, Path]) -> None:
    review, path = hostile
    with Watched(browser, path) as watched:
        page = watched.page
        assert page.title() == f"Review: {review.model.name}"
        assert page.evaluate("document.images.length") == 0
        assert page.evaluate("document.scripts.length") == 2
        text = page.locator("body").text_content() or ""
        for result in review.verification.cases[0].results:
            assert result.text in text
        for anchor in json.loads(page.locator("#replay-data").text_content() or "")["runs"]:
            box = page.locator(f'[data-run="{anchor}"]')
            page.evaluate(
                "([id]) => { const one = document.getElementById(id); if ('open' in one) one.open = true; }", [anchor]
            )
            box.get_by_role("button", name="End", exact=True).click()
        assert page.locator(".said", has_text="<script>alert(1)</script>").count() > 0
