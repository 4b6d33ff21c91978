"""Text becomes HTML by one door: whatever it holds, a reader of HTML gets it back as text, and nothing else."""

import json
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seqcheck.review.markup import REORDERING, el, html, isolated, seen
from seqcheck.review.naming import anchors
from seqcheck.review.shown_runs import script_text


class Reader(HTMLParser):
    """Notes what a page holds: its elements, their attributes, its text."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.text += data


ANY = st.text(st.characters(exclude_categories=()), max_size=60) | st.sampled_from(
    ["<script>alert(1)</script>", "</p><p>", "&lt;", '" onclick="x', "' x='", "<!--", "]]>", "\u202eabc", "\u05d0 1 \u05d1"]
)


@given(ANY)
def test_text_stays_text(text: str) -> None:
    read = Reader(html(el("p", {"title": text}, text)))
    assert read.text == seen(text)
    assert [name for name in read.elements if name not in {"bdi", "wbr"}] == ["p"]
    assert dict(read.attributes) == {"title": seen(text)}


@given(ANY)
def test_nothing_unseen_is_left(text: str) -> None:
    assert not {ord(character) for character in seen(text)} & {*REORDERING, *range(9), *range(14, 32), 0x7F}
    assert len(seen(text)) == len(text)


def test_right_to_left_text_is_set_apart() -> None:
    hebrew = "\u05e9\u05dc\u05d5\u05dd 5 \u05e2\u05d5\u05dc\u05dd"
    assert html(el("p", None, f"a {hebrew}, 7 b")) == f"<p>a <bdi>{hebrew}</bdi>, 7 b</p>"
    assert isolated(f"a {hebrew}, 7 b") == f"a \u2068{hebrew}\u2069, 7 b"
    assert html(el("title", None, hebrew)) == f"<title>{hebrew}</title>"


def test_long_words_may_break() -> None:
    assert html("drum_gap_within_11_mm, short_one") == "drum_<wbr>gap_<wbr>within_<wbr>11_<wbr>mm, short_one"
    assert html("x" * 40) == f"{'x' * 16}<wbr>{'x' * 16}<wbr>{'x' * 8}"


@given(st.dictionaries(ANY, ANY))
def test_data_cannot_leave_its_script(data: dict[str, str]) -> None:
    written = script_text(data)
    assert not set("<>&\u2028\u2029") & set(written)
    assert json.loads(written) == data


def test_attributes_that_are_truths() -> None:
    assert html(el("details", {"open": True, "hidden": False, "tabindex": 0})) == '<details open tabindex="0"></details>'
    assert html(el("input", {"type": "search"})) == '<input type="search">'


@given(st.lists(ANY | st.sampled_from(["H1", "H1--2", "number-1", "x"]), max_size=8))
def test_every_place_has_a_name_of_its_own(names: list[str]) -> None:
    found = anchors("run", names)
    assert len(set(found)) == len(names)
    assert all(one.isascii() and " " not in one and one.startswith("run-") for one in found)


@pytest.mark.parametrize(
    ("names", "expected"), [(["H1", "R 2"], ("run-H1", "run-number-2")), (["a", "a"], ("run-a", "run-a--2"))]
)
def test_places_are_named_after_ids(names: list[str], expected: tuple[str, ...]) -> None:
    assert anchors("run", names) == expected
