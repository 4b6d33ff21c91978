"""The Python example of the README runs and finds what `seqcheck verify` finds."""

import re
from pathlib import Path

import pytest

from tests.cli.calling import call

ROOT = Path(__file__).parents[2]


def test_the_example_names_what_the_command_finds_violated(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    found = re.search(r"```python\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL)
    assert found is not None
    monkeypatch.chdir(ROOT)
    exec(compile(found[1], "README.md", "exec"), {})  # noqa: S102 - our own page
    shown = capsys.readouterr().out
    report = call("verify", "sequences/two_hand_press_draft.yaml").stdout
    violated = re.findall(r"^  VIOLATED   (\S+)", report, re.MULTILINE)
    assert violated
    assert shown == f"{violated}\n"
