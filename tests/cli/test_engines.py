"""`--engine`, `--exact-counts` and `--proof` on the command line, and what is said of the engine that answered."""

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest
from msgspec.structs import replace

from seqcheck.cli import searching
from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.search.engine import NO_EXTRAS, Exploration, Extras, Limits, Observer, Unfit
from seqcheck.search.engines import NAMES
from seqcheck.search.plain.plain import PlainEngine
from seqcheck.search.planner.job import NoAnswerError
from tests.cli.calling import FAULTY, HOLDS, VIOLATED, call, counters, listed, process, put, told


@dataclass(frozen=True, slots=True)
class Answering:
    """An engine that answers as `plain`, but for what a test says."""

    bytes_per_state: float | None = None
    reason: str = ""
    unfit: str = ""
    broke: str = ""
    name: str = "reducing"

    def explore(
        self, model: Model, watches: tuple[Expression, ...], limits: Limits, observer: Observer, extras: Extras = NO_EXTRAS
    ) -> Exploration:
        if self.unfit:
            raise Unfit(self.unfit)
        if self.broke:
            raise NoAnswerError(self.broke)
        return replace(
            PlainEngine().explore(model, watches, limits, observer, extras),
            engine=self.name,
            reason=self.reason,
            bytes_per_state=self.bytes_per_state,
            exact_counts=extras.exact_counts,
        )


def answering(monkeypatch: pytest.MonkeyPatch, engine: Answering) -> None:
    monkeypatch.setattr(searching, "searcher", lambda _name, _standby=None: engine)


@pytest.mark.parametrize("name", ["auto", *NAMES])
def test_every_engine_can_be_named(name: str, tmp_path: Path) -> None:
    (file,) = put(tmp_path, many=counters(4, 9))
    data = told(call("verify", file, "--json", "-", "--engine", name).stdout)
    assert (data["states"], data["transitions"], data["complete"]) == (10_000, 40_000, True)
    assert [row["verdict"] for row in listed(data, "results")] == ["violated", "violated", "holds", "holds"]
    assert data["engine"] == name or name == "auto"
    assert (data["engine_reason"] == "") is (name != "auto")


def test_the_choice_is_the_planners_if_nothing_is_said(tmp_path: Path) -> None:
    (file,) = put(tmp_path, holds=HOLDS)
    assert "(engine plain: the machine is small)" in call("verify", file).stdout
    assert "(engine plain)" in call("verify", file, "--engine", "plain").stdout


def test_what_a_state_took_is_said(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (file,) = put(tmp_path, holds=HOLDS)
    answering(monkeypatch, Answering(bytes_per_state=18.44, reason="41 bits of state"))
    assert "(engine reducing, 18.4 bytes a state: 41 bits of state)" in call("verify", file).stdout
    assert told(call("verify", file, "--json", "-").stdout)["bytes_per_state"] == 18.44


def test_a_long_reason_has_lines_of_its_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (file,) = put(tmp_path, holds=HOLDS)
    answering(monkeypatch, Answering(reason="41 bits of state; " + "why it was that one and not another " * 4))
    lines = call("verify", file).stdout.splitlines()
    at = next(number for number, line in enumerate(lines) if line.endswith("(engine reducing)"))
    assert lines[at + 1].startswith("  reducing: 41 bits of state; why")
    assert lines[at + 2].startswith("  ")
    assert all(len(line) <= 110 for line in lines[at : at + 3])


def test_counts_of_a_reduced_machine_are_said_to_be(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (file,) = put(tmp_path, faulty=FAULTY)
    answering(monkeypatch, Answering())
    reduced = call("verify", file, "--faults", "1").stdout
    assert reduced.count("counted on a reduced machine, with the same verdicts; --exact-counts counts the whole") == 3
    exact = call("verify", file, "--faults", "1", "--exact-counts").stdout
    assert "a reduced machine" not in exact
    data = told(call("verify", file, "--faults", "1", "--json", "-").stdout)
    assert [case["exact_counts"] for case in listed(data, "cases")] == [False, False, False]
    assert told(call("verify", file, "--exact-counts", "--json", "-").stdout)["exact_counts"] is True


def test_an_engine_that_is_not_made_for_a_machine_says_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (file,) = put(tmp_path, holds=HOLDS)
    answering(monkeypatch, Answering(unfit="n has 2,000,000 values"))
    refused = call("verify", file, "--engine", "symbolic")
    assert (refused.exit_code, refused.stdout) == (2, "")
    assert "the engine symbolic is not made for this machine: n has 2,000,000 values" in refused.stderr


def test_where_every_engine_broke_off_there_is_no_verdict(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (file,) = put(tmp_path, holds=HOLDS)
    answering(monkeypatch, Answering(broke="9 bits of state; packed broke off: its process was ended by SIGKILL"))
    broken = call("verify", file)
    assert (broken.exit_code, broken.stdout) == (70, "")
    assert "so there is no verdict: 9 bits of state; packed broke off: its process was ended by SIGKILL" in broken.stderr


def test_a_proof_is_written_and_confirmed(tmp_path: Path) -> None:
    (file,) = put(tmp_path, faulty=FAULTY)
    proof = tmp_path / "proof"
    assert call("verify", file, "--faults", "1", "--proof", str(proof)).exit_code == 1
    confirmed = process("check-proof", file, str(proof))
    assert (confirmed.returncode, confirmed.stderr) == (0, "")
    proof.write_text(proof.read_text(encoding="utf-8").replace("Faulty", "Faultz"), encoding="utf-8")
    assert process("check-proof", file, str(proof)).returncode == 2


def test_without_faults_or_with_a_violation_there_is_a_proof_of_the_rest(tmp_path: Path) -> None:
    for text in (HOLDS, VIOLATED):
        (file,) = put(tmp_path, one=text)
        call("verify", file, "--proof", str(tmp_path / "proof"))
        assert process("check-proof", file, str(tmp_path / "proof")).returncode == 0


def test_a_proof_goes_with_one_sequence_file(tmp_path: Path) -> None:
    one, other = put(tmp_path, one=HOLDS, other=HOLDS)
    refused = call("verify", one, other, "--proof", str(tmp_path / "proof"))
    assert (refused.exit_code, "it goes with one sequence file" in refused.stderr) == (2, True)
    assert call("verify", one, "--proof", one).exit_code == 2
    assert Path(one).read_text(encoding="utf-8") == HOLDS


def test_modules_of_engines_are_imported_when_they_are_used(tmp_path: Path) -> None:
    """The process that was called needs none of them, whatever the machine: engines run in processes of their own."""
    (file,) = put(tmp_path, many=counters(4, 12))
    program = (
        f"import sys; from seqcheck.cli.main import run; run(['verify', {file!r}])\n"
        "assert 'multiprocessing' in sys.modules\n"
        "assert not {'oxidd', 'numba', 'numpy', 'psutil', 'z3'} & set(sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
