"""`seqcheck check-proof` on the command line: exit codes, what is said, nothing of the engines imported."""

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from msgspec.structs import replace

from seqcheck.proof.checking import Way
from seqcheck.proof.form import ByRun, CaseProof, Drawn, Kind, OverSet, Proof, Table
from seqcheck.proof.text import write_proof
from seqcheck.proof.writing import domains, proof_of
from seqcheck.search.engine import Limits
from tests.cli.calling import call, command
from tests.proof.proving import CONFIRMED, Subject, again, answer, digest, kind_of, subject, verified, with_case, without
from tests.proof.test_refusals import PRESS, press

SEPARATOR = Path(__file__).parents[2] / "sequences" / "separator.yaml"


@pytest.fixture
def press_file(tmp_path: Path) -> Path:
    path = tmp_path / "press.yaml"
    path.write_text(PRESS, encoding="utf-8")
    return path


@pytest.fixture
def proof_file(tmp_path: Path) -> Path:
    path = tmp_path / "press.proof"
    write_proof(path, press())
    return path


@pytest.mark.parametrize("way", ["auto", "listing", "solver"])
def test_a_proof_is_confirmed(press_file: Path, proof_file: Path, way: str) -> None:
    called = call("check-proof", "--by", way, str(press_file), str(proof_file))
    assert (called.exit_code, called.stderr) == (0, "")
    assert "without faults:\n" in called.stdout
    assert "with “gate sensor sticks”:\n" in called.stdout
    assert "  hazard: H1\n  forbid: R3\n  only: R4\n  reachable: R1\n  recoverable: R2\n" in called.stdout
    assert "  not proved: H1" in called.stdout
    assert "confirmed, in this model, under the assumptions that `seqcheck verify` lists" in called.stdout
    assert ("each state was visited" in called.stdout) == (way != "solver")
    assert ("a solver found no state that breaks it" in called.stdout) == (way == "solver")


def test_a_proof_that_lacks_a_state_is_refused(press_file: Path, proof_file: Path) -> None:
    write_proof(proof_file, with_case(press(), without(press().cases[1], 5), 1))
    called = call("check-proof", str(press_file), str(proof_file))
    assert called.exit_code == 1
    assert "1 of 2 sets of states were confirmed before" in called.stderr
    assert "refused with “gate sensor sticks”: " in called.stderr
    assert "is not in the set" in called.stderr
    assert "confirmed, in this model" not in called.stdout


def test_damage_and_other_files_are_no_proof(press_file: Path, proof_file: Path) -> None:
    proof_file.write_bytes(proof_file.read_bytes().replace(b"H1", b"H2"))
    called = call("check-proof", str(press_file), str(proof_file))
    assert (called.exit_code, called.stdout) == (2, "")
    assert "the digest at the end does not match" in called.stderr
    write_proof(proof_file, press())
    press_file.write_text(PRESS.replace("1..2 s", "1..3 s"), encoding="utf-8")
    called = call("check-proof", str(press_file), str(proof_file))
    assert (called.exit_code, called.stdout) == (2, "")
    assert "it is a proof of another sequence file, or of another revision of this one" in called.stderr
    called = call("check-proof", str(press_file), str(proof_file.parent / "none"))
    assert called.exit_code == 2
    assert "cannot be read" in called.stderr


def test_a_refused_sequence_is_refused_first(press_file: Path, proof_file: Path) -> None:
    press_file.write_text("machine: [", encoding="utf-8")
    called = call("check-proof", str(press_file), str(proof_file))
    assert called.exit_code == 2
    assert "error E" in called.stderr


def test_no_answer_is_said_so(tmp_path: Path) -> None:
    text = "machine: Long\nparts: {n: {range: 0..100}, m: bool}\npeople: {go: {if: NOT m, then: {m: TRUE}}}\n"
    text += "plant: {counts: {when: m AND n < 100, after: at once, then: {n: n + 1}}}\n"
    text += "hazards: {H1: {must not be: n > 100}}\n"
    (tmp_path / "long.yaml").write_text(text, encoding="utf-8")
    write_proof(tmp_path / "long.proof", subject(text).proof())
    called = call("check-proof", "--by", "solver", str(tmp_path / "long.yaml"), str(tmp_path / "long.proof"))
    assert called.exit_code == 3
    assert "no answer: after the person's action “go”, settling takes more than 64 rounds" in called.stderr


