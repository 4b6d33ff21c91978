"""Where engine, definition and simulator disagree the tool says so loudly and gives no verdict: exit code 70."""

from pathlib import Path

import pytest
from msgspec.structs import replace

from seqcheck.analyse import record as recording
from seqcheck.analyse.record import Disagreement
from seqcheck.cli import main as module
from seqcheck.cli import searching as command
from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.model.run import Run
from seqcheck.search.engine import NO_EXTRAS, Exploration, Extras, Limits, Observer
from seqcheck.search.plain.plain import PlainEngine
from seqcheck.simulate import replay as replaying
from tests.cli.calling import HOLDS, REFUSED, VIOLATED, put

LOUD = "seqcheck: internal error: a fault of the program, not of your file; no verdict was reached"


class Wrong:
    """An engine whose traces jump."""

    name = "plain"

    def explore(
        self, model: Model, watches: tuple[Expression, ...], limits: Limits, observer: Observer, extras: Extras = NO_EXTRAS
    ) -> Exploration:
        true = PlainEngine().explore(model, watches, limits, observer, extras)
        jumped = {n: replace(trace, states=(trace.states[0], (7, *trace.states[-1][1:]))) for n, trace in true.found.items()}
        return replace(true, found=jumped)


def ended(*arguments: str) -> int:
    """Call all of the entry function but its end; return its exit code."""
    return module.code_of(list(arguments))


def test_an_engine_that_errs(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    monkeypatch.setattr(command, "searcher", lambda _name, _standby=None: Wrong())
    target = tmp_path / "answer.json"
    assert ended("verify", *put(tmp_path, bad=VIOLATED), "--json", str(target)) == 70
    said = capsys.readouterr()
    assert LOUD in said.err
    assert "Disagreement" in said.err
    assert "H1" not in said.out
    assert not target.exists()


def test_a_replay_that_disagrees(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    true = recording.record

    def told_wrongly(model: Model, trace: object) -> tuple[Run, tuple[object, ...]]:
        run, accounts = true(model, trace)  # type: ignore[arg-type]
        return replace(run, end=(("p", "a"),)), accounts

    monkeypatch.setattr(recording, "record", told_wrongly)
    assert ended("verify", *put(tmp_path, bad=VIOLATED)) == 70
    said = capsys.readouterr()
    assert LOUD in said.err
    assert "the simulator does not confirm the run of H1" in said.err
    assert "VIOLATED" not in said.out


def test_it_comes_before_every_other_code(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.setattr(command, "searcher", lambda _name, _standby=None: Wrong())
    assert ended("verify", *put(tmp_path, refused=REFUSED, holds=HOLDS, bad=VIOLATED)) == 70
    assert LOUD in capsys.readouterr().err


def test_the_last_word_is_the_loud_one(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    def broken(*_arguments: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(replaying, "replay", broken)
    assert ended("verify", *put(tmp_path, bad=VIOLATED)) == 70
    assert capsys.readouterr().err.splitlines()[-1] == LOUD


def test_every_run_is_replayed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Witnesses of what is reachable too, and under every set of faults; one that shows two things once."""
    reachable = "requirements: {R1: {reachable: p = b}, R2: {reachable: p = a}}\n"
    text = VIOLATED + reachable + "faults: {slips: {then: {p: b}}}\n"
    played: list[tuple[str, ...]] = []
    true = replaying.replay

    def counted(machine: object, run: Run) -> replaying.Replay:
        played.append(run.faults)
        return true(machine, run)  # type: ignore[arg-type]

    monkeypatch.setattr(replaying, "replay", counted)
    assert ended("verify", *put(tmp_path, bad=text), "--faults", "1") == 1
    assert played == [(), (), ("slips",)]


def test_a_disagreement_is_no_click_error() -> None:
    assert not issubclass(Disagreement, (ValueError, OSError, RuntimeError))
