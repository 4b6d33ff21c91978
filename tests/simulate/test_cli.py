"""`seqcheck simulate` as it is called: golden dialogues, exit statuses, what is refused."""

import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from seqcheck.cli import simulate as module
from seqcheck.cli.simulate import simulate

CASES = Path(__file__).parent / "cases"
PRESS = str(CASES / "press.yaml")
CAUTION = "A model is no substitute for a risk assessment by competent people"


def call(*arguments: str, typed: str = "") -> Result:
    return CliRunner().invoke(simulate, [PRESS, *arguments], input=typed)


def golden(name: str) -> str:
    return (CASES / name).read_text(encoding="utf-8")


def test_a_session() -> None:
    result = call(typed=golden("gate_switch.in"))
    assert result.stdout == golden("gate_switch.out")
    assert result.exit_code == 0


@pytest.mark.parametrize(("name", "status"), [("drive", 0), ("refused", 1)])
def test_playing(name: str, status: int) -> None:
    result = call("--play", str(CASES / f"{name}.json"))
    assert result.stdout == golden(f"{name}.out")
    assert result.exit_code == status


def test_as_a_process_of_its_own() -> None:
    program = "from seqcheck.cli.main import main; main()"
    command = [sys.executable, "-c", program, "simulate", PRESS]
    done = subprocess.run(command, input=golden("gate_switch.in"), capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, golden("gate_switch.out"), "")
    played = subprocess.run(
        [*command, "--play", str(CASES / "refused.json")], stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
    )
    assert (played.returncode, played.stdout, played.stderr) == (1, golden("refused.out"), "")


def test_the_end_of_the_input_ends_it() -> None:
    result = call(typed="reset\n")
    assert result.exit_code == 0
    assert CAUTION in result.stdout.splitlines()[-2] + result.stdout.splitlines()[-1]


def test_bytes_that_are_no_text_are_no_traceback() -> None:
    result = CliRunner().invoke(simulate, [PRESS], input=b"\xff\xfe\x1b[2J\nquit\n")
    assert result.exit_code == 0
    assert "Nothing here is called" in result.stdout
    assert "\x1b" not in result.stdout


def test_what_happened_is_saved_at_the_end(tmp_path: Path) -> None:
    path = tmp_path / "run.json"
    assert call("--save", str(path), typed="reset\nwait 1 s\n").exit_code == 0
    assert [step["wait_s"] for step in json.loads(path.read_text())["steps"]] == [None, 1]
    assert call("--play", str(path)).exit_code == 0


def test_a_fault_and_a_start_may_be_chosen(tmp_path: Path) -> None:
    result = call("--fault", "air pressure lost", typed="drive fails to stop\n")
    assert "REFUSED: drive fails to stop. It is not among the faults under study." in result.stdout
    lid = tmp_path / "lid.yaml"
    lid.write_text("machine: Lid\nparts:\n  lid: {states: [shut, open], starts: any}\npanel:\n  on: bool\n")
    chosen = CliRunner().invoke(simulate, [str(lid), "--start", "LID = Open", "--start", "on=false"])
    assert "lid = open" in chosen.stdout
    assert chosen.exit_code == 0


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--fault", "rust"), "error: the file has no fault named rust"),
        (("--start", "ram"), "error: --start needs NAME=VALUE, not ram"),
        (("--start", "rim=top"), "near names: ram"),
        (("--start", "ram=bottom"), "error: ram can't start as bottom; it starts as one of: top"),
        (("--play", PRESS), "is not JSON"),
        (("--play", str(CASES / "drive.json"), "--fault", "x"), "has its own faults and start"),
        (("--result", "H1"), "--result goes with --play"),
        (("--play", "none.json"), "does not exist"),
        (("--save", "none/none.json"), "can't be written"),
    ],
)
def test_what_is_refused(arguments: tuple[str, ...], told: str) -> None:
    result = call(*arguments)
    assert told in result.stderr
    assert result.exit_code == 2


def test_a_sequence_file_that_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "bad.yaml"
    path.write_text("machine: Bad\nparts:\n  lid: {states: []}\n")
    result = CliRunner().invoke(simulate, [str(path)])
    assert result.exit_code == 2
    assert "error" in result.stderr


STARTS_BADLY = """
machine: Bad
memory:
  n: {range: 0..1}
  m: {range: 1..2}
trips:
  up: {when: n = 0, then: {n: m + n + m - n - m + 1}}
"""


def test_a_start_that_fails(tmp_path: Path) -> None:
    path = tmp_path / "bad.yaml"
    path.write_text(STARTS_BADLY)
    result = CliRunner().invoke(simulate, [str(path)])
    assert result.exit_code == 1
    assert "*** FAILS: up: n would become 2, and its range is 0..1. ***" in result.stdout
    run = tmp_path / "run.json"
    run.write_text('{"schema": "seqcheck-run/1", "steps": []}')
    played = CliRunner().invoke(simulate, [str(path), "--play", str(run)])
    assert played.exit_code == 1
    assert "The machine does not come through its start." in played.stdout


def test_colour_is_never_the_only_carrier() -> None:
    plain = CliRunner().invoke(simulate, [PRESS], input=golden("gate_switch.in"))
    coloured = CliRunner().invoke(simulate, [PRESS], input=golden("gate_switch.in"), color=True)
    assert "\x1b[" not in plain.stdout
    assert "\x1b[31m\x1b[1m*** HAZARD H1" in coloured.stdout
    coloured_text = re.sub(r"\x1b\[[0-9;]*m", "", coloured.stdout)
    assert coloured_text == plain.stdout


class Terminal(io.StringIO):
    """An input that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def test_at_a_terminal_there_is_a_prompt_and_no_echo(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "stdin", Terminal("reset\n"))
    assert list(module._typed_lines()) == ["reset\n"]
    assert capsys.readouterr().out == "> > "


def test_breaking_off_ends_it_and_still_saves(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken_off() -> object:
        yield "reset\n"
        raise KeyboardInterrupt

    monkeypatch.setattr(module, "_typed_lines", broken_off)
    path = tmp_path / "run.json"
    result = call("--save", str(path))
    assert result.exit_code == 0
    assert len(json.loads(path.read_text())["steps"]) == 1


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="needs a pseudo-terminal")
def test_at_a_real_terminal() -> None:
    ours, theirs = os.openpty()
    program = "from seqcheck.cli.main import main; main()"
    process = subprocess.Popen(
        [sys.executable, "-c", program, "simulate", PRESS], stdin=theirs, stdout=theirs, stderr=subprocess.PIPE
    )
    os.close(theirs)
    os.write(ours, b"reset\nquit\n")
    shown = b""
    while b"lockout" not in shown:
        shown += os.read(ours, 4096)
    assert process.wait(timeout=20) == 0
    os.close(ours)
    assert process.stderr is not None
    assert process.stderr.read() == b""
    process.stderr.close()
    assert b"> " in shown
    assert b"\x1b[1m" in shown
