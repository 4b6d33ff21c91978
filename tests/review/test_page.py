"""The page without a browser: what stands in it, where links lead, that it needs nothing else, and that names stay names."""

import base64
import hashlib
import json
import re
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from msgspec.structs import replace

from seqcheck.analyse.verdict import Verdict
from seqcheck.report.lines import CAUTION
from seqcheck.review.answering import answer, why
from seqcheck.review.page import page_of
from seqcheck.review.record import Review, Section, Unanswered
from seqcheck.search.engine import Limits, Stop
from tests.outside.machines import machines
from tests.review.mixer import MIXER, SOUND
from tests.review.pages import HOSTILE, bare_review, review_of

VOID = {"meta", "br", "input", "col", "hr"}
SECTIONS = [
    "cover",
    "assumptions",
    "sources",
    "hazards",
    "counterexamples",
    "faults",
    "requirements",
    "procedures",
    "audit",
    "matrix",
    "drawings",
    "findings",
    "tests",
    "signatures",
    "cautions",
]


class Page(HTMLParser):
    """Reads a page strictly: every element must be closed in order."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.starts: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[tuple[str, str]] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "wbr":
            return
        self.starts.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.starts.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.texts.append((self.open[-1] if self.open else "", data))

    def all(self, name: str) -> list[dict[str, str | None]]:
        return [attributes for tag, attributes in self.starts if tag == name]

    def inside(self, name: str) -> list[str]:
        return [text for tag, text in self.texts if tag == name]

    @property
    def text(self) -> str:
        return " ".join("".join(text for tag, text in self.texts if tag not in {"style", "script"}).split())


@pytest.fixture(scope="module")
def mixer(tmp_path_factory: pytest.TempPathFactory) -> Review:
    return review_of(MIXER, tmp_path_factory.mktemp("mixer"))


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Review:
    return review_of(HOSTILE, tmp_path_factory.mktemp("hostile"))


def test_the_sections_are_there_in_order(mixer: Review) -> None:
    page = Page(page_of(mixer))
    assert [attributes["id"] for attributes in page.all("section")] == SECTIONS
    assert page.all("html") == [{"lang": "en"}]
    assert len(page.all("main")) == len(page.all("nav")) == len(page.all("h1")) == 1
    levels = [int(tag[1]) for tag, _ in page.starts if re.fullmatch("h[1-6]", tag)]
    assert all(later <= earlier + 1 for earlier, later in pairwise(levels))
    assert CAUTION in page.text


@pytest.mark.parametrize("which", ["mixer", "hostile"])
def test_every_link_leads_somewhere_within_the_page(which: str, request: pytest.FixtureRequest) -> None:
    page = Page(page_of(request.getfixturevalue(which)))
    ids = [attributes["id"] for _, attributes in page.starts if "id" in attributes]
    assert len(set(ids)) == len(ids)
    for _, attributes in page.starts:
        for name in ("href", "xlink:href"):
            target = attributes.get(name)
            assert target is None or (target.startswith("#") and target[1:] in ids), target
        for name in ("aria-labelledby", "aria-describedby"):
            assert set((attributes.get(name) or "").split()) <= set(ids)


@pytest.mark.parametrize("which", ["mixer", "hostile"])
def test_it_needs_nothing_else(which: str, request: pytest.FixtureRequest) -> None:
    text = page_of(request.getfixturevalue(which))
    page = Page(text)
    assert not {tag for tag, _ in page.starts} & {"link", "img", "iframe", "object", "embed", "base", "form", "foreignobject"}
    assert not [
        name for _, attributes in page.starts for name in attributes if name in {"src", "style"} or name.startswith("on")
    ]
    (policy,) = [one["content"] or "" for one in page.all("meta") if "http-equiv" in one]
    assert policy.startswith("default-src 'none';")
    (style,), scripts = page.inside("style"), page.inside("script")
    assert [attributes.get("type") for attributes in page.all("script")] == ["application/json", None]
    for inside in (style, scripts[-1]):
        digest = base64.b64encode(hashlib.sha256(inside.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in policy
    assert "url(" not in style
    assert "@import" not in style


def test_the_same_review_makes_the_same_page(mixer: Review) -> None:
    assert page_of(mixer) == page_of(mixer)


def test_the_data_of_the_replay_is_whole(mixer: Review) -> None:
    page = Page(page_of(mixer))
    data = json.loads(page.inside("script")[0])
    places = [attributes["data-run"] for _, attributes in page.starts if "data-run" in attributes]
    assert sorted(data["runs"]) == sorted(place or "" for place in places)
    assert all(len(run["start"]) == len(data["items"]) for run in data["runs"].values())
    told = {one.id for case in mixer.verification.cases for one in case.results if one.run is not None}
    assert told <= {run["id"] for run in data["runs"].values()}


def test_every_verdict_stands_in_its_table(mixer: Review) -> None:
    page = Page(page_of(mixer))
    ids = {attributes.get("id") for attributes in page.all("tr")}
    assert {"hazard-H1", "hazard-H2", "requirement-R1", "requirement-R2"} <= ids
    articles = {attributes.get("id") for attributes in page.all("article")}
    violated = {r.id for case in mixer.verification.cases for r in case.results if r.verdict is Verdict.VIOLATED}
    assert violated
    assert articles >= {f"run-{id_}" for id_ in violated if ":" not in id_}


def test_the_cover_answers(mixer: Review, tmp_path: Path) -> None:
    (case,) = mixer.verification.cases
    assert answer(mixer).startswith("VIOLATED: without any fault, 1 of 2 hazards can be met")
    sentences = [why(result, mixer.words) for result in case.results if result.verdict is Verdict.VIOLATED]
    cover = Page(page_of(mixer)).text.partition("1 Assumptions and limits")[0]
    assert all(one in cover for one in [*sentences, mixer.sha256, mixer.tool_version, mixer.date, f"{case.states:,} states"])
    assert all(one in cover for one in case.results[0].text.split())
    sound = review_of(SOUND, tmp_path, thorough=False)
    assert answer(sound) == (
        "Without faults, everything holds that was asked: 2 hazards, 2 requirements, 1 procedure and 2 built-in checks."
    )


def test_what_is_undecided_is_said(mixer: Review) -> None:
    (case,) = mixer.verification.cases
    open_ = tuple(replace(one, verdict=Verdict.UNDECIDED, run=None, reason="a limit was reached") for one in case.results)
    unanswered = Unanswered(section=Section.FAULTS, what="faults", why="time was up", asked=True, command="seqcheck faults")
    cases = (replace(case, results=open_, findings=(), stopped=Stop.SECONDS),)
    review = replace(
        mixer,
        verification=replace(mixer.verification, cases=cases),
        faults=None,
        procedures=None,
        audit=None,
        map=None,
        sheets=None,
        pictures=(),
        unanswered=(unanswered,),
    )
    text = Page(page_of(review)).text
    assert answer(review).startswith("UNDECIDED: nothing was found violated")
    assert "Not answered: faults: time was up." in text
    assert "Kept open: faults (faults); time was up. The command seqcheck faults tells it." in text
    cover = text.partition("1 Assumptions")[0]
    assert "holds" not in cover.partition("What failed, and why")[2]
    assert "There are no findings" not in text
    assert "Nothing is violated" not in text
    assert "No findings are known. The search ended early: " in text
    assert "Where something is undecided, there may be one." in text


def test_what_was_not_looked_at_is_not_called_good(tmp_path: Path) -> None:
    text = Page(page_of(review_of(MIXER, tmp_path, Limits(seconds=0), thorough=False))).text
    assert "Looked at, of" in text
    for said in ("Neither reached nor broken", "Nothing is violated", "There are no findings", "holds Nothing"):
        assert said not in text
    assert "Of them nothing is known: the search ended before it could tell." in text


def test_hostile_names_stay_text(hostile: Review) -> None:
    page = Page(page_of(hostile))
    assert len(page.all("script")) == 2
    assert page.inside("title")[0] == f"Review: {hostile.model.name}"
    for result in hostile.verification.cases[0].results:
        assert " ".join(result.text.split()) in page.text
    for step in hostile.model.steps:
        assert step.name in page.text
    bidi = page.inside("bdi")
    assert any("\u05e9\u05dc\u05d5\u05dd 5 \u05e2\u05d5\u05dc\u05dd" in text for text in bidi)


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(machines())
def test_any_machine_has_a_page(text: str) -> None:
    """Runs whose last step fails, starts that never settle, sensors without a value: each verdict is told all the same."""
    review = bare_review(text)
    page = Page(page_of(review))
    data = json.loads(page.inside("script")[0])
    for result in (one for case in review.verification.cases for one in case.results):
        assert result.id in page.text
        assert result.run is None or result.id in {run["id"] for run in data["runs"].values()}
    for run in data["runs"].values():
        assert all(step["told"] for step in run["steps"])
