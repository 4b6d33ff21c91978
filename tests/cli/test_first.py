"""`--first`: the search ends at the first violation, the report says so, and nothing that was not seen is claimed."""

from pathlib import Path

import pytest

from tests.cli.calling import HOLDS, call, counters, listed, put, told

ENGINES = ("plain", "symbolic", "packed", "auto")
SAID = "the search ended early at the first violation, as was asked: every run of up to 1 step was searched"


@pytest.mark.parametrize("name", ENGINES)
def test_the_first_violation_is_shown_and_the_rest_undecided(name: str, tmp_path: Path) -> None:
    (file,) = put(tmp_path, many=counters(4, 9))
    answer = call("verify", file, "--engine", name, "--first")
    assert (answer.exit_code, answer.stderr) == (1, "")
    assert SAID in answer.stdout
    data = told(call("verify", file, "--engine", name, "--first", "--json", "-").stdout)
    assert (data["complete"], data["stopped_by"], data["complete_steps"]) == (False, "first", 1)
    near, far, *checks = listed(data, "results")
    assert (near["verdict"], near["steps"]) == ("violated", 1)
    assert (far["verdict"], far["reason"]) == ("undecided", "the search ended at the first violation, as was asked")
    assert [check["verdict"] for check in checks] == ["undecided", "undecided"]


@pytest.mark.parametrize("name", ENGINES)
def test_where_nothing_is_violated_the_search_goes_on_to_its_end(name: str, tmp_path: Path) -> None:
    (file,) = put(tmp_path, holds=HOLDS)
    answer = call("verify", file, "--engine", name, "--first")
    assert answer.exit_code == 0
    assert "every reachable state was visited" in answer.stdout


def test_a_kept_search_goes_on_from_the_first_violation_without_first(tmp_path: Path) -> None:
    (file,) = put(tmp_path, many=counters(4, 9))
    kept = tmp_path / "kept"
    first = call("verify", file, "--engine", "plain", "--first", "--resume", str(kept))
    assert f"the search is kept in {kept}: the same command without --first takes it up again\n" in first.stderr
    rest = call("verify", file, "--engine", "plain", "--resume", str(kept))
    assert "every reachable state was visited" in rest.stdout
    assert "the search was taken up again: " in rest.stdout
    assert not kept.exists()
