"""The text of a proof: read back as written, any damage refused, any nonsense with a right digest refused in words."""

import hashlib
import random
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seqcheck.proof.diagram import Drawing, contains, listed
from seqcheck.proof.form import Domain, NotAProofError
from seqcheck.proof.packing import Radix, differences, packed, summed, unpacked
from seqcheck.proof.reading import read_proof
from seqcheck.proof.text import DIGEST, text_of, write_proof
from tests.proof.proving import drawn
from tests.proof.test_refusals import press

DOMAINS = (
    Domain(name="a", lowest=-2, highest=3),
    Domain(name="b", lowest=0, highest=0),
    Domain(name="c", lowest=0, highest=1),
    Domain(name="d", lowest=5, highest=7),
)


def sealed(text: str) -> bytes:
    """Put a right digest under a changed text."""
    body = text[: text.rindex(DIGEST)] if DIGEST in text else text
    return f"{body}{DIGEST}{hashlib.sha256(body.encode()).hexdigest()}\n".encode()


def test_a_proof_is_read_as_it_was_written() -> None:
    for proof in (press(), drawn(press())):
        assert read_proof(text_of(proof).encode()) == proof
        assert sealed(text_of(proof)) == text_of(proof).encode()


def test_damage_of_any_byte_is_refused() -> None:
    data = text_of(press()).encode()
    chance = random.Random(0)  # noqa: S311 - damage, no secret
    for place in [*range(0, len(data), 13), *range(len(data) - 90, len(data))]:
        damaged = data[:place] + bytes([(data[place] + chance.randrange(1, 256)) % 256]) + data[place + 1 :]
        with pytest.raises(NotAProofError):
            read_proof(damaged)


def test_missing_and_further_bytes_are_refused() -> None:
    data = text_of(press()).encode()
    for damaged in (b"", data[:-1], data[1:], data + b"\n", data + b"x", data[: len(data) // 2], data.replace(b"\n", b"\r\n")):
        with pytest.raises(NotAProofError):
            read_proof(damaged)


CHANGES = {
    "an unknown version": ("proof 1", "proof 2", "does not begin with"),
    "no tick": ('tick "1"\n', "", "“tick” is missing"),
    "no JSON": ('tick "1"', "tick 1 s", "cannot be read"),
    "JSON far too deep": ('tick "1"', "tick " + "[" * 100_000, "cannot be read"),
    "a number for a name": ('tick "1"', "tick 1", "must be followed by a text"),
    "another number of states": ("states ", "states 1", "not as many states"),
    "no base64": ("\nend\nproved", "\n%%\nend\nproved", "base64"),
    "a block without end": ("\nend\n", "\n", "is missing"),
    "an unknown kind": ('proved ["range"', 'proved ["luck"', "has not the form"),
    "a claim with too much": ('proved ["range",""]', 'proved ["range","",1]', "has not the form"),
    "a claim twice": ('proved ["range",""]\n', 'proved ["range",""]\nproved ["range",""]\n', "claimed twice"),
    "bounds the wrong way round": ('["ram",0,1]', '["ram",1,0]', "has not the form"),
    "a negative wait": ("\nwait ", "\nwait -", "has not the form"),
    "a set of faults twice": ('case ["gate sensor sticks"]', "case []", "stands twice"),
    "layers with a list": ("\nranks [", "\nlayers [", "does not go with"),
    "an unknown line": ("\nunproved", "\nadmired", "“unproved” is missing"),
}


@pytest.mark.parametrize("change", list(CHANGES))
def test_nonsense_with_a_right_digest_is_refused(change: str) -> None:
    old, new, why = CHANGES[change]
    text = text_of(press())
    assert old in text
    with pytest.raises(NotAProofError, match=re.escape(why)):
        read_proof(sealed(text.replace(old, new)))


DRAWN_CHANGES = {
    "a bit that there is not": ("diagram [[0,0]", "diagram [[0,1]", "a bit that there is not"),
    "a bit twice": ("diagram [[0,0],", "diagram [[0,0],[0,0],", "a bit twice"),
    "a node below itself": ("]]\n", "]]\n0 2 1\n", "this is no node"),
    "a node with a word": ("]]\n", "]]\n0 x 1\n", "this is no node"),
    "a node that is not on the way down": ("]]\n", "]]\n0 0 1\n0 2 1\n", "this is no node"),
    "a set that is no node": ("\nset [0,", "\nset [0,9", "this is no node"),
    "a set of no diagram": ("\nset [0,", "\nset [5,", "this is no node"),
    "ranks with a diagram": ("\nlayers [", "\nranks [", "does not go with"),
}


@pytest.mark.parametrize("change", list(DRAWN_CHANGES))
def test_nonsense_in_a_diagram_is_refused(change: str) -> None:
    old, new, why = DRAWN_CHANGES[change]
    text = text_of(drawn(press()))
    assert old in text
    with pytest.raises(NotAProofError, match=re.escape(why)):
        read_proof(sealed(text.replace(old, new, 1)))


@given(st.text(max_size=200))
def test_any_text_with_a_right_digest_is_refused_in_words(text: str) -> None:
    start = 'seqcheck proof 1\nmachine "m"\nsequence "s"\ntick "1"\ncase []\n'
    with pytest.raises(NotAProofError):
        read_proof(sealed(start + text.encode("utf-8", "ignore").decode() + "x\n"))


@given(st.lists(st.integers(0, 2**70)))
def test_numbers_are_unpacked_as_they_were_packed(numbers: list[int]) -> None:
    assert unpacked(packed(numbers)) == numbers
    ascending = sorted(set(numbers))
    assert list(summed(differences(ascending))) == ascending


STATES = st.sets(st.tuples(st.integers(-2, 3), st.just(0), st.integers(0, 1), st.integers(5, 7)))


@given(STATES)
def test_states_are_numbers_and_back(states: set[tuple[int, ...]]) -> None:
    radix = Radix(DOMAINS)
    numbers = [radix.number(state) for state in states]
    assert len(set(numbers)) == len(states)
    assert all(0 <= number < radix.count for number in numbers)
    assert [radix.state(number) for number in numbers] == list(states)


@given(STATES, STATES)
def test_a_drawn_set_has_the_states_that_were_drawn(states: set[tuple[int, ...]], others: set[tuple[int, ...]]) -> None:
    drawing = Drawing(DOMAINS)
    root, other = drawing.draw(states), drawing.draw(others)
    found, table = listed(drawing.table, root, DOMAINS, 100), drawing.table
    assert found is not None
    assert len(found) == len(states)
    assert set(found) == states
    assert all(contains(table, root, state, DOMAINS) == (state in states) for state in {*states, *others})
    assert (root == other) == (states == others)
    assert listed(table, root, DOMAINS, len(states) - 1) is None or not states


def test_everything_is_listed_without_what_is_no_value() -> None:
    drawing = Drawing(DOMAINS)
    assert len(listed(drawing.table, 1, DOMAINS, 100) or ()) == Radix(DOMAINS).count == 36


def test_a_file_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "press.proof"
    write_proof(path, press())
    assert path.read_bytes() == text_of(press()).encode()
    with pytest.raises(OSError, match="directory"):
        write_proof(tmp_path / "none" / "press.proof", press())
    (tmp_path / "taken").mkdir()
    with pytest.raises(OSError, match="directory"):
        write_proof(tmp_path / "taken", press())
    assert sorted(one.name for one in tmp_path.iterdir()) == ["press.proof", "taken"]
