"""A stopped campaign is taken up again: nothing is asked twice, and a file of something else, or a damaged one, is refused."""

import json
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from seqcheck.analyse.faults.crews import Here
from seqcheck.analyse.faults.keeping import Kept, NotOursError
from seqcheck.analyse.faults.together import Whole
from seqcheck.search.engine import Limits
from tests.analyse.faults.press import OWN, SOME_DERIVED
from tests.analyse.faults.studying import HEADING, campaign_of, desk_of, kept_in, rows_of, sets_of
from tests.analyse.faults.test_crews import T, questions_in
from tests.effort import examples
from tests.outside.reading import machine_of

OWN_MACHINE, DERIVED_MACHINE = machine_of(OWN), machine_of(SOME_DERIVED)


class Counting(Here):
    """Notes what it is asked."""

    size = 2

    def __init__(self) -> None:
        self.asked: list[tuple[str, ...]] = []
        self.wholes = 0

    def submit(self, work: Callable[..., T], *about: object) -> "Future[T]":
        self.asked += [question.study for question in questions_in(about)]
        self.wholes += isinstance(about[0], Whole)
        return super().submit(work, *about)


def begun(path: Path, answers: int) -> list[tuple[str, ...]]:
    """Begin a campaign of pairs and leave it after so many things found; return what was asked."""
    crew = Counting()
    kept = kept_in(path)
    campaign = campaign_of(DERIVED_MACHINE, 2, desk_of(lambda: crew, kept=kept))
    with campaign.desk:
        for number, _ in enumerate(campaign.run(), start=1):
            if number == answers:
                break
    kept.close()
    return crew.asked


