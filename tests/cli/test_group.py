"""The entry points, the help, the small commands, and what is said of a call that is wrong."""

import gc
import json
import os
import signal
import subprocess
import sys

import jsonschema
import pytest

from seqcheck import __version__
from seqcheck.cli import main as module
from seqcheck.cli.main import COMMANDS
from seqcheck.diagnostics.codes import Code
from tests.cli.calling import call, command, process


def test_help_lists_the_commands_and_the_caution() -> None:
    for option in ("-h", "--help"):
        result = call(option)
        assert result.exit_code == 0
        assert [name for name in COMMANDS if f"\n  {name} " in result.stdout] == list(COMMANDS)
        assert "no substitute for a risk assessment by competent people" in " ".join(result.stdout.split())


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_of_its_own(name: str) -> None:
    result = call(name, "--help")
    assert result.exit_code == 0
    assert result.stdout.startswith("Usage: ")
    assert "\n  -h, --help" in result.stdout or "--help" in result.stdout


def test_verify_help_names_every_option_and_the_exit_codes() -> None:
    said = " ".join(call("verify", "--help").stdout.split())
    for option in (
        "--json PATH",
        "--faults K",
        "--fault NAME",
        "--max-states N",
        "--max-seconds S",
        "--max-memory MB",
        "--engine",
    ):
        assert option in said
    assert (
        "Exit code: 0 all hold, 1 something is violated, 2 a file is refused, 3 something is undecided, 70 internal error."
        in said
    )


def test_the_version() -> None:
    assert call("--version").stdout == f"seqcheck, version {__version__}\n"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["verfy", "x.yaml"], "No such command 'verfy'"),
        (["verify"], "Missing argument 'FILE…'"),
        (["verify", "--jason", "x"], "No such option '--jason'"),
        (["verify", "x.yaml", "--engine", "fastest"], "'fastest' is not one of 'auto', 'plain'"),
        (["verify", "x.yaml", "--json"], "requires an argument"),
        (["explain"], "Missing argument 'CODE'"),
        (["schema", "more"], "unexpected extra argument"),
    ],
)
def test_a_wrong_call_is_refused_and_said(arguments: list[str], said: str) -> None:
    done = process(*arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_a_command_that_is_nearly_right_is_offered() -> None:
    assert "verify" in process("verfy", "x.yaml").stderr.splitlines()[-1]


def test_an_option_that_is_nearly_right_is_offered() -> None:
    assert "--json" in process("verify", "--jsn", "x").stderr


def test_no_command_prints_the_help_and_is_no_success() -> None:
    done = process()
    assert done.returncode == 2
    assert "Commands:" in done.stdout + done.stderr


def test_the_schema_is_json_and_a_schema() -> None:
    result = call("schema")
    assert result.exit_code == 0
    schema = json.loads(result.stdout)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate({"machine": "M", "parts": {"p": ["a", "b"]}}, schema, jsonschema.Draft202012Validator)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"parts": {"p": ["a", "b"]}}, schema, jsonschema.Draft202012Validator)


@pytest.mark.parametrize("code", [entry.value for entry in Code])
def test_every_code_is_explained(code: str) -> None:
    result = call("explain", code)
    assert result.exit_code == 0
    assert result.stdout.startswith(f"{code}: ")
    assert len(result.stdout) > len(code) + 20
    assert call("explain", code.lower()).stdout == result.stdout


def test_a_code_that_is_none_is_answered_with_those_there_are() -> None:
    result = call("explain", "E999")
    assert result.exit_code == 2
    assert "there is no code E999" in result.stderr
    assert "E301" in result.stderr


def test_the_entry_function_ends_the_program(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Without looking through what is left, and deaf to Ctrl-C, which has nothing to interrupt any more."""
    ignored: list[tuple[int, object]] = []
    monkeypatch.setattr(signal, "signal", lambda *given: ignored.append(given))
    monkeypatch.setattr(gc, "freeze", lambda: None)
    monkeypatch.setattr(sys, "argv", ["seqcheck", "explain", "E301"])
    with pytest.raises(SystemExit) as explained:
        module.main()
    assert explained.value.code == 0
    assert capsys.readouterr().out.startswith("E301: ")
    monkeypatch.setattr(sys, "argv", ["seqcheck", "explain", "E999"])
    with pytest.raises(SystemExit) as ended:
        module.main()
    assert ended.value.code == 2
    assert ignored == 2 * [(signal.SIGINT, signal.SIG_IGN)]


def test_python_m_is_the_same_program() -> None:
    assert process("--version").stdout == call("--version").stdout


@pytest.mark.parametrize("arguments", [["verify", "FILE"], ["verify", "FILE", "--json", "-"], ["schema"], ["--help"]])
def test_a_pipe_closed_early_is_no_verdict_and_no_traceback(arguments: list[str], tmp_path: object) -> None:
    """A reader that has seen enough must not turn what holds into what is violated."""
    file = f"{tmp_path}/holds.yaml"
    with open(file, "w", encoding="utf-8") as written:  # noqa: PTH123 - a plain file
        written.write("machine: Fine\nparts: {p: [a, b]}\npanel: {s: bool}\n")
    reading, writing = os.pipe()
    os.close(reading)
    try:
        called = command(*[file if word == "FILE" else word for word in arguments])
        done = subprocess.run(called, stdout=writing, stderr=subprocess.PIPE, text=True, check=False)
    finally:
        os.close(writing)
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr
    assert done.returncode not in {1, 2}
