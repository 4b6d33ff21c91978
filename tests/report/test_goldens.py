"""Every golden report is what the tool says today, every kind of step and verdict has one, and all can be read aloud."""

import json
import re

import pytest

from seqcheck.analyse.judge import BUILT_IN, KIND_NAMES
from seqcheck.analyse.verdict import Verdict
from seqcheck.model.run import StepKind
from seqcheck.report.json_form import Json
from seqcheck.report.lines import CAUTION, WIDTH
from tests.cli.calling import listed as rows
from tests.report.goldens import CASES, NAMES, options, printed_report, verify, written

FINDINGS = {
    "never_true",
    "never_accepted",
    "never_happens",
    "never_decisive",
    "never_entered",
    "dead_end",
    "time_stuck",
    "in_passing",
}
QUOTED = re.compile(r"“[^”]*”")


def answers() -> list[dict[str, Json]]:
    """Return every case of every file, as data."""
    told = [json.loads(verify(name, "--json", "-").stdout) for name in NAMES if name != "refused"]
    return [case for data in told for case in data.get("cases", [data])]


@pytest.mark.parametrize("name", NAMES)
def test_the_report_is_the_golden_one(name: str) -> None:
    assert printed_report(name) == written(name, "out")


@pytest.mark.parametrize("name", NAMES)
def test_a_case_says_what_it_shows(name: str) -> None:
    assert "# Shows: " in written(name, "yaml")


def test_no_golden_report_is_left_over() -> None:
    assert {path.stem for path in CASES.glob("*.out")} == set(NAMES)


def test_every_kind_of_step_verdict_and_finding_has_a_golden_report() -> None:
    cases = answers()
    results = [row for case in cases for row in rows(case, "results")]
    steps = {step["by"]["kind"] for result in results for step in result["run"]}  # type: ignore[index,union-attr,call-overload]
    assert steps == {kind.value for kind in StepKind}
    violated = {result["kind"] for result in results if result["verdict"] == "violated"}
    assert violated == {*KIND_NAMES.values(), *BUILT_IN, "response", "precedence", "procedure"}
    assert {result["verdict"] for result in results} == {verdict.value for verdict in Verdict}
    assert {finding["kind"] for case in cases for finding in rows(case, "findings")} == FINDINGS


@pytest.mark.parametrize("name", NAMES)
def test_every_verification_that_people_read_ends_with_the_caution(name: str) -> None:
    result = verify(name)
    assert (" ".join(result.stdout.split()).endswith(CAUTION)) is (result.exit_code != 2)


@pytest.mark.parametrize("name", NAMES)
def test_the_account_of_a_run_fits_a_terminal(name: str) -> None:
    told = [line for line in written(name, "out").splitlines() if re.match(r"( {4}\d| {6}[ \d] ?\.?at|  At the)", line)]
    assert [line for line in told if len(line) > WIDTH] == []


@pytest.mark.parametrize("name", NAMES)
def test_what_is_read_aloud_has_no_underscores(name: str) -> None:
    """The sentences of a run are read aloud; what is quoted stands as the file writes it."""
    told = [line for line in written(name, "out").splitlines() if re.match(r" {4,}(\d|at \d| {8})|  At the", line)]
    assert [line for line in told if "_" in QUOTED.sub("", line)] == []


def test_the_options_of_a_case_are_read() -> None:
    assert options("reachable_fault") == ["--fault", "lamp burns out"]
    assert options("command") == []
