"""Parts of file names: plain, and none twice whatever the names are."""

from hypothesis import given
from hypothesis import strategies as st

from seqcheck.draw.naming import MOST_LETTERS, slug, slugs


def test_a_name_becomes_lower_case_words_with_hyphens() -> None:
    assert slug("Start the clean-out run!") == "start-the-clean-out-run"
    assert slug("../../etc/passwd") == "etc-passwd"
    assert slug("שלום") == ""


def test_what_comes_twice_is_told_apart() -> None:
    assert slugs(["a b", "A  B", "a-b-2", "", "!", "a.b"]) == ("a-b", "a-b-3", "a-b-2", "unnamed", "unnamed-2", "a-b-4")


@given(st.lists(st.text(max_size=60), max_size=12))
def test_none_comes_twice_and_each_is_plain(texts: list[str]) -> None:
    found = slugs(texts)
    assert len(set(found)) == len(texts)
    assert all(one and set(one) <= set("abcdefghijklmnopqrstuvwxyz0123456789-") for one in found)
    assert all(len(one) <= MOST_LETTERS + 4 for one in found)