def test_a_campaign_that_was_left_goes_on_where_it_was(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    first = begun(path, 9)
    crew = Counting()
    kept = kept_in(path)
    rows = rows_of(DERIVED_MACHINE, 2, desk_of(lambda: crew, kept=kept))
    kept.close()
    assert sets_of(rows) == sets_of(rows_of(DERIVED_MACHINE, 2))
    assert len(set(first) & set(crew.asked)) <= 1, "only what was being answered is asked again"
    again = Counting()
    kept = kept_in(path)
    assert sets_of(rows_of(DERIVED_MACHINE, 2, desk_of(lambda: again, kept=kept))) == sets_of(rows)
    kept.close()
    assert again.asked == []


def test_a_campaign_goes_on_to_more_faults_at_a_time(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    for up_to in (0, 1, 2):
        crew = Counting()
        kept = kept_in(path)
        rows = rows_of(OWN_MACHINE, up_to, desk_of(lambda crew=crew: crew, kept=kept))  # type: ignore[misc]
        kept.close()
        assert {len(study) for study in crew.asked} <= {up_to}
        assert sets_of(rows) == sets_of(rows_of(OWN_MACHINE, up_to))


def test_what_one_search_over_all_sets_found_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    expected = sets_of(rows_of(DERIVED_MACHINE, 2))
    for asked in (True, False):
        crew = Counting()
        kept = kept_in(path)
        campaign = campaign_of(DERIVED_MACHINE, 2, desk_of(lambda crew=crew: crew, kept=kept))  # type: ignore[misc]
        campaign.desk.wholes = campaign.wholes()
        with campaign.desk:
            list(campaign.run())
        kept.close()
        assert sets_of(campaign.collector.rows()) == expected
        assert crew.wholes == (3 if asked else 0)
    lines = path.read_bytes().splitlines()
    place = next(n for n, line in enumerate(lines) if b'"minimal":{"found":{"H1' in line)
    lines[place] = changed(lines[place], lambda data: data["minimal"]["found"]["H1"][0]["trace"]["states"].pop(1))
    path.write_bytes(b"\n".join(lines) + b"\n")
    kept = kept_in(path)
    campaign = campaign_of(DERIVED_MACHINE, 2, desk_of(kept=kept))
    campaign.desk.wholes = campaign.wholes()
    with campaign.desk, pytest.raises(NotOursError, match="the answer about all sets of faults is damaged"):
        list(campaign.run())
    kept.close()


def test_a_last_line_that_was_cut_off_is_left_out(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    begun(path, 9)
    whole = path.read_bytes()
    path.write_bytes(whole[:-20])
    kept = kept_in(path)
    assert len(kept.answers) == whole.count(b"\n") - 2
    kept.close()
    assert path.read_bytes() == whole[: whole[:-1].rfind(b"\n") + 1]


def test_a_search_that_came_to_a_limit_is_made_again(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    kept = kept_in(path)
    rows_of(OWN_MACHINE, 0, desk_of(kept=kept, engine="plain", limits=Limits(states=5)))
    kept.close()
    kept = kept_in(path)
    kept.close()
    assert kept.answers == {}


@pytest.mark.parametrize(
    ("other", "why"),
    [
        (replace(HEADING, sequence_sha256="1"), "it is about another file"),
        (replace(HEADING, version="9"), "version 0 wrote it, and this is 9"),
        (replace(HEADING, search="plain"), "it was searched with auto, not with plain"),
        (replace(HEADING, form="other/2"), None),
    ],
)
def test_a_file_about_something_else_is_left_as_it_is(tmp_path: Path, other: object, why: str | None) -> None:
    path = tmp_path / "kept"
    kept_in(path, other if why is None else HEADING).close()  # type: ignore[arg-type]
    before = path.read_bytes()
    with pytest.raises(NotOursError, match=why or "its form is other/2"):
        kept_in(path, HEADING if why is None else other)  # type: ignore[arg-type]
    assert path.read_bytes() == before


@pytest.mark.parametrize("content", [b"machine: Press\n", b"{}\n", b"[1]\n", b"no line end", b"\xff\n"])
def test_a_file_that_is_none_is_left_as_it_is(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "kept"
    path.write_bytes(content)
    with pytest.raises(NotOursError):
        kept_in(path)
    assert path.read_bytes() == content


def changed(line: bytes, change: Callable[[dict], object]) -> bytes:  # type: ignore[type-arg]
    data = json.loads(line)
    change(data)
    return json.dumps(data).encode()


@pytest.mark.parametrize(
    "change",
    [
        lambda data: data["answer"]["search"]["found"]["H1"]["states"].pop(1),
        lambda data: data["answer"]["search"]["found"]["H1"]["states"].reverse(),
        lambda data: data["answer"]["search"]["found"]["H1"].update(raw_start=[1]),
        lambda data: data["answer"]["search"]["found"]["H1"].update(raw_start=[10**9] * 30),
        lambda data: data["answer"]["search"]["found"]["H1"].update(attempts=True, last=10**6),
        lambda data: data["answer"]["search"]["found"].update(H2=data["answer"]["search"]["found"]["H1"]),
        lambda data: data["answer"]["search"]["found"].update(R5=data["answer"]["search"]["found"]["H1"]),
        lambda data: data["answer"]["observed"].clear(),
        lambda data: data["answer"].update(study=["no such fault"]),
    ],
)
def test_a_damaged_answer_is_refused_or_asked_again(tmp_path: Path, change: Callable[[dict], object]) -> None:  # type: ignore[type-arg]
    path = tmp_path / "kept"
    kept = kept_in(path)
    expected = sets_of(rows_of(OWN_MACHINE, 1, desk_of(kept=kept)))
    kept.close()
    heading, *lines = path.read_bytes().splitlines()
    place = next(n for n, line in enumerate(lines) if b'"H1":{"raw' in line)
    lines[place] = changed(lines[place], change)
    path.write_bytes(b"\n".join([heading, *lines]) + b"\n")
    kept = kept_in(path)
    try:
        came = sets_of(rows_of(OWN_MACHINE, 1, desk_of(kept=kept)))
    except NotOursError as error:
        assert "is damaged" in str(error)  # noqa: PT017
    else:
        assert came == expected
    finally:
        kept.close()


@settings(max_examples=examples(40), deadline=None, suppress_health_check=list(HealthCheck))
@given(place=st.integers(0, 4000), byte=st.integers(0, 255))
def test_any_byte_may_be_wrong(tmp_path_factory: pytest.TempPathFactory, place: int, byte: int) -> None:
    path = tmp_path_factory.getbasetemp() / "kept"
    if not (whole := tmp_path_factory.getbasetemp() / "whole").exists():
        kept = kept_in(whole)
        rows_of(OWN_MACHINE, 1, desk_of(kept=kept))
        kept.close()
    content = bytearray(whole.read_bytes())
    content[place % len(content)] = byte
    path.write_bytes(bytes(content))
    kept = Kept(path, HEADING)
    try:
        rows_of(OWN_MACHINE, 1, desk_of(kept=kept.open()))
    except NotOursError:
        return
    finally:
        kept.close()


def test_without_a_file_nothing_is_written() -> None:
    kept = Kept(None, HEADING).open()
    rows_of(OWN_MACHINE, 0, desk_of(kept=kept))
    kept.close()
    assert set(kept.answers) == {()}
