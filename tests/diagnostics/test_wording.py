"""Codes and words of messages."""

import sys
import time

from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.wording import NearNames, listed, quoted


def test_codes_are_unique_and_explained() -> None:
    values = [code.value for code in Code]
    assert len(set(values)) == len(values)
    for code in Code:
        assert code.value[0] in "EW"
        assert code.value[1:].isdigit()
        assert len(code.explanation) > 40
        assert code.explanation.lstrip("`")[0].isupper() or code.explanation.startswith("`")
        assert code.explanation.endswith(".")


def test_quotes_are_one_short_line() -> None:
    assert quoted("a  b\nc") == "`a b c`"
    assert len(quoted("x" * 500)) == 62


def test_lists_are_cut() -> None:
    assert listed(["a", "b"]) == "a, b"
    assert listed(["a", "b"], in_quotes=True) == "`a`, `b`"
    assert listed([str(i) for i in range(20)], most=3) == "0, 1, 2, ... (20 in all)"


def test_near_names() -> None:
    near = NearNames()
    assert near.near("GAET", ["gate", "ram"]) == "gate"
    assert near.near("zzz", ["gate", "ram"]) == ""
    assert near.hint("gaet", ["gate"]) == "did you mean `gate`?"
    assert near.hint("zzz", ["gate", "ram"], "there are") == "there are: gate, ram"
    assert near.hint("zzz", []) == ""


def test_near_names_give_up_in_time() -> None:
    near = NearNames()
    known = [f"a_rather_long_name_number_{i}" for i in range(10_000)]
    began = time.process_time()
    for i in range(1_000):
        near.near(f"a_rather_long_nmae_number_{i}", known)
    near.near("x" * 10_000, known)
    assert time.process_time() - began < (10 if sys.gettrace() else 2)
    assert near.near("a_rather_long_nmae_number_1", known) == ""
