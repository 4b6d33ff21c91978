"""Every file of `cases` gives exactly the diagnostics that it says, where it says; every code has a case."""

import re
from collections.abc import Mapping
from pathlib import Path

import pytest

from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.render import render
from tests.check.examples import CASES, look_at

CASE_FILES = sorted(CASES.glob("*.yaml"))
EXPECTATION = re.compile(r"# expect: (\w+) @ (\d+):(\d+)")
BYTES: Mapping[Code, tuple[bytes, int, int]] = {
    Code.NOT_TEXT: (b"machine: Press\nparts: {\xe4: bool}\n", 2, 9),
    Code.TOO_LARGE: (b"machine: Press\n" + b"#" * 100_001, 2, 1),
    Code.NESTED_TOO_DEEPLY: (b"machine: " + b"[" * 64 + b"]" * 64, 1, 73),
}
ELSEWHERE = {Code.CANNOT_READ}
"""Codes that no content of a file can give; tested with the command line."""


@pytest.mark.parametrize("case", CASE_FILES, ids=[case.stem for case in CASE_FILES])
def test_a_case_gives_what_it_says(case: Path) -> None:
    text = case.read_text(encoding="utf-8")
    expected = [(code, int(line), int(column)) for code, line, column in EXPECTATION.findall(text)]
    found = [(d.code.value, d.span.line, d.span.column) for d in look_at(text)[1]]
    assert found == expected
    assert expected


@pytest.mark.parametrize("code", BYTES, ids=lambda code: code.name)
def test_bytes_give_their_code(code: Code) -> None:
    data, line, column = BYTES[code]
    machine, diagnostics = look_at(data)
    assert machine is None
    assert [(d.code, d.span.line, d.span.column) for d in diagnostics] == [(code, line, column)]


def test_every_code_has_a_case() -> None:
    in_cases = {code for case in CASE_FILES for code, *_ in EXPECTATION.findall(case.read_text(encoding="utf-8"))}
    covered = {code for code in Code if code.value in in_cases} | set(BYTES) | ELSEWHERE
    assert [code for code in Code if code not in covered] == []


@pytest.mark.parametrize("case", CASE_FILES, ids=[case.stem for case in CASE_FILES])
def test_messages_follow_the_house_style(case: Path) -> None:
    text = case.read_text(encoding="utf-8")
    for diagnostic in look_at(text)[1]:
        first = diagnostic.message.lstrip("`")[0]
        assert diagnostic.message[:1] == "`" or not first.isupper() or diagnostic.message.split(" ")[0].isupper()
        assert not diagnostic.message.endswith(".")
        assert diagnostic.help, diagnostic
        shown = render(diagnostic, "press.yaml", text).split("\n")
        assert shown[0].startswith(f"press.yaml:{diagnostic.span.line}:{diagnostic.span.column}: ")
        assert shown[-1] == f"help: {diagnostic.help}"
        assert any(set(line.strip()) == {"^"} for line in shown)
