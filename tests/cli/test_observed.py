"""Requirements on time and order on the command line: limits, `--first`, `--resume`, `--proof`, what is told of each."""

from pathlib import Path

import pytest

from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model.model import Model
from seqcheck.report.json_form import Json
from tests.cli.calling import call, listed, put, told
from tests.outside.independent import grown
from tests.outside.reading import machine_of

SLIDE = """
machine: Slow slide
parts: {slide: [still, moving]}
panel: {stop: [up, down]}
outputs: {motor: [off, on]}
commands: {start: {permissives: {not stopped: stop = up}, then: {motor: on}}}
trips: {stopped: {when: stop = down, then: {motor: off}}}
plant:
  starts: {when: motor = on, after: at once, then: {slide: moving}}
  runs down: {when: motor = off AND slide = moving, after: 1..9 s, then: {slide: still}}
faults: {slips: {then: {slide: moving}}}
requirements:
  in time:  {when: stop = down, within: 9 s, then: slide = still, unless: stop = up}
  too soon: {when: stop = down, within: 5 s, then: slide = still, unless: stop = up}
  in order: {before: slide = moving, first: motor = on}
"""
PLAIN = ("--engine", "plain")
ENGINES = ("plain", "symbolic", "packed", "auto")


def verdicts(data: dict[str, Json]) -> dict[str, tuple[Json, Json]]:
    """Return the verdict on each result, and the steps of its run."""
    return {str(row["id"]): (row["verdict"], row["steps"]) for row in listed(data, "results")}


def counts(model: Model) -> tuple[int, int]:
    """Return the states and transitions of a model by a search of the tests' own."""
    graph = grown(model, 1_000)
    assert graph is not None
    return graph.moves.number_of_nodes(), graph.moves.number_of_edges()


@pytest.mark.parametrize("name", ENGINES)
def test_every_engine_says_the_same(name: str, tmp_path: Path) -> None:
    (file,) = put(tmp_path, slide=SLIDE)
    answer = call("verify", file, "--engine", name, "--json", "-")
    data = told(answer.stdout)
    assert answer.exit_code == 1
    assert data["complete"] is True
    found = verdicts(data)
    assert found["in time"] == ("holds", None)
    assert found["too soon"] == ("violated", 2)
    assert found["in order"] == ("holds", None)
    machine = machine_of(SLIDE)
    for one in listed(data, "observed"):
        assert (one["states"], one["transitions"]) == counts(compile_observed(machine, str(one["id"])))
        assert one["complete"] is True
    assert [one["id"] for one in listed(data, "observed")] == ["in time", "too soon", "in order"]
    assert (data["states"], data["transitions"]) == counts(compile_machine(machine)), "observers count for nothing here"


def test_a_search_that_comes_to_a_limit_is_told_by_itself(tmp_path: Path) -> None:
    """The machine itself is small enough, the searches with a clock are not; what they saw is decided all the same."""
    (file,) = put(tmp_path, slide=SLIDE)
    answer = call("verify", file, *PLAIN, "--max-states", "40", "--json", "-")
    data = told(answer.stdout)
    assert (data["complete"], data["stopped_by"]) == (False, None)
    assert [(one["id"], one["stopped_by"]) for one in listed(data, "observed")] == [
        ("in time", "states"), ("too soon", "states"), ("in order", None),
    ]  # fmt: skip
    found = verdicts(data)
    assert [found[id_][0] for id_ in ("in time", "too soon", "in order")] == ["undecided", "violated", "holds"]
    assert "in time was searched by itself, with a clock of its own: " in answer.stderr
    assert "; the search ended early at the limit on states: " in " ".join(answer.stderr.split())


def test_no_time_at_all_leaves_everything_undecided(tmp_path: Path) -> None:
    (file,) = put(tmp_path, slide=SLIDE)
    data = told(call("verify", file, *PLAIN, "--max-seconds", "0", "--json", "-").stdout)
    assert {verdict for verdict, _ in verdicts(data).values()} == {"undecided"}
    assert listed(data, "observed") == []


def test_the_first_violation_ends_it(tmp_path: Path) -> None:
    """The machine itself violates nothing; the second requirement does, and the third is not looked at any more."""
    (file,) = put(tmp_path, slide=SLIDE)
    data = told(call("verify", file, *PLAIN, "--first", "--json", "-").stdout)
    assert [(one["id"], one["stopped_by"]) for one in listed(data, "observed")] == [("in time", None), ("too soon", "first")]
    found = verdicts(data)
    assert (found["too soon"], found["in order"]) == (("violated", 2), ("undecided", None))
    (last,) = [row for row in listed(data, "results") if row["id"] == "in order"]
    assert last["reason"] == "it takes a search of its own, which was not made"


def bare(data: dict[str, Json]) -> dict[str, Json]:
    """Return a result without how long it took."""
    kept = {key: value for key, value in data.items() if key not in {"seconds", "seconds_before", "cases", "observed"}}
    kept |= {"observed": [{k: v for k, v in one.items() if k != "seconds_before"} for one in listed(data, "observed")]}
    return kept | {"cases": [bare(case) for case in listed(data, "cases")]} if "cases" in data else kept


def test_a_search_that_came_to_a_limit_goes_on(tmp_path: Path) -> None:
    (file,) = put(tmp_path, slide=SLIDE)
    kept, faults = tmp_path / "kept", ("--faults", "1")
    first = call("verify", file, *PLAIN, *faults, "--resume", str(kept), "--max-states", "30", "--json", "-")
    assert told(first.stdout)["complete"] is False
    assert f"the search is kept in {kept}: the same command takes it up again\n" in first.stderr
    again = call("verify", file, *PLAIN, *faults, "--resume", str(kept), "--json", "-")
    whole = call("verify", file, *PLAIN, *faults, "--json", "-")
    assert bare(told(again.stdout)) == bare(told(whole.stdout))
    assert any(one["seconds_before"] != 0 for one in listed(told(again.stdout), "observed"))
    assert {path.name for path in tmp_path.iterdir()} == {"slide.yaml"}


def test_a_fault_named_like_an_observed_requirement_is_another_search(tmp_path: Path) -> None:
    """Snapshots are kept by what a search is about."""
    named = SLIDE.replace("slips:", '"observed: in time":').replace("runs down:", '"in time":')
    (file,) = put(tmp_path, slide=named)
    kept, asked = tmp_path / "kept", ("--fault", "observed: in time")
    call("verify", file, *PLAIN, *asked, "--resume", str(kept), "--max-states", "30")
    again = call("verify", file, *PLAIN, *asked, "--resume", str(kept), "--json", "-")
    assert bare(told(again.stdout)) == bare(told(call("verify", file, *PLAIN, *asked, "--json", "-").stdout))


@pytest.mark.parametrize("by", ["listing", "solver"])
def test_what_holds_is_proved(by: str, tmp_path: Path) -> None:
    (file,) = put(tmp_path, slide=SLIDE)
    proof = str(tmp_path / "slide.proof")
    call("verify", file, *PLAIN, "--faults", "1", "--proof", proof)
    checked = call("check-proof", file, proof, "--by", by)
    assert checked.exit_code == 0
    lines = checked.stdout.splitlines()
    assert "without faults, in time by itself:" in lines
    assert "  response: in time" in lines
    assert "  precedence: in order" in lines
    assert "  not proved: too soon" in lines
    assert "with “slips”:" in lines
