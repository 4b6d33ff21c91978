"""JUnit XML against the schema in common use (`junit/junit.xsd`), and against what `verify` says."""

import re
from dataclasses import dataclass
from pathlib import Path

import pytest
from lxml import etree

from seqcheck.report.junit import Checked, junit_of
from tests.cli.calling import FAULTY, HOLDS, REFUSED, VIOLATED, call, put

SCHEMA = etree.XMLSchema(etree.parse(str(Path(__file__).parent / "junit" / "junit.xsd")))
PROCEDURE = "procedures: {do it: {steps: [go, back, back]}}\n"
HOSTILE = (
    'machine: "<b>&amp; ]]> \\"x\\" .dots. \u202e"\nparts: {p: {states: [a, b], text: "<i>p</i> & \\"q\\""}}\n'
    'people: {"go </failure> ]]> &": {if: p = a, then: {p: b}}}\n'
    'faults: {"breaks <x> . y": {then: {p: b}}}\n'
    'hazards: {"H.<1>": {text: "]]> <script>&", must not be: p = b}}\n'
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One test case as a server reads it."""

    group: str
    name: str
    problem: str
    kind: str
    message: str
    text: str


def written(folder: Path, *options: str, **texts: str) -> "etree._Element":
    """Verify files and return the root of a document that meets the schema."""
    path = folder / "out.xml"
    called = call("verify", *put(folder, **texts), "--junit", str(path), *options)
    assert called.exit_code in {0, 1, 2, 3}, called.stderr
    root = etree.fromstring(path.read_bytes())
    SCHEMA.assertValid(root)
    for suite in root:
        cases = suite.findall("testcase")
        assert int(suite.get("tests", "")) == len(cases)
        assert int(suite.get("failures", "")) == len(suite.findall("testcase/failure"))
        assert int(suite.get("errors", "")) == len(suite.findall("testcase/error"))
        named = [(case.get("classname"), case.get("name")) for case in cases]
        assert len(set(named)) == len(named)
    assert [suite.get("id") for suite in root] == [str(number) for number in range(len(root))]
    return root


def cases(suite: "etree._Element") -> list[Case]:
    return [read(case) for case in suite.findall("testcase")]


def read(case: "etree._Element") -> Case:
    problem = next(iter(case), None)
    return Case(
        group=case.get("classname", ""),
        name=case.get("name", ""),
        problem="" if problem is None else str(problem.tag),
        kind="" if problem is None else problem.get("type", ""),
        message="" if problem is None else problem.get("message", ""),
        text="" if problem is None else problem.text or "",
    )


def test_a_violation_is_a_failure_with_its_run_in_words(tmp_path: Path) -> None:
    (suite,) = written(tmp_path, bad=VIOLATED)
    violated, *others = cases(suite)
    assert (violated.group, violated.name, violated.problem, violated.kind) == (
        "bad.hazards",
        "H1: It is b",
        "failure",
        "hazard",
    )
    assert violated.message == "violated: this must never be, and it can be"
    assert "1. at 0 s       A person acts: go. P is now b." in violated.text
    assert violated.text.rstrip().endswith("So H1 is met: p is b.")
    assert [(one.group, one.problem) for one in others] == [("bad.checks", ""), ("bad.checks", "")]


def test_what_holds_passes(tmp_path: Path) -> None:
    (suite,) = written(tmp_path, fine=HOLDS)
    assert [one.problem for one in cases(suite)] == ["", ""]
    told = {one.get("name"): one.get("value") for one in suite.iterfind("properties/property")}
    assert told["states"] == "2"
    assert told["coverage"] == "every reachable state was visited"
    assert told["engine"]
    assert re.fullmatch("[0-9a-f]{64}", told["sha256"] or "")
    assert "does not replace a risk assessment" in (suite.findtext("system-out") or "")


def test_what_is_undecided_is_an_error_never_a_pass(tmp_path: Path) -> None:
    (suite,) = written(tmp_path, "--max-states", "1", bad=VIOLATED.replace("p = b}", "p = b AND p = a}"))
    assert {one.problem for one in cases(suite)} == {"error"}
    assert all(one.kind == "undecided" and one.message.startswith("undecided: ") for one in cases(suite))


def test_a_set_of_faults_is_a_suite_of_its_own(tmp_path: Path) -> None:
    root = written(tmp_path, "--faults", "1", faulty=FAULTY)
    assert [suite.get("name") for suite in root] == [
        "Faulty, without faults",
        "Faulty, with the fault breaks",
        "Faulty, with the fault wears",
    ]
    assert [cases(suite)[0].problem for suite in root] == ["", "failure", ""]
    groups = [case.group for suite in root for case in cases(suite)]
    assert "faulty with the fault breaks.hazards" in groups


def test_several_files_and_a_refused_one(tmp_path: Path) -> None:
    root = written(tmp_path, fine=HOLDS, no=REFUSED, bad=VIOLATED)
    assert [suite.get("package") for suite in root] == ["fine", "no", "bad"]
    (refused,) = cases(root[1])
    assert (refused.problem, refused.kind) == ("error", "refused")
    assert "no.yaml:3:" in refused.text


def test_a_procedure_is_a_case(tmp_path: Path) -> None:
    (suite,) = written(tmp_path, fine=HOLDS + PROCEDURE)
    (procedure,) = [one for one in cases(suite) if one.group == "fine.procedures"]
    assert procedure.name.startswith("procedure: do it: ")
    assert (procedure.problem, procedure.kind) == ("failure", "procedure")


def test_hostile_names_are_text(tmp_path: Path) -> None:
    root = written(tmp_path, "--faults", "1", hostile=HOSTILE)
    first, second = root
    assert cases(first)[0].name == "H.<1>: ]]> <script>&"
    assert "A person acts: go </failure> ]]> &." in cases(first)[0].text
    assert [one.group.count(".") for one in cases(second)] == [1] * len(cases(second))
    assert "breaks <x> . y" in [one.get("value") for one in second.iterfind("properties/property")]


def test_characters_that_xml_forbids_are_shown_by_others() -> None:
    text = junit_of(
        (Checked(file="a\x00b\x1b\ud800\ufffe.yaml", sha256="", refused=("\x07 bell\tand\nline",)),),
        began="2026-01-31T12:00:00",
    )
    root = etree.fromstring(text.encode())
    SCHEMA.assertValid(root)
    assert root[0].get("name") == "a\u2400b\u241b\ufffd\ufffd.yaml"
    assert root[0].findtext("testcase/error") == "\u2407 bell\tand\nline"


def test_the_moment_is_that_of_the_environment_where_it_is_set(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    (suite,) = written(tmp_path, fine=HOLDS)
    assert suite.get("timestamp") == "1970-01-02T00:00:00"
    assert suite.get("hostname") == "localhost"


def test_standard_output_holds_the_document_alone(tmp_path: Path) -> None:
    called = call("verify", *put(tmp_path, fine=HOLDS), "--junit", "-")
    SCHEMA.assertValid(etree.fromstring(called.stdout.encode()))
    assert "every reachable state was visited" in called.stderr