def test_nothing_of_the_engines_is_imported(press_file: Path, proof_file: Path) -> None:
    code = (
        "import sys\nfrom seqcheck.cli.main import run\n"
        f"assert run(['check-proof', '--by', 'listing', {str(press_file)!r}, {str(proof_file)!r}]) == 0\n"
        "kept = ('search', 'analyse', 'simulate', 'report')\n"
        "found = [n for n in sys.modules for floor in kept if n.startswith(f'seqcheck.{floor}')]\n"
        "assert not found and 'z3' not in sys.modules, found\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, stdout=subprocess.DEVNULL)


@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_an_interruption_says_what_was_confirmed(tmp_path: Path) -> None:
    text = SEPARATOR.read_text(encoding="utf-8")
    write_proof(tmp_path / "p", subject(text).proof())
    arguments = command("check-proof", "--by", "solver", str(SEPARATOR), str(tmp_path / "p"))
    with subprocess.Popen(arguments, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        shown = process.stderr.readline()
        process.send_signal(signal.SIGINT)
        rest = process.stderr.read()
        assert process.wait(timeout=60) == 3
    assert "confirmed (Ctrl-C stops)" in shown
    assert "interrupted, " in rest
    assert "confirmed" in rest


def test_the_demo_is_confirmed_quickly(tmp_path: Path) -> None:
    """The figure is 5 s on two quiet cores; here is room for a busy machine."""
    write_proof(tmp_path / "p", subject(SEPARATOR.read_text(encoding="utf-8")).proof())
    began = time.monotonic()
    done = subprocess.run(
        command("check-proof", str(SEPARATOR), str(tmp_path / "p")), capture_output=True, text=True, check=True
    )
    assert time.monotonic() - began < 15
    assert "the set of 21,264 states" in done.stdout


def counters(many: int, up_to: int) -> Subject:
    """Return a machine whose counters go round independently: every combination is reachable."""
    parts = "".join(f"  c{n}: {{range: 0..{up_to}}}\n" for n in range(many))
    people = "".join(f"  turn {n}: {{then: {{c{n}: (c{n} + 1) MOD {up_to + 1}}}}}\n" for n in range(many))
    text = f"machine: Counters\nparts:\n{parts}people:\n{people}hazards: {{H1: {{must not be: c0 > {up_to}}}}}\n"
    return subject(text)


def test_sets_too_large_to_list_are_given_to_the_solver() -> None:
    """11 ** 20 states: every pattern of bits that is a state. Those in which the first counter is below 8 are not closed."""
    its = counters(20, 10)
    below_8 = Table(order=((0, 3),), nodes=((0, 1, 0),))
    claims = (OverSet(kind=Kind.RANGE, id=""), OverSet(kind=Kind.SETTLING, id=""), OverSet(kind=Kind.HAZARD, id="H1"))
    variables = domains(its.origin.compile(()))
    every = Drawn(table=0, root=1)
    case = CaseProof(faults=(), domains=variables, tables=(below_8,), states=every, claims=claims, not_proved=())
    proof = again(Proof(machine="Counters", sha256=digest(its.text), tick="1", cases=(case,)))
    assert answer(its, proof) == CONFIRMED
    assert kind_of(answer(its, proof, Way.LISTING)) == "UndecidedError"
    refused = answer(its, with_case(proof, replace(case, states=Drawn(table=0, root=2))))
    assert kind_of(refused) == "RefusedError"
    assert "“turn 0” leads to a state that is not in the set: c0 = 8, " in refused


def test_a_search_that_was_stopped_proves_only_runs() -> None:
    text = SEPARATOR.read_text(encoding="utf-8")
    its = subject(text)
    proof = proof_of([verified(its.origin.compile(()), Limits(states=15_000))], digest(text))
    assert proof.cases[0].states is None
    assert all(isinstance(claim, ByRun) for claim in proof.cases[0].claims)
    assert proof.cases[0].claims
    assert answer(its, proof) == CONFIRMED
